"""Sound of two levels: a wave that an oscillator makes and no microphone.

Question: which period and which two phases does such a wave have, and what must it be in a place?
Input: samples around a place, as arrays.
Output: the wave as numbers, and what it must be there; nothing where sound has other levels.

Each in its file:

- `pulse`: its edges, and the one period that puts them in their places.
- `waves`: the wave around a place, and what of it the place must be.

The numbers stand in the room's `limits`, as all of `sound`.
"""
