"""Passes that hold other numbers all along, heard as if their chains were transparent.

Question: what does a pass that is nowhere identical with a better one say of its flaws?
Input: passes of one track, and what comparing them noted.
Output: the passes with unlike ones as witnesses; what is believed of what they then seem to show.

- `chain`: the shortest filter that makes the better pass of the other, and its noise.
- `witness`: a pass heard through it.

The numbers stand in the `limits` of the room around.
"""
