"""A tape played by a machine: from the tape's words to what leaves the machine, with the truth about every
sample.

Sources: as in ``medium_format``, ``medium_conceal`` and ``medium_causes``. Miscorrection, single words that
the code mends wrongly: J. Watkinson, The Art of Digital Audio; how seldom: no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import (
    Cause,
)
from assembler.demo.medium.concealment import Made, conceal, mute, muted
from assembler.demo.medium.format import BLOCKS, unmended

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.demo.medium.causes import Play
    from assembler.demo.medium.concealment import Machine
    from assembler.demo.medium.format import Format

MISCORRECTED = 0.004
"""Share of sweeps past correction in which the code mends one word wrongly."""
CALM_MISCORRECTED = 2e-5
"""The same of all other sweeps."""


@dataclass(frozen=True)
class Heard:
    """What one play gave.

    Args:
        words: shape (tracks, n), in the tape's own steps.
        made: same shape, what each sample was made as; see ``Made``.
        causes: same shape, why; see ``Cause``.
        locked: shape (n,), whether the machine was in step with the tape.
    """

    words: NDArray[np.int32]
    made: NDArray[np.uint8]
    causes: NDArray[np.uint8]
    locked: NDArray[np.bool_]


def play_tape(
    tape: NDArray[np.int32],
    bits: int,
    layout: Format,
    machine: Machine,
    play: Play,
    random: np.random.Generator,
) -> Heard:
    """Return what a machine makes of a tape in one play.

    Args:
        tape: shape (tracks, n), the tape's words.
        bits: their length.
        layout: how they lie on the tape.
        machine: what plays them.
        play: which blocks cannot be read and why, shape (sweeps, 128).
        random: for what the code mends wrongly.
    """
    lost = np.where(unmended(play > 0), play, 0).astype(np.uint8)
    words, made = tape.copy(), np.zeros(tape.shape, np.uint8)
    causes = np.zeros(tape.shape, np.uint8)
    for track in range(len(tape)):
        sweep, block = layout.places(track, tape.shape[1])
        causes[track] = lost[sweep, block]
        words[track], made[track] = conceal(tape[track], causes[track] > 0, machine)
    quiet = muted(causes > 0, layout.phase % machine.unit, machine)
    reason = np.max(causes, axis=0)
    for track in range(len(tape)):
        mute(words[track], made[track], quiet, machine)
    unnamed = (made != Made.TAPE) & (causes == Cause.NONE)
    causes[unnamed] = np.broadcast_to(_carried(reason), causes.shape)[unnamed]
    heard = Heard(words, made, causes, ~_unlocked(play, layout, tape.shape[1]))
    _miscorrect(heard, bits, layout, lost, random)
    return heard


def _carried(reason: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the cause at each sample; where there is none, that of the nearest one: ramps lie beside."""
    known = np.flatnonzero(reason)
    if not len(known):
        return reason
    at = np.arange(len(reason))
    right = np.minimum(np.searchsorted(known, at), len(known) - 1)
    left = np.maximum(right - 1, 0)
    nearer = np.where(abs(known[left] - at) < abs(known[right] - at), left, right)
    return np.asarray(reason[known[nearer]])


def _unlocked(play: Play, layout: Format, length: int) -> NDArray[np.bool_]:
    gone = (play == Cause.SERVO).sum(axis=1) == BLOCKS
    return np.asarray(gone[(np.arange(length) + layout.phase) // layout.sweep])


def _miscorrect(heard: Heard, bits: int, layout: Format, lost: Play, random: np.random.Generator) -> None:
    chance = np.where(lost.any(axis=1), MISCORRECTED, CALM_MISCORRECTED)
    tracks, length = heard.words.shape
    for sweep in np.flatnonzero(random.random(len(lost)) < chance):
        track = int(random.integers(tracks))
        at = int(sweep) * layout.sweep - layout.phase + int(random.integers(layout.sweep))
        if 0 <= at < length and heard.made[track, at] == Made.TAPE:
            heard.words[track, at] = random.integers(-(1 << bits - 1), 1 << bits - 1)
            heard.made[track, at], heard.causes[track, at] = Made.WORD, Cause.MISCORRECTION
