"""Captures followed while they are being recorded: what is saved by now, and what is wrong with it.

Question: what is being recorded now, and what is wrong with it?
Input: a folder that grows, or a sheet beside it.
Output: events, one after another; whoever asks prints them. Nothing is opened for writing, nothing is locked.

Each in its file:

- `events`: what is reported, as records, as JSON and as lines; `board`: what is still true of all that was reported.
- `captures/`: files on disk, while they grow.
- `clock`: its timecode, as far as it is logged.
- `sound/`: new sound, looked at by the aligner's own rules, alone or beside finished passes; what was reported of it.
- `checking`: a check of all that is finished, in the background.
- `following`: one pass from its first sample to its end; `saying`: what is reported of it, in words.
- `watching`: all of them, and the check that renews what must be played again; `listing`: what that check comes to.
"""

from assembler.watch.board import Board, PassLine
from assembler.watch.events import Event, event_json, event_line
from assembler.watch.watching import Watch

__all__ = ["Board", "Event", "PassLine", "Watch", "event_json", "event_line"]
