"""What does a set say of itself, and does it say the same everywhere?

In: an edit and what was written of it, or the bytes of an ``assembly.json`` from anywhere. Out: the record, as plain
values and as checked records; all that follows from it (what is embedded in tracks, ``joins.csv``,
``timeline.otio``); and where files of a set say something else.
"""
