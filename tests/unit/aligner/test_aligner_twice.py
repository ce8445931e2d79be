"""A buffer that a recorder writes a second time stands twice on all tracks of one pass; loops do by nature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.stops.twice import find_repeats

if TYPE_CHECKING:
    from numpy.typing import NDArray

LENGTH, TRACKS, LOW = 16_384, 6, 100_000
AT, SIZE = 9000, 1024


def _tape() -> NDArray[np.int32]:
    """Return six tracks: five of noise, and one that is silent but for a stroke of 200 samples."""
    tape = np.random.default_rng(8).integers(-3000, 3000, (TRACKS, LENGTH)).astype(np.int32)
    tape[5, : AT - 400], tape[5, AT - 200 :] = 0, 0
    return tape


def _doubled(tape: NDArray[np.int32]) -> NDArray[np.int32]:
    own = tape.copy()
    own[:, AT : AT + SIZE] = tape[:, AT - SIZE : AT]
    return own


def _found(*passes: NDArray[np.int32]) -> list[tuple[int, int, int, str, list[int]]]:
    covered = {index: [(LOW, LOW + LENGTH)] for index in range(len(passes))}
    held = {index: list(one) for index, one in enumerate(passes)}
    found = find_repeats(held, covered, {}, LOW, range(TRACKS))
    return [
        (index, one.start - LOW, one.end - LOW, one.kind, sorted(one.tracks))
        for index, places in found.items()
        for one in places
    ]


def test_a_buffer_written_twice_is_told_to_the_sample_also_on_a_track_that_rests_there() -> None:
    """Whichever pass is trusted more."""
    tape = _tape()
    told = (AT, AT + SIZE, "repeat", list(range(TRACKS)))
    assert _found(tape, _doubled(tape)) == [(1, *told)]
    assert _found(_doubled(tape), tape) == [(0, *told)]


def test_a_flaw_of_the_other_pass_beside_it_hides_nothing() -> None:
    """The place in which they differ is longer than what stands twice."""
    tape = _tape()
    other = tape.copy()
    other[:2, AT + SIZE : AT + 2 * SIZE] //= 2
    assert [one[:3] for one in _found(other, _doubled(tape))] == [(1, AT, AT + SIZE)]


def test_a_loop_on_all_tracks_is_no_buffer_written_twice() -> None:
    """It goes on where passes hold the same; the other one is flawed there."""
    loop = np.tile(_tape()[:, :SIZE], LENGTH // SIZE)
    other = loop.copy()
    other[:, AT : AT + SIZE] //= 2
    assert not _found(loop, other)


def test_what_both_passes_hold_or_one_track_alone_is_none() -> None:
    """Then it is for other rules."""
    tape = _tape()
    one_track = tape.copy()
    one_track[0] = _doubled(tape)[0]
    assert not _found(_doubled(tape), _doubled(tape))
    assert not _found(tape, one_track)


def _found_alone(
    *passes: NDArray[np.int32], silent: tuple[int, int] | None = None
) -> list[tuple[int, int, int]]:
    covered = {index: [(LOW, LOW + LENGTH)] for index in range(len(passes))}
    still = {1: [(LOW + silent[0], LOW + silent[1])]} if silent else {}
    held = {index: list(one) for index, one in enumerate(passes)}
    found = find_repeats(held, covered, still, LOW, range(TRACKS))
    return [(index, one.start - LOW, one.end - LOW) for index, stops in found.items() for one in stops]


def test_a_buffer_written_twice_is_told_of_a_pass_that_is_alone_there() -> None:
    """Where there is no other pass, or it stands still."""
    tape, place = _tape(), (AT, AT + SIZE)
    assert _found_alone(_doubled(tape)) == [(0, *place)]
    assert _found_alone(_doubled(tape), np.zeros_like(tape), silent=(AT - 2000, AT + 3000)) == [(0, *place)]
    assert _found_alone(tape) == []


def test_what_few_tracks_play_twice_is_no_buffer() -> None:
    """Two tracks, or one and its copies: so a sequencer plays."""
    few, copies = _doubled(_tape()), np.tile(_doubled(_tape())[0], (TRACKS, 1))
    few[2:] = 0
    assert _found_alone(few) == _found_alone(copies) == []
