"""What is known of every stretch of every track: proven, seen once, suspect, flawed or missing.

Question: in which state is each stretch of each track?
Input: a placed and compared reel, its idle ends, suspects, what was never recorded.
Output: `TrackStates` of each track, without gaps.

- `track`: what each pass of a reel holds of a track, and the states of the track from that.

It has no limits of its own: all that is decided was decided before.
"""
