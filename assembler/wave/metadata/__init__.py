"""What a WAV file says about itself beside its samples.

Question: which bytes stand for what is said of a track, and back?
Input: records, or the payload of a chunk from anywhere.
Output: payloads, or records; a WaveError where nothing can be made of a payload.

Each in its file:

- `bext`: the broadcast extension; `ixml`: the track for programs; `info`: short texts under four letters.
- `markers`: named places; `lists`: LIST chunks, as `info` and `markers` are.
- `text`: what becomes of letters where a field holds ASCII only.
"""
