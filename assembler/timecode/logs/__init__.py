"""What messages does a log hold, and when did each come?

In: the bytes of a MIDI file or of a table of values. Out: a `MidiLog`: its messages in order of time, and what was
found on the way. The other way round, for tests and the demo, too.
"""
