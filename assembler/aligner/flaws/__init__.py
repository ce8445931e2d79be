"""What a machine makes by itself, found in one capture from its first sample to its last.

Question: what in this stretch did a machine make: a level, a line, a block played twice, noise thrown in?
Input: samples of one track of one capture, as arrays, with `step`, one step of the tape's word length in sample
values; what touches the ends of a piece is left to the neighbouring one.
Output: ranges with what they are made of; whose they are, and whether the tape has them, other rooms decide.

Rules, each in its file:

- `structures/`: levels held, lines, blocks played twice, borders of noise, in a version of a place.
- `noise`: bursts, as holes in what the sound foretells; `white`: how much of its power each window foretells.
- `stepped`: waves of two levels that go on behind in phase.
- `alone`: what all of these show of one capture, and lines and blocks played twice that interrupt a sound which goes on
  behind as before.

The numbers stand in `limits`.
"""
