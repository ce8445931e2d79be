"""What is ruled out before the likeliest truth is sought is what the search would not have found."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.concealment import settle as settling
from assembler.aligner.concealment.marks import Machine
from assembler.aligner.concealment.settle import settle
from assembler.aligner.concealment.surprise import may_be_explained
from assembler.aligner.concealment.truth.window import Window

if TYPE_CHECKING:
    from assembler.arrays import Int64s

LENGTH = 6000
FLAWS = ("none", "burst", "mute", "line", "strewn", "few")


def _tape(seed: int) -> Int64s:
    rng, at = np.random.default_rng(seed), np.arange(LENGTH)
    partials = (900 / n * np.sin(0.013 * n * at * (1 + seed % 3) + n) for n in range(1, 24))
    loudness = 10 ** (-seed % 4 / 2)
    return np.rint(sum(partials, np.zeros(LENGTH)) * loudness + rng.normal(0, 2, LENGTH)).astype(np.int64)


def _flawed(tape: Int64s, kind: str, rng: np.random.Generator) -> Int64s:
    copy, start = tape.copy(), int(rng.integers(1500, 3000))
    size = int(rng.integers(2, 1500))
    part = slice(start, start + size)
    # Single lost samples become the mean of their neighbours (published rule, see `marks`).
    means = rng.choice(np.arange(1500, 4500, 2), 12 if kind == "strewn" else 2, replace=False)
    if kind == "burst":
        copy[part] = rng.integers(-20000, 20000, size)
    elif kind == "mute":
        copy[part] = 0
    elif kind == "line":
        copy[part] = np.linspace(tape[start - 1], tape[start + size], size + 2)[1:-1]
    elif kind in {"strewn", "few"}:
        copy[means] = (tape[means - 1] + tape[means + 1]) // 2
    if kind == "few":
        copy[means[0] + 1 : means[0] + 20] = rng.integers(-20000, 20000, 19)
    return copy


def _window(*versions: Int64s) -> Window:
    rows = np.stack(versions)
    names = [str(number) for number in range(len(rows))]
    return Window(names, rows, np.ones(rows.shape, np.bool_), 1, 16, [Machine()] * len(rows))


@pytest.mark.parametrize("seed", range(4))
def test_what_is_ruled_out_would_not_be_found(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two and three captures with flaws of all kinds: what is said is the same as where the truth of each is sought."""
    tape, rng = _tape(seed), np.random.default_rng([seed, 1])
    windows = [
        _window(*(_flawed(tape, kind, rng) for kind in kinds), *[tape] * (number % 2))
        for number, kinds in enumerate(product(FLAWS, FLAWS))
    ]
    found = [settle([window])[0] for window in windows]
    may_be = [may_be_explained(window) for window in windows]
    monkeypatch.setattr(settling, "may_be_explained", lambda _: True)
    sought = [settle([window])[0] for window in windows]
    for one, other in zip(found, sought, strict=True):
        for name in ("settled", "open", "lost", "surprise"):
            assert np.array_equal(getattr(one, name), getattr(other, name))
    some = [bool((one.settled | one.open).any()) for one in sought]
    assert sum(some) >= len(windows) / 4
    assert not all(may_be)
