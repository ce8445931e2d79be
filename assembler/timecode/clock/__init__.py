"""Where does a pass lie on the timeline, how surely, and what clock did its log keep?

In: `TimecodePoints`, one log's or all of a session. Out: a `ClockFit` for each log: its stretches with their shifts,
the slope, the verdict, and what is to be reported.
"""
