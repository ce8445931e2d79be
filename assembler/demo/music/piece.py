"""The little dance that the demo's musicians play, part by part.

Times are in beats from the tape's first sample, at 96 beats a minute: one beat is ``BEAT_SAMPLES`` samples.
The piece is seven bars of four beats from beat 2 on and then rings out. Notes are MIDI note numbers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from assembler.demo.music import voices

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assembler.arrays import Float64s

BEAT_SAMPLES: Final = 30_000
PIECE_SAMPLES: Final = 32 * BEAT_SAMPLES

_FIRST_BEAT: Final = 2
_BARS: Final = 7

# One chord a bar: the bass note, then the notes above it.
_CHORDS: Final = (
    (38, (62, 66, 69)),
    (43, (62, 67, 71)),
    (38, (62, 66, 69)),
    (45, (61, 64, 69)),
    (47, (62, 66, 71)),
    (43, (62, 67, 71)),
    (38, (62, 66, 69)),
)
# Beat, length in beats, note.
_BELL_TUNE: Final = (
    (2, 1, 81), (3, 1, 78), (4, 2, 74), (6, 1, 79), (7, 1, 78), (8, 2, 74), (10, 1, 78), (11, 1, 81),
    (12, 2, 86), (14, 1, 85), (15, 1, 81), (16, 2, 76), (18, 1, 78), (19, 1, 83), (20, 2, 86), (22, 1, 83),
    (23, 1, 79), (24, 2, 74), (26, 1, 78), (27, 1, 76), (28, 3, 74),
)  # fmt: skip
_REED_TUNE: Final = (
    (6, 1.5, 71), (7.5, 0.5, 69), (8, 2, 67), (10, 1, 66), (11, 1, 69), (12, 2.5, 74), (18, 1, 71),
    (19, 1, 74), (20, 2, 78), (22, 1.5, 79), (23.5, 0.5, 78), (24, 2, 74), (26, 4, 69),
)  # fmt: skip

Note: TypeAlias = tuple[float, "Float64s"]


def play_part(instrument: str, generator: np.random.Generator) -> Float64s:
    """Return what one musician plays from the tape's first sample to its last.

    Args:
        instrument: one of ``INSTRUMENTS``.
        generator: the chance in strings and drums; the same state gives the same part.

    Returns:
        Shape (PIECE_SAMPLES,), about -1 to 1.
    """
    part = np.zeros(PIECE_SAMPLES)
    for beat, note in _PLAYERS[instrument](generator):
        start = round(beat * BEAT_SAMPLES)
        heard = note[: PIECE_SAMPLES - start]
        part[start : start + heard.size] += heard
    return part


def hear_room(parts: Iterable[Float64s]) -> Float64s:
    """Return a far microphone: all parts together, late and with a few echoes from the walls."""
    dry: Float64s = np.sum(list(parts), axis=0)
    room = np.zeros_like(dry)
    # Milliseconds and strength of the direct way and four echoes of a small hall, uneven: nothing combs.
    for late_ms, strength in ((9.1, 0.5), (23.7, 0.35), (41.3, 0.28), (67.9, 0.2), (103.1, 0.12)):
        late = round(late_ms * voices.SAMPLE_RATE / 1000)
        room[late:] += strength * dry[:-late]
    return 0.5 * room


def _samples(beats: float) -> int:
    return round(beats * BEAT_SAMPLES)


def _bars() -> Iterable[tuple[int, int, tuple[int, ...]]]:
    """Give (first beat, bass note, notes above) of each bar."""
    return ((_FIRST_BEAT + 4 * bar, *chord) for bar, chord in enumerate(_CHORDS))


def _kick(_generator: np.random.Generator) -> Iterable[Note]:
    drum = voices.beat_kick(_samples(0.8))
    return ((beat + step, drum) for beat, _, _ in _bars() for step in (0, 1.5, 2))


def _snare(generator: np.random.Generator) -> Iterable[Note]:
    return (
        (beat + step, voices.beat_snare(_samples(0.7), generator))
        for beat, _, _ in _bars()
        for step in (1, 3, 3.75)
    )


def _hat(generator: np.random.Generator) -> Iterable[Note]:
    halves = range(2 * _FIRST_BEAT, 2 * (_FIRST_BEAT + 4 * _BARS))
    return ((half / 2, voices.beat_hat(_samples(0.45), generator)) for half in halves)


def _bass(_generator: np.random.Generator) -> Iterable[Note]:
    for beat, root, _ in _bars():
        for step, beats, note in ((0, 1.5, root), (1.5, 0.5, root + 12), (2, 1, root + 7), (3, 1, root)):
            yield beat + step, voices.play_bass(voices.note_hertz(note), _samples(beats))


def _guitar(generator: np.random.Generator) -> Iterable[Note]:
    for beat, root, chord in _bars():
        for string, note in enumerate((root + 12, *chord)):
            for strum in (0, 2, 3):
                # A hand takes about 20 ms to cross each string.
                start = beat + strum + 0.03 * string
                plucked = voices.pluck_string(voices.note_hertz(note), _samples(1.9), generator)
                yield start, 0.45 * plucked


def _harp(generator: np.random.Generator) -> Iterable[Note]:
    for beat, _, (low, middle, high) in _bars():
        for half, note in enumerate((low, middle, high, low + 12, high, middle, low, middle)):
            hertz = voices.note_hertz(note + 12)
            yield beat + half / 2, 0.8 * voices.pluck_string(hertz, _samples(1.5), generator)


def _bell(_generator: np.random.Generator) -> Iterable[Note]:
    for beat, beats, note in _BELL_TUNE:
        yield beat, 0.8 * voices.strike_bell(voices.note_hertz(note), _samples(beats + 1))


def _organ(_generator: np.random.Generator) -> Iterable[Note]:
    for beat, root, (low, _, high) in _bars():
        for note in (root + 12, low, high):
            yield beat, 0.45 * voices.play_organ(voices.note_hertz(note), _samples(3.9))


def _reed(_generator: np.random.Generator) -> Iterable[Note]:
    for beat, beats, note in _REED_TUNE:
        yield beat, 0.6 * voices.play_reed(voices.note_hertz(note), _samples(beats * 0.96))


def _pad(_generator: np.random.Generator) -> Iterable[Note]:
    for beat, _, chord in _bars():
        for note in chord:
            yield beat, 0.55 * voices.play_pad(voices.note_hertz(note - 12), _samples(4.6))


_PLAYERS: Final[dict[str, Callable[[np.random.Generator], Iterable[Note]]]] = {
    "Kick": _kick,
    "Snare": _snare,
    "Hat": _hat,
    "Bass": _bass,
    "Guitar": _guitar,
    "Harp": _harp,
    "Bell": _bell,
    "Organ": _organ,
    "Reed": _reed,
    "Pad": _pad,
}
INSTRUMENTS: Final = tuple(_PLAYERS)
