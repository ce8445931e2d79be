"""How sound behaves by nature, so that what it does itself is never told as a flaw.

Question: how is the sound around a place foreseen, and what of a stretch may be sound for all that?
Input: samples of one capture, as arrays; for `rests` a pass in its place.
Output: models and their errors, levels, waves, rests; no verdict.

Each in its file:

- `levels`: runs of one value, clipped peaks, the linear predictor and its errors.
- `models`, `surroundings`: ways to foresee a sample, and those of them that hold around a place.
- `two_levels/`: sound of two levels as a period and two phases, and what of it a place must be.
- `rests`: rests of an instrument told from mutes.
- `scale`: what a sample value means in a session.
- `glance`: what one look at a block rules out; `copies`: blocks that stand right behind themselves once more.
- `chain/`: what a capture chain did to the numbers.

The numbers stand in `limits`.
"""
