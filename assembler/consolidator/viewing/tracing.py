"""Samples to drawn lines: single samples, or the least and the greatest of each column."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assembler.report.views import DIFFERENCE, RESULT, Trace

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from assembler.arrays import Bools, Int32s, Int64s

_LEAST, _MOST = np.iinfo(np.int32).min, np.iinfo(np.int32).max


@dataclass(frozen=True)
class Sound:
    """Samples of one source.

    Args:
        source: a pass, or `RESULT`.
        samples: shape (n,).
        held: shape (n,), where the source has any; None for everywhere.
    """

    source: str
    samples: Int32s
    held: Bools | None

    def part(self, start: int, end: int) -> Sound:
        """Return the samples ``start`` to ``end``."""
        return Sound(
            self.source, self.samples[start:end], None if self.held is None else self.held[start:end]
        )

    @property
    def is_empty(self) -> bool:
        """Whether the source has nothing at all."""
        return self.held is not None and not self.held.any()


def traces_of(sounds: Sequence[Sound], step: int) -> tuple[Trace, ...]:
    """Return the lines of a window: of all passes that hold something, of the result, and of how far they lie apart.

    Args:
        sounds: of one length, the passes in the order of trust, then the result.
        step: samples in a column; the last one may have fewer.
    """
    sounds = [one for one in sounds if one.source == RESULT or not one.is_empty]
    lines = [*(_trace(one, step) for one in sounds), _difference(sounds, step)]
    # What is delivered is mostly one of the passes: the same rows are one object, and stand there once.
    rows: dict[tuple[int | None, ...], tuple[int | None, ...]] = {}
    return tuple(
        Trace(one.source, rows.setdefault(one.low, one.low), rows.setdefault(one.high, one.high))
        for one in lines
    )


def _trace(sound: Sound, step: int) -> Trace:
    if step == 1:
        values = _told(sound.samples, sound.held)
        return Trace(sound.source, values, values)
    low, high, held = sound.samples, sound.samples, sound.held
    if held is not None:
        low, high = np.where(held, low, _MOST), np.where(held, high, _LEAST)
        held = _by_column(np.maximum, held.view(np.int8), step).astype(bool)
    lows, highs = _by_column(np.minimum, low, step), _by_column(np.maximum, high, step)
    return Trace(sound.source, _told(lows, held), _told(highs, held))


def _difference(sounds: Sequence[Sound], step: int) -> Trace:
    """Return the greatest distance of any two sources in each column; nothing where there are no two."""
    highest = np.full(sounds[0].samples.size, _LEAST, np.int64)
    lowest, sources = np.full_like(highest, _MOST), np.zeros(highest.size, np.int8)
    for one in sounds:
        held = np.ones(highest.size, bool) if one.held is None else one.held
        np.maximum(highest, one.samples, out=highest, where=held)
        np.minimum(lowest, one.samples, out=lowest, where=held)
        sources += held
    has_two = sources > 1
    apart = np.where(has_two, highest - lowest, 0)
    values = _told(_by_column(np.maximum, apart, step), _by_column(np.logical_or, has_two, step))
    return Trace(DIFFERENCE, values, values)


def _by_column(reduce: np.ufunc, values: NDArray[Any], step: int) -> NDArray[Any]:
    """Return what a function makes of each column, shape (columns,)."""
    return values if step == 1 else np.asarray(reduce.reduceat(values, np.arange(0, values.size, step)))


def _told(values: Int32s | Int64s, held: Bools | None) -> tuple[int | None, ...]:
    if held is None or held.all():
        return tuple(values.tolist())
    return tuple(
        value if is_held else None for value, is_held in zip(values.tolist(), held.tolist(), strict=True)
    )


def numbers_size(traces: Iterable[Trace]) -> int:
    """Return what the lines of a window take at most when their numbers are written out, with sign and comma.

    A row that stands in it again counts once.
    """
    size = 0
    for row in {id(row): row for one in traces for row in (one.low, one.high)}.values():
        values = [value for value in row if value is not None]
        largest = max(max(values, default=0), -min(values, default=0))
        size += (len(str(largest)) + 2) * len(row)
    return size
