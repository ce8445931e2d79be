"""Which track of the tape each track of a pass is.

Question: are tracks exchanged, inverted, or of other sound?
Input: imported passes; the most trusted one of a reel is the reference.
Output: the reel as it is used: tracks put right where the sheet says so, left out where not; notes.

Rules, each in its file:

- `tracks`: each track held against every one of the reference, upright and inverted.
- `examine`: at as many places as it takes to be sure.
- `strangers`: a track of other sound, or one that runs along with other numbers.
- `wire`: a whole reel.

The numbers stand in `place.limits`.
"""
