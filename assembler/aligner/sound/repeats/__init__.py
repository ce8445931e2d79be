"""What stands twice in sound, to the sample.

Question: which blocks does a track, or do all tracks at once, hold a second time?
Input: samples of one capture.
Output: blocks with their distance; whether there may be any.

- `grid`: a bound that most sound is done with.
- `copies`: blocks right behind themselves, once more and no oftener.
"""
