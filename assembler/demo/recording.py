"""What the demo's tapes hold, and what each pass makes of it: the truth a build can be measured against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.faults import LAYOUT, MACHINE, spoil_capture, spoil_play
from assembler.demo.medium.causes import hurt, unhurt
from assembler.demo.medium.machine import play_tape
from assembler.demo.medium.recorder import SCALE, capture
from assembler.demo.music.piece import PIECE_SAMPLES, hear_room, play_part
from assembler.demo.music.tape import BIT_DEPTH, record_track
from assembler.demo.scenario import PASSES, REELS, ROOM, SEED, TAPE_START, DemoPass, DemoReel, find_reel

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Float64s, Int32s
    from assembler.demo.medium.causes import Damage
    from assembler.demo.medium.recorder import Capture


@dataclass(frozen=True)
class DemoTruth:
    """What was recorded, before any tape or machine went wrong.

    Args:
        first_sample: where the tapes' first sample lies on the timeline.
        reels: by name, shape (samples, tracks): all of one length, 16-bit numbers.
        damages: by reel name, the hurt places of the tape itself.
    """

    first_sample: int
    reels: Mapping[str, Int32s]
    damages: Mapping[str, tuple[Damage, ...]]


def demo_truth() -> DemoTruth:
    """Return what the demo's tapes hold: the same numbers at every call."""
    parts = _play_all()
    return DemoTruth(
        first_sample=TAPE_START,
        reels={reel.name: _record_reel(reel, parts) for reel in REELS},
        damages={reel.name: reel.damages for reel in REELS},
    )


def capture_pass(demo_pass: DemoPass, tape: Int32s) -> Capture:
    """Return what a pass captured, faults and all, with the truth about every sample.

    Args:
        demo_pass: which stretch, and what went wrong.
        tape: shape (samples, tracks), as ``demo_truth`` gives it.
    """
    generator = pass_generator(demo_pass)
    play = unhurt(LAYOUT.sweeps(len(tape)))
    hurt(play, generator, find_reel(demo_pass.reel).damages)
    spoil_play(play, demo_pass.faults, generator)
    heard = play_tape(np.ascontiguousarray(tape.T), BIT_DEPTH, LAYOUT, MACHINE, play, generator)
    one = capture(demo_pass.name, heard, BIT_DEPTH, BIT_DEPTH, demo_pass.start, demo_pass.end)
    spoil_capture(one, demo_pass.faults, generator)
    return one


def captured_samples(one: Capture) -> Int32s:
    """Return a capture's samples as they stand in its files: 16-bit numbers, shape (samples, tracks)."""
    return one.words.T >> SCALE - BIT_DEPTH


def pass_generator(demo_pass: DemoPass) -> np.random.Generator:
    """Return the source of chance of one pass, always in the same state."""
    # By the 9 no sample of reel B's crease is lost in both passes: the place can be woven whole.
    return np.random.default_rng([SEED, 9, PASSES.index(demo_pass)])


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
        tape[mute.start : mute.end, mute.track] = 0
    return tape
