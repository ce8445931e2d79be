"""Captures as they lie on disk while they grow.

- `scanning`: which files of a folder are one capture.
- `growing`: a WAV file whose header says too little.
- `roster`: which pass of which reel a capture is.
"""
