"""All that one capture by itself shows of a machine, with the rule that found it and what it may be instead.

Positions count from the first of the samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.flaws.interrupting import is_drawn_line, likely_lines, played_twice
from assembler.aligner.flaws.noise import bursts, islands
from assembler.aligner.flaws.stepped import interruptions
from assembler.aligner.records.because import Rule
from assembler.aligner.sound.glance import Glance
from assembler.aligner.sound.levels import is_peak

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def shown_alone(samples: Int32s, step: int) -> list[tuple[str, Rule, str, Range]]:
    """Return what may be flaws, as build, rule, kind and range: flaws for certain, or what an instrument may do too.

    These are pauses, levels held, noise in silence, and straight peaks of sound that was clipped and then faded.
    """
    glance = Glance(samples, step)
    shown = [
        (_build_of(samples, kind, place), Rule.FORETOLD, kind, place)
        for kind, place in lone_flaws(samples, step, glance)
    ]
    shown += [
        ({"mute": "pause", "hold": "level"}.get(kind, "flaw"), Rule.IN_PHASE, kind, place)
        for kind, place in interruptions(samples, step)
    ]
    # Noise in silence is told only where several tracks have it.
    shown += [("noise", Rule.MOMENT, "burst", place) for place in islands(samples, step)]
    return shown


def lone_flaws(samples: Int32s, step: int, glance: Glance | None = None) -> list[tuple[str, Range]]:
    """Return what a single capture shows by itself, as kind and range: straight, repeat and burst.

    No other capture bears witness, so that only what no instrument does is told: each flaw interrupts a sound that
    goes on behind it as it was before. Much is missed, above all in quiet, coarse or sparse sound.
    """
    lines = likely_lines(samples, step) if (glance or Glance(samples, step)).has_line else []
    found = [("straight", place) for place in lines if is_drawn_line(samples, place, step)]
    found += [("repeat", place) for place in played_twice(samples)]
    found += [("burst", place) for place in bursts(samples, step)]
    return sorted(found, key=lambda row: row[1])


def _build_of(samples: Int32s, kind: str, place: Range) -> str:
    """Return what a look-alike may be instead: a peak that was clipped, or noise that an instrument makes."""
    if kind == "burst":
        return "noise"
    return "peak" if kind == "straight" and is_peak(samples, *place) else "flaw"
