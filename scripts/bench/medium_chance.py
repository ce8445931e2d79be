"""Formats, machines, damages and plays drawn by chance, for trials.

The model itself is the package's own, ``assembler.demo.medium``. What kinds there are: its sources; how often and
how long each is: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import Damage, clog, drop_out, hurt, scratch, unhurt, unlock, weaken
from assembler.demo.medium.concealment import Machine
from assembler.demo.medium.format import BLOCKS, Format

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.demo.medium.causes import Play
    from assembler.demo.medium.format import Layout


def make_format(random: np.random.Generator, tracks: int) -> Format:
    """Return a format of some kind: mostly two heads at 66 2/3 sweeps a second, each with one parity."""
    rate, sweep = ((48000, 720), (48000, 720), (48000, 800), (48000, 960), (44100, 662))[random.integers(5)]
    layout: Layout = ("heads", "heads", "heads", "halves", "delayed")[random.integers(5)]
    if layout == "delayed":
        # A fixed head has no sweeps; what stands for one is a short section of the tape.
        sweep = int(random.choice([192, 240, 384]))
    swap = random.integers(3)
    swapped = tuple(
        bool(track & 1 if swap == 1 else track // 4 & 1 if swap == 2 else 0) for track in range(tracks)
    )
    delay = int(random.choice([3, 5, 7]))
    return Format(rate, sweep, layout, swapped, delay, 2 * int(random.integers(sweep // 2)))


def make_machine(random: np.random.Generator, unit: int) -> Machine:
    """Return a machine of some kind."""
    return Machine(
        ("down", "up", "zero")[random.integers(3)],
        ("hold_mean", "hold_mean", "hold", "line")[random.integers(4)],
        float(random.choice([0.6, 0.75, 0.9, 0.97])),
        unit,
        int(random.choice([0, 0, 16, 64])),
    )


def make_damages(random: np.random.Generator, sweeps: int, count: int) -> list[Damage]:
    """Return hurt places of a tape, half of them alike in every play."""
    found = []
    for _ in range(count):
        width = int(random.integers(28, 110))
        block = int(random.integers(0, BLOCKS - width + 1))
        lasting = int(random.integers(1, 12))
        found.append(
            Damage(int(random.integers(sweeps - lasting)), lasting, block, width, bool(random.random() < 0.5))
        )
    return found


def make_play(
    random: np.random.Generator, layout: Format, length: int, damages: Sequence[Damage], events: float
) -> Play:
    """Return a play with so many events of the machine's own on average."""
    sweeps = layout.sweeps(length)
    second = layout.rate / layout.sweep
    play = unhurt(sweeps)
    hurt(play, random, damages)
    for _ in range(int(random.poisson(events))):
        first = int(random.integers(2, sweeps - 2))
        head = int(random.integers(2))
        kind = int(random.integers(6))
        if kind in (0, 1):
            clog(play, random, first, _lasting(random, second, 0.02, 6), head)
        elif kind == 2:
            weaken(play, random, first, _lasting(random, second, 0.2, 4), int(random.integers(3)))
        elif kind == 3:
            drop_out(play, random, first)
        elif kind == 4:
            scratch(play, random, first, _lasting(random, second, 0.3, 5))
        else:
            unlock(play, random, first, _lasting(random, second, 0.03, 2))
    return play


def _lasting(random: np.random.Generator, sweeps: float, low: float, high: float) -> int:
    """Return how many sweeps an event lasts that has from ``low`` to ``high`` seconds, short ones more often."""
    return int(sweeps * np.exp(random.uniform(np.log(low), np.log(high)))) + 1
