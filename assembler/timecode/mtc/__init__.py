"""What timecode did the messages tell, and when?

In: a `MidiLog` and the sheet's frame rate. Out: `TimecodePoints`: frames against log seconds, what kind of count they
show, and what was found. `points` of linear timecode have the same shape.
"""
