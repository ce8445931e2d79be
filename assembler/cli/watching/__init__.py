"""What a watch shows.

Question: how is a person told within seconds what is wrong with a capture that is being made?
Input: events of a watch.
Output: one calm screen, plain lines, or JSON lines; in the end what must be played again.

Each in its file:

- `watch`: the command. `following`: events told as they come, until interrupted.
- `screen`: the screen of a terminal.
"""
