"""Invented sessions whose every fault is known: a tape, and captures of it with flaws and slips put in.

One seed makes one session. All is held in memory; a capture is given to the program behind the reader that it
knows from files. Positions are samples: *tape* samples count from the tape's first one, *pass* samples from a
capture's first one. Arrays of audio have the shape ``(tracks, samples)``, ``int32``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

import numpy as np

from assembler.importer import CoarseSlip, ImportedPass, ImportedSession, Position
from assembler.sheet import parse_sheet
from scripts.bench.trial_sounds import CHARACTERS, SAMPLE_RATE, sounds_of

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int32s, Int64s
    from assembler.importer import PassAudio

TRACKS: Final = 8
TIMELINE_START: Final = 3600 * SAMPLE_RATE
"""01:00:00:00 at 30 frames a second: where the tape's first sample lies."""

SHORTEST_SAMPLES: Final = 4 * SAMPLE_RATE
LONGEST_SAMPLES: Final = 16 * SAMPLE_RATE
MOST_FLAWS: Final = 60
POSITION_ERROR_SAMPLES: Final = 500
LOGGED_SLIP_SAMPLES: Final = 64
"""A change of shift that a log of quarter frames shows for certain (about 1 ms of jitter is averaged)."""
SLIP_DISTANCE_SAMPLES: Final = 72_000
"""Slips of one trial stand at least so far from each other, and from the ends of the tape."""

SOUND_BLOCK, LEAST_SOUND_BLOCKS = 480, 10

KINDS: Final = ("mute", "hold", "straight", "repeat", "click", "burst", "sync")


@dataclass(frozen=True)
class ArrayAudio:
    """A capture in memory: what the program asks of its open files.

    Args:
        samples: shape (tracks, samples).
        file_bits: bits of a sample that it holds.
    """

    samples: Int32s
    file_bits: int = 24

    @property
    def tracks(self) -> int:
        """Number of tracks."""
        return int(self.samples.shape[0])

    @property
    def length(self) -> int:
        """Samples of each track."""
        return int(self.samples.shape[1])

    @property
    def track_lengths(self) -> tuple[int, ...]:
        """Samples of each track, one number a track."""
        return (self.length,) * self.tracks

    def read(self, track: int, start: int, count: int) -> Int32s:
        """Return ``count`` samples of one track from ``start`` on, zero outside."""
        out = np.zeros(count, np.int32)
        first, last = max(0, start), min(start + count, self.length)
        if first < last:
            out[first - start : last - start] = self.samples[track, first:last]
        return out

    def close(self) -> None:
        """Nothing is open."""


@dataclass(frozen=True)
class PutFlaw:
    """A flaw put into a capture, in tape samples."""

    kind: str
    start: int
    end: int
    tracks: tuple[int, ...]


@dataclass(frozen=True)
class PutSlip:
    """Samples lost (positive) or repeated (negative); ``pass_sample`` is the first one behind the place."""

    pass_sample: int
    samples: int


@dataclass(frozen=True)
class TrialPass:
    """A capture with all that is wrong with it.

    Args:
        name: of the pass.
        audio: what was captured.
        origin: shape (pass samples,): the tape sample that each captured one is, repeats included.
        position: what its log says.
        flaws: put in.
        slips: put in.
    """

    name: str
    audio: ArrayAudio
    origin: Int64s
    position: Position
    flaws: tuple[PutFlaw, ...]
    slips: tuple[PutSlip, ...]

    def right(self, tape: Int32s) -> Bools:
        """Return where the pass holds what the tape holds, shape as ``tape``."""
        mask = np.zeros(tape.shape, np.bool_)
        mask[:, self.origin] = self.audio.samples == tape[:, self.origin]
        return mask


@dataclass(frozen=True)
class Trial:
    """One session: what the tape holds, and its captures in the order of trust."""

    seed: int
    character: str
    bit_depth: int
    tape: Int32s
    passes: tuple[TrialPass, ...]

    @property
    def timeline_start(self) -> int:
        """Timeline sample of the tape's first sample, by the log of the most trusted pass."""
        first = self.passes[0]
        return round(first.position.shift) - int(first.origin[0])


