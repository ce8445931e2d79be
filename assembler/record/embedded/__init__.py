"""What stands in the header of a delivered track.

Question: what does a track say of itself where nobody has its record?
Input: a `RecordedSet` and which track.
Output: the chunks, byte for byte, and notes of what they have no room for.

Each in its file:

- `metadata`: all chunks of a track, within their limits; `history`: the steps that it has come through.
- `marking`: which places have markers, and how many fit.
- `cuts`: what a person is told of texts and markers that a track cannot hold.
"""
