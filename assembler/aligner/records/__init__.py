"""What is passed from room to room: ranges, time maps, passes in their places, findings, the edit.

Question: in which words do the rooms speak to each other?
Input: none; each record is made by the room that finds it out.
Output: frozen records, and plain arithmetic on ranges of samples.

Each in its file:

- `ranges`, `runs`: ranges `(start, end)` of samples; single samples as runs `(first, step, count)`.
- `timemap`: where on the timeline each sample of a pass belongs; slips.
- `passes`, `reel`: a pass in its place, read by timeline; a reel with all that is known of it, its places in words.
- `findings`: flaws, undecided places, stretches to weave: what comparing gives.
- `because`: the rule that decided, and its lead.
- `edit`: spans and joins of each track, flaws of each pass, what stays uncured: what aligning gives.

The numbers that several rooms share stand in `limits`.
"""
