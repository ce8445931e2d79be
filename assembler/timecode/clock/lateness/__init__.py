"""How late do messages come, and when would they have come had none been late?

In: deviations of messages from a line, in seconds, and the log's tick. Out: the spread that they share, and the onset
of each block or level, with how far both may be off.
"""
