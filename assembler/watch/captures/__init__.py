"""Captures as they lie on disk while they grow.

Question: which files are one capture, of which reel, and how much of it is there by now?
Input: a folder, and a sheet if there is one; looked at again and again.
Output: captures with their files, open audio that grows, the pass and reel that each is taken for.

Each in its file:

- `scanning`: which files of a folder are one capture.
- `growing`: a WAV file whose header says too little.
- `roster`: which pass of which reel a capture is.
"""
