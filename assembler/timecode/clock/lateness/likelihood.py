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

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s

# Share of messages that may lie anywhere: chosen with scripts/bench/clock_accuracy.py.
_STRAY_SHARE: Final = 0.005
# Strays are taken to lie within so many breadths of ordinary lateness; those beyond count no less.
_STRAY_BREADTHS: Final = 8.0
# A bell's tails end, for all that matters, at so much of the box of equal variance: five standard deviations.
_BELL_REACH: Final = 1.5
LEAST_WIDTH: Final = 2e-6
# A grid reaches this many deviations to each side once the posterior is roughly known.
REACH: Final = 6.0
# Interfaces are polled once in a millisecond or so (common practice, no source): what a width is likely to be, and
# its spread as a natural logarithm. It decides only where coarse ticks leave the width open.
_USUAL_WIDTH: Final = 1e-3
_USUAL_SPREAD: Final = 0.5


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
        import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

        bell = edges.smear / np.sqrt(12.0)
        past_onset = (deviations - onsets) / bell
        box = (scipy.special.ndtr(past_onset) - scipy.special.ndtr(past_onset - width / bell)) / width
    else:
        start = np.maximum(deviations - edges.smear / 2, onsets)
        end = np.minimum(deviations + edges.smear / 2, onsets + width)
        box = np.maximum(end - start, 0.0) / (width * edges.smear)
    return np.asarray(
        np.log((1.0 - _STRAY_SHARE) * box + _STRAY_SHARE / (_STRAY_BREADTHS * breadth)), dtype=np.float64
    )


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