def make_trial(
    seed: int,
    *,
    character: str | None = None,
    passes: int | None = None,
    longest: int = LONGEST_SAMPLES,
    most_flaws: int = MOST_FLAWS,
) -> Trial:
    """Return the session of a seed.

    Args:
        seed: any number.
        character: one of ``CHARACTERS``; None lets the seed choose.
        passes: 2 or 3; None lets the seed choose.
        longest: the tape is shorter, in samples; another limit makes another session of the same seed.
        most_flaws: that are put in, all passes together; the same holds for it.
    """
    rng = np.random.default_rng(seed)
    chosen = str(rng.choice(CHARACTERS)) if character is None else character
    count = int(rng.integers(2, 4)) if passes is None else passes
    bit_depth = int(rng.choice([16, 24]))
    length = int(rng.integers(SHORTEST_SAMPLES, longest))
    tape = make_tape(chosen, bit_depth, length, rng)
    extents = [_extent(index, length, rng) for index in range(count)]
    drawn = _draw_slips(extents, length, rng)
    slips = [
        [slip for slip in of_pass if _sounds(tape[:, low : slip[0]]) and _sounds(tape[:, slip[0] : high])]
        for of_pass, (low, high) in zip(drawn, extents, strict=True)
    ]
    flaws = _draw_flaws(extents, int(rng.integers(5, most_flaws + 1)), rng)
    made = [
        _capture(f"P{index + 1}", tape, bit_depth, extents[index], flaws[index], slips[index], rng)
        for index in range(count)
    ]
    return Trial(seed, chosen, bit_depth, tape, tuple(made))


def trial_session(trial: Trial, *, scope: str = "track") -> ImportedSession:
    """Return the trial as the program's imported session."""
    names = ", ".join(f'"T{track + 1}"' for track in range(TRACKS))
    text = (
        f'[session]\ntitle = "Trial {trial.seed}"\nsample_rate = {SAMPLE_RATE}\n'
        f'bit_depth = {trial.bit_depth}\nframe_rate = "30"\n'
        f'[[reel]]\nname = "A"\ntracks = [{names}]\n'
        + "".join(f'[[pass]]\nname = "{p.name}"\nreel = "A"\naudio = "{p.name}.wav"\n' for p in trial.passes)
        + f'[repair]\nscope = "{scope}"\n'
    )
    sheet = parse_sheet(text.encode(), path=None, folder=Path())
    imported = [ImportedPass(p.name, "A", cast("PassAudio", p.audio), p.position, None) for p in trial.passes]
    return ImportedSession(sheet, tuple(imported))


def make_tape(character: str, bit_depth: int, length: int, rng: np.random.Generator) -> Int32s:
    """Return what a tape holds, shape ``(TRACKS, length)``."""
    scale = float(1 << (bit_depth - 1))
    sounds = sounds_of(character, TRACKS, rng)
    tracks = [sound(length, scale, rng) for sound in sounds]
    return np.stack([np.clip(np.rint(track), -scale, scale - 1).astype(np.int32) for track in tracks])


