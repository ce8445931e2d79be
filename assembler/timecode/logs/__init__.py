"""Timecode logs as files.

Question: what messages does a log hold, and when did each come?
Input: the bytes of a MIDI file or of a table of values.
Output: a `MidiLog`: its messages in order of time, and what was found on the way. The other way round, too.

Each in its file:

- `messages`: what a log says, whatever file it stood in.
- `smf`: a Standard MIDI File, ticks to seconds; `events`: its events. `csvlog`: comma-separated text.
- `writing`: logs written, for tests and the demo.
"""
