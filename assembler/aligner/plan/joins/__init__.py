"""How two stretches of a track are joined.

Question: where near a border can the join be made, and is it one of the same numbers?
Input: choices in order; both sides' samples.
Output: joins with their evidence; gains and dither of a fade.

Rules, each in its file:

- `settle`: a border moved to where both sides have samples to join by, and how long a fade can be there.
- `prove`: both sides read and compared; the nearest place where they are identical.
- `fades`: the law of a fade, at the correlation of its sides.

The numbers stand in `plan.limits`.
"""
