"""What goes wrong in one play of a tape, or in the recorder behind the machine, at places that the story names.

What each does to the samples is for the model of the medium to say (`assembler.demo.medium`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np

from assembler.demo.medium.causes import Cause, clog, drop_out, scratch, unlock
from assembler.demo.medium.concealment import Machine, Made
from assembler.demo.medium.format import Format
from assembler.demo.medium.recorder import SCALE, move, put, repeat
from assembler.demo.music.tape import BIT_DEPTH

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assembler.demo.medium.causes import Play
    from assembler.demo.medium.recorder import Capture

SWEEP: Final = 720  # samples: 15 ms at 48 kHz
LAYOUT: Final = Format(48_000, SWEEP, "heads", (False,) * 8)
MACHINE: Final = Machine("down", "hold_mean", mute_share=0.9, unit=2 * SWEEP, ramp=0)

FaultKind: TypeAlias = Literal["clog", "dropout", "scratch", "unlock", "repeat", "slip", "word"]


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong once.

    Args:
        kind: of a play: clog, dropout, scratch, unlock; of a recorder: repeat, slip (samples are lost), word.
        start: tape sample at which it begins; a fault of a play begins with the sweep that is there.
        samples: how long it lasts; a dropout lasts up to so many.
        head: the clogged one, 0 or 1.
        track: with the wrong word, from 0; all other faults meet all tracks.
    """

    kind: FaultKind
    start: int
    samples: int
    head: int = 0
    track: int = 0


def spoil_play(play: Play, faults: Iterable[Fault], generator: np.random.Generator) -> None:
    """Let faults of the machine keep blocks of a play from being read, in place."""
    for fault in faults:
        first, count = fault.start // SWEEP, fault.samples // SWEEP
        match fault.kind:
            case "clog":
                clog(play, generator, first, count, fault.head)
            case "dropout":
                drop_out(play, generator, first)
            case "scratch":
                scratch(play, generator, first, count)
            case "unlock":
                unlock(play, generator, first, count)


def spoil_capture(capture: Capture, faults: Iterable[Fault], generator: np.random.Generator) -> None:
    """Let faults of the recorder spoil a capture, in place; each lies inside it, in the order of time."""
    for fault in faults:
        at = int(np.searchsorted(capture.place, fault.start))
        match fault.kind:
            case "repeat":
                repeat(capture, at, fault.samples)
            case "slip":
                move(capture, [at], lost=fault.samples)
            case "word":
                wrong = generator.integers(-(1 << BIT_DEPTH - 1), 1 << BIT_DEPTH - 1, fault.samples)
                words = wrong.astype(np.int32) << SCALE - BIT_DEPTH
                where = (fault.track, slice(at, at + fault.samples))
                put(capture, where, words, Made.WORD, Cause.WRONG_WORD)
