"""The music that the demo's tapes hold.

Question: which samples would a band have left on these tapes?
Input: one seed.
Output: samples of each part, at the demo's word length.

Each in its file:

- `voices`: one note of an instrument; `piece`: the dance, part by part; `tape`: what mixer and converters make of it.
"""
