"""A small invented session, faulty on purpose and ready to build.

Question: how can a stranger try all this, and what do the demo's tapes really hold?
Input: a folder's name; one seed.
Output: a folder with captures, logs, a sheet and a page of its own; `demo_truth`, to measure a build against.

Each in its file:

- `scenario`: the story, as tables; `telling`: the same in words.
- `music/`: what the musicians play; `recording`: what the tapes hold, and what each pass makes of it.
- `faults`: what goes wrong in one play; `medium/`: how a tape and a machine do that.
- `logs`: timecode as an interface would write it. `session`: all of it on disk.
"""

from assembler.demo.faults import Fault
from assembler.demo.recording import DemoTruth, demo_truth
from assembler.demo.scenario import PASSES, REELS, DemoPass, DemoReel
from assembler.demo.session import DemoSummary, read_demo_sheet, write_demo

__all__ = [
    "PASSES",
    "REELS",
    "DemoPass",
    "DemoReel",
    "DemoSummary",
    "DemoTruth",
    "Fault",
    "demo_truth",
    "read_demo_sheet",
    "write_demo",
]
