"""The record as it is read back.

Question: is this a record of a set, and what does it say?
Input: the bytes of an ``assembly.json``.
Output: a `RecordedSet`, or a ValueError with the first key at fault.

Each in its file:

- `reading`: the one way in.
- `plainjson`: text that would exhaust a library is refused; `checks`: so is what contradicts itself.
- `whole`: the set; `passes` and `tracks`: their part of it; `base`: what all parts share.
- `marked`: places that somebody has to listen to, or has.
"""
