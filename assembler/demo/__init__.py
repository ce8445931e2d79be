"""A small invented session, faulty on purpose and ready to build.

`write_demo` writes it to a folder; `demo_truth` gives what its tapes really hold, so that a build can be
measured against it. The music is made by numpy from one seed and put through a converter's noise (`music`),
played and recorded with faults (`faults`, by the model in `medium`) as the story says (`scenario`), and logged
as a timecode interface would (`logs`).
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
