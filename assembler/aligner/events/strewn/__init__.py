"""Samples lost here and there on all tracks of a pass at once: no witness is needed.

Question: where could a machine read only some of the samples?
Input: a look at all tracks of one pass, block by block.
Output: stretches, with the excess in nats.

- `bends`: how often sound stays where it is or bends by a step at most, and how often chance lets it.
- `runs`: levels and lines too long for one lost sample and too short for a standstill.
- `losses`: where that is more often than sound has, on all tracks together.
- `patches`: where it is so by a little all along.
"""
