"""What concerns one session: its commands, and what they print.

Question: what becomes of one sheet, and how is a person told?
Input: a sheet, a folder of captures or a set; options.
Output: an `Answer`: status, and what is printed: the verdict first, why the status is 1 last.

Each in its file:

- `sheets`: draft, plan. `sets`: check, build, verify, demo. `retakes`: the list for the machine.
- `verdicts`: the verdict in a line, the status of a session.
- `printing`: all that is printed of a session, in order; `tables`: passes, flaws, tracks.
- `accepting`: ready-made tables for the sheet.
"""
