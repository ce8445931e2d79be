"""The demo's story, as tables: two reels, five passes, and what is wrong where.

A village band plays a dance onto two tapes that ran together; thirty years later each tape is captured
alone. Reel A is played through once (A1), again over its bad middle (A2), and once more over one late place
(A3). Reel B is recorded in part, twice (B1, B2). Where its tape is creased each pass loses other samples, so
that the two together have them all; where a crease goes over the whole width, nothing is left.

All places are samples from the tape's first sample, which lies at ``TAPE_START`` on the timeline.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from assembler.demo.faults import SWEEP, Fault
from assembler.demo.medium.causes import Damage
from assembler.demo.medium.format import BLOCKS

SEED: Final = 19941015
FRAME_RATE: Final = "30"
TAPE_START: Final = 172_800_000  # 01:00:00:00 at 48 kHz
DELAY_MS: Final = 0.8  # what the timecode interface always adds; the sheet says so
JITTER_MS: Final = 1.0  # what it adds by chance on top, from nothing to this

ROOM: Final = "Room"

LogForm: TypeAlias = Literal["beats", "frames", "seconds", "sample"]


@dataclass(frozen=True)
class DeskMute:
    """A stretch of one track to which the mixer sent digital zeros, from one tape sample up to another."""

    start: int
    end: int
    track: int


@dataclass(frozen=True)
class DemoReel:
    """One tape.

    Args:
        name: as in the sheet.
        tracks: tape order; "" is an idle input.
        damages: hurt places of the tape itself, which every pass meets.
        desk_mutes: where the mixer sent digital zeros while its player rested: not a flaw.
    """

    name: str
    tracks: tuple[str, ...]
    damages: tuple[Damage, ...] = ()
    desk_mutes: tuple[DeskMute, ...] = ()


@dataclass(frozen=True)
class DemoPass:
    """One capture of one reel.

    Args:
        name: as in the sheet, also its folder.
        reel: the tape.
        start: first tape sample captured.
        end: one past the last.
        log: how the timecode log is written.
        polyphonic: one file for all tracks instead of one each.
        faults: what went wrong in this play and its recording, in the order of time.
    """

    name: str
    reel: str
    start: int
    end: int
    log: LogForm
    polyphonic: bool = False
    faults: tuple[Fault, ...] = ()


REELS: Final = (
    DemoReel("A", ("Kick", "Snare", "Hat", "Bass", "Guitar", "Harp", "", "Bell")),
    DemoReel(
        "B",
        ("Organ", "Reed", "Pad", ROOM),
        damages=(
            Damage(sweep=556, sweeps=8, block=40, blocks=28, alike=False),
            Damage(sweep=756, sweeps=2, block=0, blocks=BLOCKS, alike=True),
        ),
        desk_mutes=(DeskMute(450_000, 525_000, 1),),
    ),
)
PASSES: Final = (
    DemoPass(
        "A1",
        "A",
        start=7_201,
        end=953_333,
        log="beats",
        faults=(
            Fault("clog", 280_800, 40 * SWEEP, head=0),
            Fault("dropout", 342_000, 4 * SWEEP),
            Fault("scratch", 357_120, 16 * SWEEP),
            Fault("word", 430_017, 1, track=7),
            Fault("unlock", 443_520, 8 * SWEEP),
            Fault("repeat", 722_950, 1024),
            Fault("slip", 741_000, 256),
        ),
    ),
    DemoPass(
        "A2",
        "A",
        start=200_640,
        end=530_477,
        log="frames",
        faults=(Fault("dropout", 485_280, 4 * SWEEP),),
    ),
    DemoPass("A3", "A", start=678_003, end=762_514, log="seconds"),
    DemoPass("B1", "B", start=200_119, end=840_101, log="beats"),
    DemoPass(
        "B2",
        "B",
        start=330_100,
        end=610_250,
        log="sample",
        polyphonic=True,
        faults=(Fault("word", 500_000, 1, track=0),),
    ),
)


def find_reel(name: str) -> DemoReel:
    """Return the reel of that name; KeyError where there is none."""
    return {reel.name: reel for reel in REELS}[name]
