"""How late messages come, and where a stretch of them would have come had none been late.

A message is never early. It is late by something between nothing and a *width* that belongs to the
interface, a few stragglers by much more; then its time is rounded to the log's tick. So the likelihood of a
deviation is a box of that width, its edges smeared evenly by a tick or, where lateness is soft, like a bell, over a
broad background that lets strays count for little. The *onset* is where the box begins: the time of a message that
came at once. Its posterior mean and deviation (flat prior) use whatever the log offers: sharp edges where ticks are
fine, how often each tick occurs where they are coarse, the middle where lateness is bell-shaped. A plain mean
would move with the width, a least value with the first stray. What one log leaves open of the width, the logs of a
session tell together (see `sharing`).

Deviations, onsets, widths, smears and ticks are in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import ndtr

if TYPE_CHECKING:
    from assembler.arrays import Float64s

# Share of messages that may lie anywhere: chosen with scripts/bench/clock_accuracy.py.
_STRAY_SHARE: Final = 0.005
# This share of messages, in the least range that holds it, is a first idea of the width.
_USUAL_SHARE: Final = 0.9
# Strays are taken to lie within so many breadths of ordinary lateness; those beyond count no less.
_STRAY_BREADTHS: Final = 8.0
# How soft the edges of the box may be besides, as shares of its width; the last leaves hardly more than a bell.
_SMEAR_SHARES: Final = (0.3, 1.0)
# A bell's tails end, for all that matters, at so much of the box of equal variance: five standard deviations.
_BELL_REACH: Final = 1.5
LEAST_WIDTH: Final = 2e-6
_GRID: Final = 31
# Each round's grid lies closer about the best place so far. The first ones divide the log likelihood by these, or
# a coarse grid would take its one luckiest point for the whole ridge on which onset and width trade.
_COOLING: Final = (256.0, 64.0, 16.0, 4.0, 1.0)
# Soft edges make no ridge and no single lucky point.
_SOFT_COOLING: Final = (16.0, 1.0)
_COLD: Final = (1.0, 1.0)
_FINE_TICK_SHARE: Final = 0.1
# A softer edge must explain the log better by so much log likelihood.
_SOFTER_GAIN: Final = 12.0
# A grid reaches this many deviations to each side once the posterior is roughly known.
REACH: Final = 6.0
# Distinct deviations are told apart to this share of the width.
_FINE_STEP_SHARE: Final = 1 / 2000
_ROUGH_STEP_SHARE: Final = 1 / 200
# Interfaces are polled once in a millisecond or so (common practice, no source): what a width is likely to be, and
# its spread as a natural logarithm. It decides only where coarse ticks leave the width open.
_USUAL_WIDTH: Final = 1e-3
_USUAL_SPREAD: Final = 0.5
# Values of the likelihood held at once: bounds memory to some 30 MB for a log of any length.
_LARGEST_BATCH: Final = 1_000_000


@dataclass(frozen=True)
class Lateness:
    """Where messages begin, and how they spread.

    Args:
        onset: deviation of a message that came at once.
        onset_error: its standard deviation.
        width: between the promptest and the latest ordinary message.
        width_error: its standard deviation.
        smear: over how much edges are smeared; never less than a tick. Soft ones: the box of equal variance.
        softness: the smear less what ticks make of it; zero where lateness is spread evenly.
    """

    onset: float
    onset_error: float
    width: float
    width_error: float
    smear: float
    softness: float

    @property
    def edges(self) -> Edges:
        """What smears the edges."""
        return Edges(self.smear, is_soft=self.softness > 0.0)

    @property
    def lead(self) -> float:
        """How far the onset lies before the box: a bell has no edge, and counts as the box of equal variance."""
        return float(np.hypot(self.width, self.softness) - self.width) / 2

    @property
    def breadth(self) -> float:
        """Over how much ordinary deviations spread, ticks included."""
        return self.width + self.smear


@dataclass(frozen=True)
class Edges:
    """What smears the edges of the box.

    Args:
        smear: over how much; where edges are soft the equal of a box in variance.
        is_soft: smeared like a bell, by what happens inside the interface; else evenly, by ticks.
    """

    smear: float
    is_soft: bool

    @property
    def reach(self) -> float:
        """How far from an edge of the box its smear is felt."""
        return self.smear * (_BELL_REACH if self.is_soft else 0.5)


def log_likelihood(
    deviations: Float64s, onsets: Float64s | float, width: Float64s | float, edges: Edges, breadth: float
) -> Float64s:
    """Return the log likelihood of each deviation; the shapes of the first three are broadcast.

    Strays lie anywhere in several breadths, alike for every box under trial: a background that depended on the box
    would draw it to itself.
    """
    if edges.is_soft:
        bell = edges.smear / np.sqrt(12.0)
        past_onset = (deviations - onsets) / bell
        box = (ndtr(past_onset) - ndtr(past_onset - width / bell)) / width
    else:
        start = np.maximum(deviations - edges.smear / 2, onsets)
        end = np.minimum(deviations + edges.smear / 2, onsets + width)
        box = np.maximum(end - start, 0.0) / (width * edges.smear)
    return np.asarray(
        np.log((1.0 - _STRAY_SHARE) * box + _STRAY_SHARE / (_STRAY_BREADTHS * breadth)), dtype=np.float64
    )


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
        onsets = np.linspace(box.onset - reach, box.onset + reach, _GRID)
        least = max(box.width - width_reach, LEAST_WIDTH / 4)
        widths = np.linspace(least, box.width + width_reach, _GRID)
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


def simplify(
    values: Float64s, counts: Float64s, onsets: Float64s, ends: Float64s, reach: float
) -> tuple[Float64s, Float64s]:
    """Return values and counts with all that lies inside, or outside, of every box on trial taken together.

    Args:
        values: shape (n,), distinct deviations.
        counts: shape (n,), how often each occurs.
        onsets: where boxes on trial begin.
        ends: where they end.
        reach: how far from an edge its smear is felt.
    """
    at_onset = (values > onsets.min() - reach) & (values < onsets.max() + reach)
    at_end = (values > ends.min() - reach) & (values < ends.max() + reach)
    inside = (values >= onsets.max() + reach) & (values <= ends.min() - reach)
    near = (at_onset | at_end) & ~inside
    far = ~near & ~inside
    kept_values, kept_counts = [values[near]], [counts[near]]
    for alike in (inside, far):
        if alike.any():
            kept_values.append(values[alike][:1])
            kept_counts.append(counts[alike].sum(keepdims=True))
    return np.concatenate(kept_values), np.concatenate(kept_counts)


def log_prior(widths: Float64s) -> Float64s:
    """Return what is known about widths before a log is read."""
    return np.asarray(-((np.log(widths / _USUAL_WIDTH) / _USUAL_SPREAD) ** 2) / 2, dtype=np.float64)


def moments(grid: Float64s, weights: Float64s) -> tuple[float, float]:
    """Return mean and standard deviation of a quantity whose even grid has these weights."""
    mean = float(weights @ grid / weights.sum())
    spread = float(weights @ (grid - mean) ** 2 / weights.sum())
    # A posterior narrower than the grid is known no better than the grid's step.
    return mean, float(np.sqrt(spread + (grid[1] - grid[0]) ** 2 / 12))


def locate_onsets(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    """Return the onset of each block and its standard deviation, the spread being known.

    Args:
        blocks: shape (blocks, messages), deviations; NaN where a block is shorter than the others.
        lateness: the spread that all blocks share; its onset does not matter.

    Returns:
        Two arrays of shape (blocks,).
    """
    onsets = np.empty(blocks.shape[0])
    errors = np.empty(blocks.shape[0])
    batch = max(1, _LARGEST_BATCH // (_GRID * blocks.shape[1]))
    for start in range(0, blocks.shape[0], batch):
        part = slice(start, start + batch)
        onsets[part], errors[part] = _locate_batch(blocks[part], lateness)
    return onsets - lateness.lead, errors


def _locate_batch(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    messages = np.maximum(np.isfinite(blocks).sum(axis=1), 1)
    onsets = np.nanmedian(blocks, axis=1) - lateness.width / 2
    reach = lateness.breadth * np.minimum(2.5 / np.sqrt(messages), 1.0)
    errors = reach
    steps = np.linspace(-1.0, 1.0, _GRID)
    for _ in range(2):
        grid = onsets[:, None] + reach[:, None] * steps
        terms = log_likelihood(
            blocks[:, None, :], grid[:, :, None], lateness.width, lateness.edges, lateness.breadth
        )
        likelihood = np.nansum(terms, axis=2)
        weights = np.exp(likelihood - likelihood.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        onsets = (weights * grid).sum(axis=1)
        spread = (weights * (grid - onsets[:, None]) ** 2).sum(axis=1)
        errors = np.sqrt(spread + (grid[:, 1] - grid[:, 0]) ** 2 / 12)
        reach = REACH * errors
    return onsets, errors
