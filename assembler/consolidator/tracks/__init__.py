"""Delivered tracks, from the edit to files that the disk has given back.

Question: which samples has a delivered track, and does its file hold just these?
Input: an edit, its passes, and the set as the record will have it; for `rendering` spans and joins alone.
Output: files in a set in the making, what was measured and seen on the way, and what reading them back has shown.

Each in its file:

- `writing`: what tracks are called; all of them, shared among processes.
- `writer`: one track: rendered, metered, viewed, written, and its header written again.
- `rendering`: samples of any stretch of a track; the proof uses the same lines.
- `returned`: a track as the disk gives it back, held against what libsndfile finds there.
"""
