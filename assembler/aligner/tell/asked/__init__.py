"""What the sheet asks for, and what came of it.

Question: what has a person to know of punches, accepted places, stretches never recorded, tracks of timecode?
Input: what the sheet asks for on the timeline, placed and compared reels, the planned tracks.
Output: notes; which accepted place closes an open one.

Each in its file:

- `accepted`: which acceptance closes a place, and what is reported of acceptances.
- `stretches`: punches, and takes of accepted places, that bring in flaws; what sounds where nothing was ever recorded.
- `stripes`: tracks of timecode.
"""
