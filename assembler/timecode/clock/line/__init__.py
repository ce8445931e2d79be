"""A straight line with steps through the deviations of one log.

Question: which slope and which heights do the messages of a log follow, and after which message comes each step?
Input: deviations of points in stretches, in seconds; a spread of lateness, for logs whose messages come late.
Output: a line: slope, steps to the message, the height of each stretch, and how far each may be off.

Each in its file:

- `fitting`: from deviations to a line; the one way in.
- `blocks`: half a second of messages as one onset. `steps`: a line with steps through onsets.
- `levels`: the height of each stretch. `centring`: the same where errors go both ways, as a stripe's do.
"""
