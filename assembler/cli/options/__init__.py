"""What can be typed beside a command's own words.

Question: which values, switches and examples do commands share?
Input: texts of a command line.
Output: paths, numbers, how much is to be said, what is known; or one line on what is allowed.

Each in its file:

- `shared`: options of several commands. `values`: paths and lengths of time.
- `loudness`: how much is said; `memory`: what is remembered between runs.
- `examples`: the one example at the end of each help.
"""
