"""Which of several captures is right where they differ.

Two captures that agree bit for bit settle it. Where all differ, each version is looked at as a tape's sound:
does it hold one value, run along a straight line, repeat what came just before, or fit its surroundings worse
(or suspiciously better) than the others? What can't be told is said to be undecided; nothing is guessed
silently.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.detecting import (
    PREDICTOR_ORDER,
    constant_share,
    fit_predictor,
    is_straight,
    prediction_errors,
    repeated_from,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Float64s, Int32s

CONTEXT_SAMPLES = 1024
"""Samples on each side of a difference that the predictor is fitted to: 21 ms at 48 kHz."""

CLICK_SAMPLES = 48
"""Up to this length an excess of prediction error is called a click, above it a burst."""

DECIDED_DECADES = 0.5
"""Two versions whose misfit differs by less than this (5 dB) are not told apart."""

STRUCTURED_SHARE = 0.7
QUIET_DECADES = -1.0


@dataclass(frozen=True)
class Version:
    """How one capture's version of a stretch looks.

    Args:
        kind: flaw it shows: mute, hold, straight, repeat, click, burst; "" when nothing speaks against it.
        structured: whether the flaw is of the kind that no sound makes (mute, hold, straight, repeat).
        misfit: how far, in powers of ten, its prediction errors are from those of the surroundings.
    """

    kind: str
    structured: bool
    misfit: float


@dataclass(frozen=True)
class Verdict:
    """Which version is right.

    Args:
        right: index of the version to take.
        kinds: for each version its flaw; "" for the right one.
        decided: False where nothing tells the versions apart and the order of trust had to do.
    """

    right: int
    kinds: tuple[str, ...]
    decided: bool


def look_at(samples: Int32s, start: int, end: int, step: int, predictor: Float64s, normal: float) -> Version:
    """Return how the stretch ``start`` to ``end`` of one capture looks in its surroundings.

    Args:
        samples: the stretch with context on both sides.
        start: where it begins in ``samples``.
        end: where it ends.
        step: one step of the tape's word length.
        predictor: fitted to the surroundings.
        normal: mean square prediction error of the surroundings.
    """
    errors = prediction_errors(samples.astype(np.float64), predictor)
    floor = step * step / 12.0
    # An edge shows in the predictions that still reach over it, hence the samples behind the stretch.
    stretch = errors[start : min(end + PREDICTOR_ORDER, samples.size)]
    decades = float(np.log10((np.mean(stretch**2) + floor) / (normal + floor)))
    inside = errors[min(start + PREDICTOR_ORDER, end) : end]
    inner = float(np.log10((np.mean(inside**2) + floor) / (normal + floor))) if inside.size else decades
    kind = _structure(samples, start, end, step)
    if kind:
        return Version(kind, structured=True, misfit=max(abs(decades), abs(inner)))
    if decades > DECIDED_DECADES:
        kind = "click" if end - start <= CLICK_SAMPLES else "burst"
    return Version(kind, structured=False, misfit=max(abs(decades), -min(inner, 0.0)))


def judge(versions: Sequence[Int32s], start: int, end: int, step: int) -> Verdict:
    """Return which of several differing versions of one stretch is right.

    Args:
        versions: one array per capture in the order of trust, all of one length, with the same context
            around the stretch.
        start: where the stretch begins in them.
        end: where it ends.
        step: one step of the tape's word length.
    """
    looks = _looks(versions, start, end, step)
    order = sorted(range(len(looks)), key=lambda i: (looks[i].structured, looks[i].misfit, i))
    best, second = looks[order[0]], looks[order[1]]
    decided = best.structured != second.structured or second.misfit - best.misfit >= DECIDED_DECADES
    right = order[0] if decided else 0
    kinds = tuple("" if i == right else _name(look, decided=decided) for i, look in enumerate(looks))
    return Verdict(right, kinds, decided)


def _looks(versions: Sequence[Int32s], start: int, end: int, step: int) -> list[Version]:
    # The surroundings are the same in every version, or nearly: other flaws may be close. The quietest
    # prediction wins, since a flaw in the surroundings only ever makes them less predictable.
    fits = []
    for samples in versions:
        around = _surroundings(samples, start, end)
        predictor = fit_predictor(around)
        errors = prediction_errors(around, predictor)[PREDICTOR_ORDER:]
        fits.append((float(np.median(errors**2)) / 0.455 if errors.size else 0.0, predictor))
    normal, predictor = min(fits, key=lambda fit: fit[0])
    return [look_at(samples, start, end, step, predictor, normal) for samples in versions]


def _surroundings(samples: Int32s, start: int, end: int) -> Float64s:
    left, right = samples[:start], samples[end:]
    longer = left if left.size >= right.size else right
    return longer.astype(np.float64)


def _structure(samples: Int32s, start: int, end: int, step: int) -> str:
    """Return the kind of flaw that the stretch shows by its build alone, or nothing."""
    around = np.concatenate((samples[:start], samples[end:]))
    if around.size and float(np.mean(np.diff(around) == 0)) > STRUCTURED_SHARE:
        return ""
    if end - start >= 4:
        if constant_share(samples, start, end, zero=True) > STRUCTURED_SHARE:
            return "mute"
        if constant_share(samples, start, end, zero=False) > STRUCTURED_SHARE:
            return "hold"
    if is_straight(samples, start, end, step):
        return "straight"
    if repeated_from(samples, start, end) is not None:
        return "repeat"
    return ""


def _name(look: Version, *, decided: bool) -> str:
    if look.kind:
        return look.kind
    return "disagreement" if not decided else ("burst" if look.misfit > 0 else "disagreement")
