"""What lies between two captures of one place that are not the same numbers.

Question: what did a capture chain do to the numbers?
Input: samples of two captures, aligned to the whole sample.
Output: level, fraction of a sample, word length, offset, noise, and these in an engineer's words.

- `measures`: the places at which they are held against each other; likeness, delay, fraction of a sample, bits in use.
- `change`: all of it as one record.

The numbers stand in `sound.limits`.
"""
