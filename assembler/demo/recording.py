"""What the demo's tapes hold, and what each pass makes of it: the truth a build can be measured against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.flaws import Flaw, apply_flaws
from assembler.demo.piece import PIECE_SAMPLES, hear_room, play_part
from assembler.demo.scenario import PASSES, REELS, ROOM, SEED, TAPE_START, DemoPass, DemoReel, find_reel
from assembler.demo.tape import record_track

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Float64s, Int32s


@dataclass(frozen=True)
class DemoTruth:
    """What was recorded, before any tape or machine went wrong.

    Args:
        first_sample: where the tapes' first sample lies on the timeline.
        reels: by name, shape (samples, tracks): all of one length, 16-bit numbers.
        damage: by reel name, the stretches that no pass holds any more.
    """

    first_sample: int
    reels: Mapping[str, Int32s]
    damage: Mapping[str, tuple[Flaw, ...]]


def demo_truth() -> DemoTruth:
    """Return what the demo's tapes hold: the same numbers at every call."""
    parts = _play_all()
    return DemoTruth(
        first_sample=TAPE_START,
        reels={reel.name: _record_reel(reel, parts) for reel in REELS},
        damage={reel.name: reel.damage for reel in REELS},
    )


def capture_pass(demo_pass: DemoPass, tape: Int32s) -> Int32s:
    """Return the samples that a pass captured, flaws and all.

    Args:
        demo_pass: which stretch, and what went wrong.
        tape: shape (samples, tracks), as ``demo_truth`` gives it.

    Returns:
        Shape (demo_pass.end - demo_pass.start, tracks).
    """
    damage = find_reel(demo_pass.reel).damage
    played = apply_flaws(tape, (*damage, *demo_pass.flaws), pass_generator(demo_pass))
    return played[demo_pass.start : demo_pass.end]


def pass_generator(demo_pass: DemoPass) -> np.random.Generator:
    """Return the source of chance of one pass, always in the same state."""
    return np.random.default_rng([SEED, 2, PASSES.index(demo_pass)])


def _play_all() -> dict[str, Float64s]:
    names = [track for reel in REELS for track in reel.tracks if track not in {"", ROOM}]
    parts = {
        name: play_part(name, np.random.default_rng([SEED, 0, place])) for place, name in enumerate(names)
    }
    parts[ROOM] = hear_room(list(parts.values()))
    parts[""] = np.zeros(PIECE_SAMPLES)
    return parts


def _record_reel(reel: DemoReel, parts: Mapping[str, Float64s]) -> Int32s:
    """Put one reel's parts through its converters, then its mixer's mutes on top."""
    tape = np.empty((PIECE_SAMPLES, len(reel.tracks)), np.int32)
    for place, track in enumerate(reel.tracks):
        converter = np.random.default_rng([SEED, 1, ord(reel.name[0]), place])
        tape[:, place] = record_track(parts[track], converter)
    for mute in reel.desk_mutes:
        tape[mute.start : mute.end, list(mute.tracks)] = 0
    return tape
