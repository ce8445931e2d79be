"""Which of several captures is right where they differ, part by part.

Question: which version of this place is the tape's, in each part of it, or is none?
Input: samples of all versions of a place and what lies around it, as arrays.
Output: for each part the version taken, what the others show there, or that it is undecided.

Rules, each in its file:

- `place`: two that agree settle it; else the place is cut and all stories of it are weighed.
- `borders`: where the place may be cut.
- `stories/`: every story, the cheapest one, and by how much it leads.
- `doubt`: what leaves open, or tells wrong, a part that a level or a wave goes on through.
- `costs`: what sound, flaws and borders cost, in nats.

The numbers stand in `limits`.
"""