def _extent(index: int, length: int, rng: np.random.Generator) -> tuple[int, int]:
    """Return the tape range that a pass captures: mostly all of it, now and then a retake of a part."""
    if index and rng.random() < 0.25:
        size = int(rng.integers(length // 3, length))
        start = int(rng.integers(0, length - size))
        return start, start + size
    return int(rng.integers(0, 3000)), length - int(rng.integers(0, 3000))


def _draw_slips(
    extents: list[tuple[int, int]], length: int, rng: np.random.Generator
) -> list[list[tuple[int, int]]]:
    """Return for each pass its slips as tape sample and size, all apart from each other."""
    slips: list[list[tuple[int, int]]] = [[] for _ in extents]
    places: list[int] = []
    for _ in range(int(rng.integers(0, 5))):
        at = int(rng.integers(SLIP_DISTANCE_SAMPLES // 2, length - SLIP_DISTANCE_SAMPLES // 2))
        index = int(rng.integers(len(extents)))
        low, high = extents[index]
        if not low + SLIP_DISTANCE_SAMPLES // 2 < at < high - SLIP_DISTANCE_SAMPLES // 2:
            continue
        if any(abs(at - other) < SLIP_DISTANCE_SAMPLES for other in places):
            continue
        witnesses = [  # A slip that no other pass sees is known by the log alone, and only nearly.
            low < at - SLIP_DISTANCE_SAMPLES // 2 and at + SLIP_DISTANCE_SAMPLES // 2 < high
            for other, (low, high) in enumerate(extents)
            if other != index
        ]
        if not any(witnesses):
            continue
        # Of two passes nothing but a log can tell which of them slipped, so that the most trusted one
        # slips only by what a log shows, unless two others bear witness.
        least = 1 if index or sum(witnesses) > 1 else LOGGED_SLIP_SAMPLES
        size = round(float(np.exp(rng.uniform(np.log(least), np.log(2400)))))
        slips[index].append((at, size if rng.random() < 0.5 else -size))
        places.append(at)
    return [sorted(of_pass) for of_pass in slips]


def _sounds(tape: Int32s) -> bool:
    """Return whether some track sounds: next to silence alone the log tells of a slip, and only nearly."""
    whole = tape.shape[1] // SOUND_BLOCK * SOUND_BLOCK
    blocks = tape[:, :whole].reshape(TRACKS, -1, SOUND_BLOCK)
    return int(np.count_nonzero(np.ptp(blocks, axis=2), axis=1).max()) >= LEAST_SOUND_BLOCKS


def _draw_flaws(extents: list[tuple[int, int]], count: int, rng: np.random.Generator) -> list[list[PutFlaw]]:
    flaws: list[list[PutFlaw]] = [[] for _ in extents]
    for _ in range(count):
        index = int(rng.integers(len(extents)))
        flaws[index].append(draw_flaw(*extents[index], rng))
    return flaws


def draw_flaw(low: int, high: int, rng: np.random.Generator) -> PutFlaw:
    """Return a flaw of any kind, length and tracks between two tape samples."""
    kind = str(rng.choice(KINDS))
    longest = {"click": 4, "straight": 200, "hold": 2000, "repeat": 4000, "burst": 2000}.get(kind, 12_000)
    shortest = {"click": 1, "straight": 8, "repeat": 200}.get(kind, 32)
    size = round(float(np.exp(rng.uniform(np.log(shortest), np.log(longest)))))
    start = int(rng.integers(low + size + 1, high - size - 1))
    tracks: tuple[int, ...] = tuple(range(TRACKS))
    if kind != "sync":
        tracks = tuple(sorted(int(t) for t in rng.choice(TRACKS, int(rng.integers(1, 4)), replace=False)))
    return PutFlaw(kind, start, start + size, tracks)


def put_flaw(tape: Int32s, flaw: PutFlaw, bit_depth: int, rng: np.random.Generator) -> None:
    """Put a flaw into a copy of the tape, shape ``(TRACKS, samples)``, in place."""
    for track in flaw.tracks:
        tape[track, flaw.start : flaw.end] = _flawed(tape[track], flaw, bit_depth, rng)


def _capture(
    name: str,
    tape: Int32s,
    bit_depth: int,
    extent: tuple[int, int],
    flaws: list[PutFlaw],
    slips: list[tuple[int, int]],
    rng: np.random.Generator,
) -> TrialPass:
    copy = tape.copy()
    for flaw in flaws:
        put_flaw(copy, flaw, bit_depth, rng)
    origin, put = _slipped(extent, slips)
    audio = ArrayAudio(np.ascontiguousarray(copy[:, origin]), bit_depth)
    error = int(rng.integers(-POSITION_ERROR_SAMPLES, POSITION_ERROR_SAMPLES + 1))
    position = Position("mtc", float(TIMELINE_START + extent[0] + error), 30.0, _logged(put, rng))
    return TrialPass(name, audio, origin, position, tuple(flaws), tuple(put))


def _slipped(extent: tuple[int, int], slips: list[tuple[int, int]]) -> tuple[Int64s, list[PutSlip]]:
    """Return the tape samples in the order in which they were captured, and the slips between them."""
    taken: list[Int64s] = []
    put: list[PutSlip] = []
    at, length = extent[0], 0
    for place, samples in slips:
        taken.append(np.arange(at, place, dtype=np.int64))
        length += place - at
        put.append(PutSlip(length, samples))
        at = place + samples
    return np.concatenate([*taken, np.arange(at, extent[1], dtype=np.int64)]), put


def _logged(slips: list[PutSlip], rng: np.random.Generator) -> tuple[CoarseSlip, ...]:
    """Return what a log of quarter frames shows of the slips: their place and size only nearly."""
    shown = [slip for slip in slips if abs(slip.samples) >= LOGGED_SLIP_SAMPLES]
    return tuple(
        CoarseSlip(
            slip.pass_sample + int(rng.integers(-9000, 9001)),
            slip.samples + int(rng.integers(-6, 7)),
            12.0,
        )
        for slip in shown
    )


def _flawed(track: Int32s, flaw: PutFlaw, bit_depth: int, rng: np.random.Generator) -> Int32s:
    """Return what a flaw makes of its stretch of one track."""
    start, end = flaw.start, flaw.end
    size, scale = end - start, float(1 << (bit_depth - 1))
    # Lost sync does the same to all tracks.
    kind = ("mute", "hold", "burst")[start % 3] if flaw.kind == "sync" else flaw.kind
    if kind == "mute":
        return np.zeros(size, np.int32)
    if kind == "hold":
        return np.full(size, track[start - 1], np.int32)
    if kind == "straight":
        line = np.interp(np.arange(start, end), [start - 1, end], track[[start - 1, end]].astype(np.float64))
        return np.rint(line).astype(np.int32)
    if kind == "repeat":
        return track[start - size : start].copy()
    level = scale * float(np.exp(rng.uniform(np.log(0.02), np.log(0.9))))
    thrown: Float64s = rng.uniform(-level, level, size)
    if kind == "click":
        thrown = track[start:end] + level * rng.choice([-1.0, 1.0])
    return np.asarray(np.clip(np.rint(thrown), -scale, scale - 1), np.int32)
