"""What a person has to know: flaws cured and uncured, undecided places, what the flaws point at.

Question: what is reported, of what, and in which words?
Input: placed and compared reels, the planned tracks, the sheet.
Output: flaws of each pass with their cure, uncured places, notes.

Each in its file:

- `outcome`: what the plan leaves uncured, and who was taken where; `passes`: each pass with its flaws.
- `holdings`: what the passes hold at an uncured or undecided place.
- `session`, `reel`: all that is reported, in order.
- `chains`: passes that run along and are nowhere identical.
- `tape/`: whether tape or machine is to blame.
- `asked/`: what the sheet asks for: punches, accepted places, stretches never recorded, tracks of timecode.

The numbers stand in `limits`.
"""
