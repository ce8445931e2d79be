"""What a set says of itself.

Question: what is written down of a set, what follows from that, and does it say the same everywhere?
Input: an edit and what was written of it, or the bytes of an ``assembly.json`` from anywhere.
Output: the record as plain values and as checked records, all that is made from it, and what files say otherwise.

Each in its file:

- `record`: the whole as plain values; `passes`: one pass of it. `written`: what writing a track has given.
- `values`: plain values, the program's name, paths relative to the sheet, the date.
- `recorded/`: read back and checked.
- `embedded/`: what stands in the header of a track; `joins`: ``joins.csv``; `timeline/`: ``timeline.otio``.
- `faults`: where a file of a set says something else.
"""
