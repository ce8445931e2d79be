"""What is kept of one track while its blocks are read.

Question: what has been seen of this track so far?
Input: ranges, counts and rows that a block shows.
Output: the same of all blocks, never a sample; whether two passes hold other numbers all along.

- `track`: all that is noted of a track.
- `sparse`: levels and lines, but for those that are the material's own.
- `proofs`: what says that samples were lost, with its nats.

The numbers stand in the `limits` of the room around.
"""
