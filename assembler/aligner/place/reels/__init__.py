"""The passes of a reel on the timeline, and reels that hold the same track.

Question: where does every pass lie, and every reel against the others?
Input: imported passes, wired, in the order of trust.
Output: time maps, groups of passes that hold the same numbers, refusals, notes.

Rules, each in its file:

- `reel`: the most trusted pass by its log, the others by their sound in it, then in each other, then by their logs.
- `strayed`: where passes that were compared may lie at another shift, and are looked at once more.
- `words`: what is reported of a slip without an owner and of a chain that changes numbers.
- `tie`: reels moved to where they hold the same numbers, or touch.

The numbers stand in `place.limits`.
"""
