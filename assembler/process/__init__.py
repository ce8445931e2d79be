"""The process that the program runs in, whether a command's, a worker's or somebody else's.

Question: what does a process keep, and how is it interrupted without an interrupt being lost?
Input: settings of the system's memory; the place in a program where a signal strikes.
Output: the same process, quicker; an interrupt now, or a moment later.

Each in its file:

- `heap`: memory that is kept. `interrupts`: signals that end a process.

Light on purpose: a command asks here before anything is loaded.
"""
