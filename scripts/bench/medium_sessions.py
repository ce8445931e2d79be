"""Sessions captured from a modelled tape, of several kinds, each made from a seed, with the truth kept
beside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import Cause, unhurt
from assembler.demo.medium.machine import play_tape
from assembler.demo.medium.recorder import SCALE, capture
from scripts.bench.medium_chance import make_damages, make_format, make_machine, make_play
from scripts.bench.medium_recorder import disturb, pass_through
from scripts.bench.medium_sampled import FAMILIES, font, sampled
from scripts.bench.medium_sounds import CHARACTERS, STILL, WIRED, converted
from scripts.bench.medium_writing import write_session

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from assembler.demo.medium.causes import Damage
    from assembler.demo.medium.concealment import Machine
    from assembler.demo.medium.format import Format
    from assembler.demo.medium.recorder import Capture
    from scripts.bench.medium_sounds import Maker

KINDS = {
    "one": 1,
    "two": 2,
    "three": 3,
    "five": 5,
    "retake": 3,
    "unlike": 2,
    "bits16in24": 2,
    "bits20": 2,
    "weave": 2,
    "clean": 2,
    "cleanone": 1,
    "wired": 2,
    "wiredclean": 2,
}
"""Kinds of session and how many passes each has; in those that are wired most tracks are synthesizers and loops."""
CLEAN = ("clean", "cleanone", "wiredclean")

PLAY_EVENTS, RECORDER_EVENTS, DAMAGES = 4.0, 0.7, 3
"""Events of a play and of its recording, on average, and hurt places of a tape, in 24 seconds."""
OTHER_MACHINE = 0.25
"""Share of later passes that another machine plays."""


@dataclass(frozen=True)
class Session:
    """A session on disk and the truth about it.

    Args:
        kind: of ``KINDS``.
        seed: it was made from.
        sheet: its file.
        tape: shape (tracks, n), the tape's words in steps of 24 bits.
        captures: in the order of trust.
        rate: samples a second.
        zero: timeline sample of the tape's first one.
        words: what stands for the session in a table: its format, machine, word length, sounds.
    """

    kind: str
    seed: int
    sheet: Path
    tape: NDArray[np.int32]
    captures: list[Capture]
    rate: int
    zero: int
    words: str


@dataclass(frozen=True)
class _Tape:
    layout: Format
    machine: Machine
    bits: int
    words: NDArray[np.int32]
    damages: list[Damage]


def make_session(
    folder: Path, kind: str, seed: int, *, seconds: float, tracks: int, own: bool = False
) -> Session:
    """Make a session and write it.

    Args:
        folder: exists and is empty.
        kind: of ``KINDS``.
        seed: of everything random.
        seconds: length of the tape.
        tracks: of the tape.
        own: use this bench's own sounds only, not a synthesizer's.
    """
    random = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    layout = make_format(random, tracks)
    if kind == "weave":
        # Heads that have all of a track's samples between them: only there do two passes make one.
        layout = replace(layout, layout="heads", sweep=max(layout.sweep, 640), phase=layout.phase % 640)
    unit = layout.sweep * (2 if layout.layout == "heads" else 1)
    machine = make_machine(random, unit)
    bits = 20 if kind == "bits20" else 16
    length = round(seconds * layout.rate)
    makers = WIRED if kind.startswith("wired") else CHARACTERS
    words, sounds = _sounds(random, tracks, length, layout.rate, bits, makers, own=own)
    damages = [] if kind in CLEAN else make_damages(random, layout.sweeps(length), _count(DAMAGES, seconds))
    tape = _Tape(layout, machine, bits, words, damages)
    captures = _captures(random, kind, tape, seconds)
    zero = 3600 * layout.rate + int(random.integers(10 * layout.rate))
    sheet_bits = bits
    if kind == "bits16in24":
        sheet_bits = int(random.choice([16, 24]))
    frames = int(random.choice([25, 30]))
    sheet = write_session(
        folder, captures, rate=layout.rate, frames=frames, sheet_bits=sheet_bits, zero=zero, random=random
    )
    told = (
        f"{layout.rate} {layout.layout}/{layout.sweep} {machine.rounding} {machine.runs} sheet {sheet_bits}: "
    )
    return Session(kind, seed, sheet, words << SCALE - bits, captures, layout.rate, zero, told + sounds)


def _count(events: float, seconds: float) -> int:
    return max(1, round(events * seconds / 24))


def _sounds(
    random: np.random.Generator,
    tracks: int,
    length: int,
    rate: int,
    bits: int,
    makers: Mapping[str, Maker],
    *,
    own: bool,
) -> tuple[NDArray[np.int32], str]:
    """Return the words of all tracks and the names of their sounds."""
    words = np.zeros((tracks, length), np.int32)
    names = []
    for track in range(tracks):
        if not own and font() is not None and random.random() < 0.4:
            name = str(random.choice(sorted(FAMILIES)))
            sound = sampled(random, length, rate, name)
        else:
            name = str(random.choice(sorted(makers)))
            sound = makers[name](random, length, rate)
        peak = 10 ** (-random.uniform(0.2, 34 if name == "hiss" else 24) / 20)
        is_still = name in STILL and random.random() < 0.7
        noise = -1.0 if is_still else float(random.uniform(0.5, 4)) * (1 if bits == 16 else 4)
        words[track] = converted(sound, bits, random, peak, noise)
        names.append(name)
    return words, " ".join(names)


def _captures(random: np.random.Generator, kind: str, tape: _Tape, seconds: float) -> list[Capture]:
    length = tape.words.shape[1]
    scale = seconds / 24
    found = []
    for index in range(KINDS[kind]):
        # Each play begins a little elsewhere.
        start, end = int(random.integers(4000)), length - int(random.integers(4000))
        if kind == "retake" and index:
            lasting = int(length * random.uniform(0.15, 0.4))
            start = int(random.integers(length - lasting))
            end = start + lasting
        play = _play(random, kind, tape, index, scale)
        # Now and then another machine of the same make plays the tape again.
        other = make_machine(random, tape.machine.unit)
        machine = other if index and random.random() < OTHER_MACHINE else tape.machine
        heard = play_tape(tape.words, tape.bits, tape.layout, machine, play, random)
        file_bits = 16 if tape.bits == 16 and kind != "bits16in24" else 24
        one = capture(f"A{index + 1}", heard, tape.bits, file_bits, start, end)
        if kind not in CLEAN:
            disturb(one, random, RECORDER_EVENTS * scale, tape.layout.rate)
        if kind == "unlike" and index == 1:
            pass_through(one, random, tape.bits)
        found.append(one)
    return found


def _play(random: np.random.Generator, kind: str, tape: _Tape, index: int, scale: float) -> NDArray[np.uint8]:
    """Return what cannot be read in one play; to be woven, each pass lacks another head at the same places."""
    length = tape.words.shape[1]
    if kind in CLEAN:
        return unhurt(tape.layout.sweeps(length))
    if kind != "weave":
        return make_play(random, tape.layout, length, tape.damages, PLAY_EVENTS * scale)
    play = make_play(random, tape.layout, length, [], 0.5 * scale)
    places = np.random.default_rng(int(tape.words[:, :2000].sum()) & 0xFFFF)
    sweeps = np.arange(len(play))
    for _ in range(_count(4, 24 * scale)):
        first, count = int(places.integers(len(play))), int(np.exp(places.uniform(np.log(6), np.log(300))))
        ragged = random.integers(-2, 3, 2)
        inside = (sweeps >= first + ragged[0]) & (sweeps < first + count + ragged[1])
        play[inside & (sweeps % 2 == index % 2)] = Cause.CLOGGED
    return play
