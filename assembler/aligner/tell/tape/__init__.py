"""Whether flaws are the tape's or a machine's.

Question: what do the places of all flaws together point at?
Input: flaws of all passes of a reel.
Output: places of the tape, of each machine, of neither for certain; steady intervals; notes on them.

- `causes`: places over all tracks, and the interval at which they come.
- `notes`: these in words.

The numbers stand in `tell.limits`.
"""
