"""All that one capture by itself shows of a machine, with the rule that found it and what it may be instead.

No other capture bears witness, so that only what no instrument does is told: each flaw interrupts a sound that goes on
behind it as it was before. Much is missed, above all in quiet, coarse or sparse sound.

Audio is ``int32``, shape ``(samples,)``; positions count from the first of the samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LEAST_LAG, MOST_LEVEL_STEPS, MOST_QUIET_STEPS
from assembler.aligner.flaws.noise import bursts, islands
from assembler.aligner.flaws.stepped import interruptions
from assembler.aligner.records.because import Rule
from assembler.aligner.records.limits import CLEARLY, HALF, INSTANT_SAMPLES, LEAST_TELLING, WINDOW_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.copies import standing_twice
from assembler.aligner.sound.levels import fit_predictor, is_peak, is_straight, prediction_errors
from assembler.aligner.sound.limits import FIT_SAMPLES, LEAST_FALL, PREDICTOR_ORDER
from assembler.arrays import median, within

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def shown_alone(samples: Int32s, step: int) -> list[tuple[str, Rule, str, Range]]:
    """Return what may be flaws, as build, rule, kind and range: flaws for certain, or what an instrument may do too.

    These are pauses, levels held, noise in silence, and straight peaks of sound that was clipped and then faded.
    """
    shown = [
        (_build_of(samples, kind, place), Rule.FORETOLD, kind, place)
        for kind, place in lone_flaws(samples, step)
    ]
    shown += [
        ({"mute": "pause", "hold": "level"}.get(kind, "flaw"), Rule.IN_PHASE, kind, place)
        for kind, place in interruptions(samples, step)
    ]
    # Noise in silence is told only where several tracks have it.
    shown += [("noise", Rule.MOMENT, "burst", place) for place in islands(samples, step)]
    return shown


def lone_flaws(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return what a single capture shows by itself, as kind and range: straight, repeat and burst."""
    lines = likely_lines(samples, step)
    found = [("straight", place) for place in lines if is_drawn_line(samples, place, step)]
    found += [("repeat", place) for place in played_twice(samples)]
    found += [("burst", place) for place in bursts(samples, step)]
    return sorted(found, key=lambda row: row[1])


def _build_of(samples: Int32s, kind: str, place: Range) -> str:
    """Return what a look-alike may be instead: a peak that was clipped, or noise that an instrument makes."""
    if kind == "burst":
        return "noise"
    return "peak" if kind == "straight" and is_peak(samples, *place) else "flaw"


def likely_lines(samples: Int32s, step: int) -> list[Range]:
    """Return what runs straight from a kink to a kink, give or take a step; most of it is drawn by a machine."""
    bend = np.diff(samples, 2)
    rows = np.array(ranges_of(within(bend, step), least=LEAST_TELLING), np.int64).reshape(-1, 2)
    firsts, lasts = rows[(rows[:, 0] > 0) & (rows[:, 1] < bend.size)].T
    kinks = np.minimum(np.abs(bend[firsts - 1]), np.abs(bend[lasts])) >= MOST_QUIET_STEPS * step
    # A level is no line.
    lines = kinks & (samples[firsts + 1] != samples[lasts])
    return [(int(a) + 1, int(b) + 1) for a, b in zip(firsts[lines], lasts[lines], strict=True)]


def is_drawn_line(samples: Int32s, place: Range, step: int) -> bool:
    """Return whether a likely line stands in sound that bends all the time beside it.

    Args:
        samples: one track, of which ``WINDOW_SAMPLES`` samples are looked at on either side.
        place: of the line.
        step: one step of the tape's word length.
    """
    start, end = place
    beside = (
        samples[max(0, start - WINDOW_SAMPLES - 1) : start + 1],
        samples[end - 1 : end + WINDOW_SAMPLES + 1],
    )
    bends = [np.abs(np.diff(side.astype(np.int64), 2)) for side in beside]
    return (
        min(side.size for side in bends) >= WINDOW_SAMPLES // 2
        and min(median(side) for side in bends) >= MOST_LEVEL_STEPS * step
        and is_straight(samples, start, end, step)
    )


def played_twice(samples: Int32s) -> list[Range]:
    """Return blocks that stand once more right behind themselves, with the sound going on before and behind."""
    places = [(start, end) for start, end, _ in standing_twice(samples, LEAST_LAG)]
    return [place for place in places if _is_spliced(samples, *place)]


def _is_spliced(samples: Int32s, start: int, end: int) -> bool:
    """Return whether a piece is cut in: its surroundings do not predict its first sample, or the one behind it."""
    if start < FIT_SAMPLES or end + FIT_SAMPLES > samples.size:
        return False
    if np.mean(np.diff(samples[start:end]) != 0) < HALF:
        return False
    before = samples[start - FIT_SAMPLES : start].astype(np.float64)
    behind = samples[end : end + FIT_SAMPLES].astype(np.float64)
    sides = before[-INSTANT_SAMPLES:], behind[:INSTANT_SAMPLES], before, behind
    levels = [float(np.sqrt(np.mean(side**2))) for side in sides]
    if min(levels) < LEAST_FALL * max(levels):
        return False
    errors = np.abs(
        prediction_errors(samples[start - FIT_SAMPLES : end + 4].astype(np.float64), fit_predictor(before))
    )
    usual = float(np.quantile(errors[PREDICTOR_ORDER:FIT_SAMPLES], 0.99)) + 1.0
    splices = errors[FIT_SAMPLES : FIT_SAMPLES + 4].max(), errors[-8:].max()
    # Rough sound can hide one of them, by chance.
    return max(float(splice) for splice in splices) > CLEARLY * usual
