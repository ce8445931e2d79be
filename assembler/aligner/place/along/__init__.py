"""Passes that run along with another one and are nowhere identical: a chain has changed their numbers.

Question: at which shift does such a pass lie, and where does that change?
Input: two passes and the shift expected by their logs.
Output: a relation as of identical passes, its borders as sure as likeness tells them, and how alike the two are.

- `alike`: shifts at places all over the overlap, by all tracks together, and the likeliest way through them.
- `borders`: where one shift ends and the next one begins.

The numbers stand in `place.limits`.
"""
