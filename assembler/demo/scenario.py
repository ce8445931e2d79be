"""The demo's story, as tables: two reels, five passes, and what is wrong where.

A village band plays a dance onto two tapes that ran together; thirty years later each tape is captured
alone. Reel A is played through once (A1), again over its bad middle (A2), and once more over one late place
(A3). Reel B is recorded in part; its retake (B2) cures one fault, but one stretch of the tape itself is lost
for good.

All places are samples from the tape's first sample, which lies at ``TAPE_START`` on the timeline.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from assembler.demo.flaws import Flaw

SEED: Final = 19941015
FRAME_RATE: Final = "30"
TAPE_START: Final = 172_800_000  # 01:00:00:00 at 48 kHz
DELAY_MS: Final = 0.8  # what the timecode interface always adds; the sheet says so
JITTER_MS: Final = 1.0  # what it adds by chance on top, from nothing to this

ROOM: Final = "Room"


@dataclass(frozen=True)
class DemoReel:
    """One tape.

    Args:
        name: as in the sheet.
        tracks: tape order; "" is an idle input.
        damage: flaws of the tape itself: every pass has them, none can cure them.
        desk_mutes: stretches where the mixer sent digital zeros while its player rested: not a flaw.
    """

    name: str
    tracks: tuple[str, ...]
    damage: tuple[Flaw, ...] = ()
    desk_mutes: tuple[Flaw, ...] = ()


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
        flaws: what this play of the tape got wrong.
    """

    name: str
    reel: str
    start: int
    end: int
    log: Literal["beats", "frames", "seconds", "sample"]
    polyphonic: bool = False
    flaws: tuple[Flaw, ...] = ()


REELS: Final = (
    DemoReel("A", ("Kick", "Snare", "Hat", "Bass", "Guitar", "Harp", "", "Bell")),
    DemoReel(
        "B",
        ("Organ", "Reed", "Pad", ROOM),
        damage=(Flaw("mute", 545_000, 545_900, (0,)),),
        desk_mutes=(Flaw("mute", 450_000, 525_000, (1,)),),
    ),
)
PASSES: Final = (
    DemoPass(
        "A1",
        "A",
        start=7_201,
        end=953_333,
        log="beats",
        flaws=(
            Flaw("burst", 285_000, 285_600, (1,)),
            Flaw("mute", 301_500, 303_300, (0, 1, 2, 3, 4, 5, 6, 7)),
            Flaw("hold", 340_000, 340_700, (3,)),
            Flaw("straight", 391_200, 391_600, (4,)),
            Flaw("click", 430_017, 430_020, (7,)),
            Flaw("repeat", 720_000, 721_024, (5,)),
        ),
    ),
    DemoPass(
        "A2",
        "A",
        start=200_640,
        end=530_477,
        log="frames",
        flaws=(Flaw("mute", 480_500, 481_700, (0, 3)),),
    ),
    DemoPass("A3", "A", start=678_003, end=762_514, log="seconds"),
    DemoPass(
        "B1",
        "B",
        start=200_119,
        end=840_101,
        log="beats",
        flaws=(Flaw("hold", 400_600, 401_400, (1,)),),
    ),
    DemoPass(
        "B2",
        "B",
        start=330_100,
        end=610_250,
        log="sample",
        polyphonic=True,
        flaws=(Flaw("click", 500_000, 500_002, (0,)),),
    ),
)


def find_reel(name: str) -> DemoReel:
    """Return the reel of that name; KeyError where there is none."""
    return {reel.name: reel for reel in REELS}[name]
