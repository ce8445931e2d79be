"""How late messages come.

Question: when would a message have come had none been late?
Input: deviations of messages from a line, in seconds, and the log's tick.
Output: the spread that they share, and the onset of each block or level, with how far both may be off.

Each in its file:

- `likelihood`: what a width and an onset make of deviations; `box`: the best of both.
- `onsets`: of each block, where the spread is known.
- `sharing`: one spread for all stretches of an interface; `pools`: which logs came through one.
"""
