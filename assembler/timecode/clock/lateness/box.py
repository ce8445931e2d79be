"""Where the box of lateness begins and how wide it is, both at once, on grids that close in on the best place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.likelihood import (
    LEAST_WIDTH,
    REACH,
    Edges,
    Lateness,
    log_likelihood,
    log_prior,
    moments,
    simplify,
)

if TYPE_CHECKING:
    from assembler.arrays import Float64s

# This share of messages, in the least range that holds it, is a first idea of the width.
_USUAL_SHARE: Final = 0.9
# How soft the edges of the box may be besides, as shares of its width; the last leaves hardly more than a bell.
_SMEAR_SHARES: Final = (0.3, 1.0)
GRID: Final = 31
# Each round's grid lies closer about the best place so far. The first ones divide the log likelihood by these, or
# a coarse grid would take its one luckiest point for the whole ridge on which onset and width trade.
_COOLING: Final = (256.0, 64.0, 16.0, 4.0, 1.0)
# Soft edges make no ridge and no single lucky point.
_SOFT_COOLING: Final = (16.0, 1.0)
_COLD: Final = (1.0, 1.0)
_FINE_TICK_SHARE: Final = 0.1
# A softer edge must explain the log better by so much log likelihood.
_SOFTER_GAIN: Final = 12.0
# Distinct deviations are told apart to this share of the width.
_FINE_STEP_SHARE: Final = 1 / 2000
_ROUGH_STEP_SHARE: Final = 1 / 200


def fit_lateness(
    deviations: Float64s, tick: float, *, rough: bool = False, known: Lateness | None = None
) -> Lateness:
    """Return where messages begin and how they spread, both at once.

    Args:
        deviations: shape (n,), at least one; any trend removed.
        tick: step of the log's clock.
        rough: spend less time, for a first look.
        known: the width with its standard deviation, and the smear, as all messages of the log tell them.
    """
    low, width, relative = _reduce(deviations, tick)
    step = width * _ROUGH_STEP_SHARE
    cells = _count(relative, step)
    first = width if known is None else known.width
    width_reach = 0.6 * width + tick if known is None else REACH * known.width_error
    # Telling times apart to a step is rounding, like a tick.
    rough_edges = Edges(max(tick, step), is_soft=False)
    wide = _Box(0.0, 0.6 * first + tick / 2, first, width_reach, rough_edges)
    best, chosen = _fit_box(cells, wide, _COOLING, known)
    # Where ticks are coarse a soft edge would explain them by chance as well as the tick itself does.
    smears = [share * width for share in _SMEAR_SHARES if tick < _FINE_TICK_SHARE * width]
    if known is not None:
        smears = [known.smear] if known.softness else []
    for smear in smears:
        softer, box = _fit_box(cells, replace(wide, edges=Edges(smear, is_soft=True)), _SOFT_COOLING, known)
        if known is not None or softer > best + _SOFTER_GAIN:
            best, chosen = softer, box
    if not rough:
        step = width * _step_share(is_soft=chosen.edges.is_soft)
        near = replace(
            chosen,
            reach=REACH * chosen.reach,
            width_reach=REACH * chosen.width_reach,
            edges=chosen.edges if chosen.edges.is_soft else Edges(max(tick, step), is_soft=False),
        )
        _, chosen = _fit_box(_count(relative, step), near, _COLD, known)
    smear = chosen.edges.smear
    softness = float(np.sqrt(smear**2 - tick**2)) if chosen.edges.is_soft else 0.0
    fitted = Lateness(low + chosen.onset, chosen.reach, chosen.width, chosen.width_reach, smear, softness)
    return replace(fitted, onset=fitted.onset - fitted.lead)


def condense(deviations: Float64s, tick: float, *, is_soft: bool) -> tuple[float, float, Float64s, Float64s]:
    """Return a base, how wide deviations spread, the distinct ones from there on, and how often each occurs.

    Strays far out are brought nearer. Where edges are soft, deviations need not be told apart finely.
    """
    low, width, relative = _reduce(deviations, tick)
    return low, width, *_count(relative, width * _step_share(is_soft=is_soft))


def _step_share(*, is_soft: bool) -> float:
    return _ROUGH_STEP_SHARE if is_soft else _FINE_STEP_SHARE


def _reduce(deviations: Float64s, tick: float) -> tuple[float, float, Float64s]:
    """Return where ordinary deviations begin, over how much they spread, and all of them from there on."""
    low, high = _shortest_range(deviations)
    width = max(high - low, LEAST_WIDTH)
    # Strays count alike however far out they are, and must not spread the cells without bound.
    return low, width, np.clip(deviations - low, -3.0 * width - tick, 4.0 * width + tick)


def _shortest_range(deviations: Float64s) -> tuple[float, float]:
    """Return the least range that holds most of the deviations, wherever strays lie."""
    ordered = np.sort(deviations)
    count = max(1, round(_USUAL_SHARE * ordered.size))
    ranges = ordered[count - 1 :] - ordered[: ordered.size - count + 1]
    start = int(np.argmin(ranges))
    return float(ordered[start]), float(ordered[start + count - 1])


@dataclass(frozen=True)
class _Box:
    """A box under trial: where it begins, its width, how far to look to both sides for each, its edges."""

    onset: float
    reach: float
    width: float
    width_reach: float
    edges: Edges


def _count(deviations: Float64s, step: float) -> tuple[Float64s, Float64s]:
    """Return distinct deviations to within a step, and how often each occurs."""
    cells, counts = np.unique(np.rint(deviations / step), return_counts=True)
    return cells * step, counts.astype(np.float64)


def _fit_box(
    cells: tuple[Float64s, Float64s],
    start: _Box,
    cooling: tuple[float, ...],
    known: Lateness | None,
) -> tuple[float, _Box]:
    """Return the best log likelihood, and the box with its standard deviations as reaches."""
    box, best = start, -np.inf
    breadth = start.width + start.edges.smear
    for turn, heat in enumerate(cooling):
        zoom = REACH if turn else 1.0
        # Onset and width hang together where ticks are coarse: a grid must not lose their common ridge.
        reach, width_reach = zoom * box.reach, zoom * box.width_reach
        if turn:
            reach, width_reach = max(reach, width_reach / 2), max(width_reach, reach / 2)
        onsets = np.linspace(box.onset - reach, box.onset + reach, GRID)
        least = max(box.width - width_reach, LEAST_WIDTH / 4)
        widths = np.linspace(least, box.width + width_reach, GRID)
        near, counts = simplify(*cells, onsets, onsets[:, None] + widths, box.edges.reach)
        terms = log_likelihood(near[:, None, None], onsets[:, None], widths, box.edges, breadth)
        likelihood = np.tensordot(counts, terms, axes=1)
        if known is None:
            likelihood = likelihood + log_prior(widths)
        else:
            likelihood = likelihood - ((widths - known.width) / known.width_error) ** 2 / 2
        best = float(likelihood.max())
        posterior = np.exp((likelihood - best) / heat)
        onset, onset_error = moments(onsets, posterior.sum(axis=1))
        width, width_error = moments(widths, posterior.sum(axis=0))
        box = _Box(onset, onset_error, width, width_error, box.edges)
    return best, box
