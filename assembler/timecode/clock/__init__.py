"""Where a pass lies on the timeline, how surely, and what clock its log kept.

Question: by how much is log time ahead of tape time, and where does that change?
Input: `TimecodePoints`, one log's or all of a session.
Output: a `ClockFit` for each log: its stretches with their shifts, the slope, the verdict, and what is to be reported.

Each in its file:

- `clock`: one log's draft; all of a session settled.
- `stretches`: points over which tape and log ran together.
- `line/`: a line with steps through what is left; `lateness/`: how late messages come.
- `fits`: the answers as records; `words`: what they tell, in an engineer's words.
"""
