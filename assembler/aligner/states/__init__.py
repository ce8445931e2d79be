"""What is known of every stretch of every track: proven, seen once, suspect, flawed or missing.

Question: in which state is each stretch of each track?
Input: a placed and compared reel, its idle ends, suspects, what was never recorded.
Output: `TrackStates` of each track, without gaps.

- `track`: the states of one track, from what its passes hold.
- `reel`: what each pass of a reel holds of a track, and the states of all of them.

It has no limits of its own: all that is decided was decided before.
"""
