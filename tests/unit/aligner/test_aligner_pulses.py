"""A pulse wave that goes on in phase: what it tells of a place inside a note, and where it tells nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.signal import square

from assembler.aligner.judge.place import judge_place
from assembler.aligner.sound.two_levels.waves import (
    are_edges_moved,
    lapse_of,
    pulse_from,
    pulse_through,
    pulse_towards,
    stands_before,
)

if TYPE_CHECKING:
    from assembler.arrays import Int32s

SIZE = 14_000
PLACE = 6_000, 8_500


def _note(hertz: float, level: int = 9_000, duty: float = 0.5, phase: float = 0.3) -> Int32s:
    """Return a pulse wave as the reference library makes it."""
    turns = 2 * np.pi * (hertz * np.arange(SIZE) / 48_000 + phase)
    return (level * square(turns, duty)).astype(np.int32)


def _all() -> np.ndarray:
    return np.ones(SIZE, np.bool_)


@pytest.mark.parametrize("duty", [0.5, 0.2])
@pytest.mark.parametrize("hertz", [47.3, 110.0, 439.7, 901.1])
def test_inside_a_note_every_sample_is_told(hertz: float, duty: float) -> None:
    """Period, phase and levels come from what is known beside the place alone (the wave: scipy.signal.square)."""
    sound = _note(hertz, duty=duty)
    spoilt = sound.copy()
    spoilt[slice(*PLACE)] = 0
    pulse = pulse_through(spoilt, PLACE, _all())
    assert pulse is not None
    assert not pulse.errors(sound[slice(*PLACE)], PLACE[0]).any()
    assert pulse.period == pytest.approx(48_000 / hertz, abs=0.05)


@pytest.mark.parametrize("change", ["phase", "pitch", "level", "rest"])
def test_between_two_notes_nothing_is_told(change: str) -> None:
    """A note that sets in anew behind the place, or none, does not go on from before it."""
    sound = _note(220.5)
    other = {
        "phase": _note(220.5, phase=0.55),
        "pitch": _note(233.1),
        "level": _note(220.5, level=8_000),
        "rest": np.zeros(SIZE, np.int32),
    }[change]
    sound[PLACE[1] :] = other[PLACE[1] :]
    assert pulse_through(sound, PLACE, _all()) is None


def test_what_captures_differ_in_is_not_known() -> None:
    """Beside a place whose surroundings are open too nothing is told."""
    known = _all()
    known[PLACE[1] + 20 :] = False
    assert pulse_through(_note(220.5), PLACE, known) is None


def test_a_note_is_followed_through_an_interruption_to_its_end() -> None:
    """A level held for a while does not end a note that goes on in phase behind it; the next note does."""
    first, second = _note(311.3), _note(466.9, level=5_000)
    sound = first.copy()
    sound[7_200:] = second[7_200:]
    sound[6_300:6_800] = sound[6_299]
    ending, beginning = pulse_from(sound, PLACE, _all()), pulse_towards(sound, PLACE, _all())
    assert ending is not None
    assert beginning is not None
    assert 7_200 - 48_000 / 311.3 < ending[1] <= 7_200
    assert 7_200 <= beginning[1] < 7_200 + 48_000 / 466.9
    assert not ending[0].errors(first[6_000:7_000], 6_000).any()
    assert not beginning[0].errors(second[7_400:8_400], 7_400).any()


@pytest.mark.parametrize("right_first", [True, False])
@pytest.mark.parametrize("kind", ["mute", "hold", "repeat", "noise", "set bit", "cleared bit"])
def test_a_flaw_inside_a_note_is_decided(kind: str, *, right_first: bool) -> None:
    """Whichever pass is trusted more: the one that goes on in phase is right."""
    right = _note(220.5)
    flawed = right.copy()
    flawed[slice(*PLACE)] = {
        "mute": np.zeros(2_500),
        "hold": np.full(2_500, right[PLACE[0] - 1]),
        "repeat": right[3_500:6_000],
        "noise": np.random.default_rng(8).integers(-20_000, 20_000, 2_500),
        "set bit": right[slice(*PLACE)] | 16,
        "cleared bit": right[slice(*PLACE)] & ~32,
    }[kind]
    versions = [right, flawed] if right_first else [flawed, right]
    differs = np.flatnonzero(right != flawed)
    for part in judge_place(versions, (int(differs[0]), int(differs[-1]) + 1), 1):
        assert part.verdict.decided
        assert part.verdict.right == (0 if right_first else 1)


def test_across_two_notes_the_pass_that_leads_from_one_to_the_other_is_right() -> None:
    """A level held from the first note into the second one follows neither."""
    right = _note(220.5)
    right[7_300:] = _note(330.1, level=4_000)[7_300:]
    held = right.copy()
    held[slice(*PLACE)] = right[PLACE[0] - 1]
    differs = np.flatnonzero(right != held)
    parts = judge_place([held, right], (int(differs[0]), int(differs[-1]) + 1), 1)
    decided = sum(part.end - part.start for part in parts if part.verdict.decided and part.verdict.right == 1)
    assert decided > 0.9 * sum(part.end - part.start for part in parts)


def test_the_wave_of_a_block_played_twice_is_no_evidence() -> None:
    """Shifted by whole periods a copy goes on in phase beyond the note's end; that it is one shows."""
    wave = np.where(np.arange(SIZE) % 160 < 80, 9_000, -9_000).astype(np.int32)
    assert stands_before(wave, (6_000, 8_400))
    uneven = _note(221.7)
    assert not stands_before(uneven, (6_000, 8_400))
    copied = uneven.copy()
    copied[6_000:7_200] = uneven[4_800:6_000]
    assert stands_before(copied, (6_000, 7_200))


def test_a_note_that_ends_in_a_place_is_right_as_far_as_one_pass_goes_on_with_it() -> None:
    """Behind the note nothing is known; up to its end the level held by the other pass is the flaw."""
    right = _note(220.5)
    right[7_900:] = 0
    held = right.copy()
    held[slice(*PLACE)] = right[PLACE[0] - 1]
    differs = np.flatnonzero(right != held)
    parts = judge_place([held, right], (int(differs[0]), int(differs[-1]) + 1), 1)
    for part in parts:
        if part.end < 7_900 - 48_000 / 220.5:
            assert part.verdict.decided
            assert part.verdict.kinds == ("hold", "")


def test_a_version_that_leaves_its_wave_and_comes_back_is_known_by_two_edges() -> None:
    """A note held too long over one of its edges, and ending soon after, is no better than what it is held against."""
    wave = _note(220.5)
    wave[6_700:] = 0
    late = wave.copy()
    edge = int(np.flatnonzero(np.diff(wave[6_300:]))[0]) + 6_301
    late[edge : edge + 80] = wave[edge - 1]
    low, high = lapse_of(late, PLACE, _all()) or (0, 0)
    assert low == pytest.approx(edge, abs=2)
    assert edge + 80 <= high <= edge + 48_000 / 220.5
    assert lapse_of(wave, PLACE, _all()) is None


def test_edges_a_sample_earlier_are_told_from_other_differences() -> None:
    """Two waves of nearly one phase differ by single samples at edges; a click or a longer shift is something else."""
    wave = _note(220.5)
    edges = np.flatnonzero(np.diff(wave)) + 1
    early = wave.copy()
    early[edges[10::3] - 1] = wave[edges[10::3]]
    assert are_edges_moved(early, wave)
    click = early.copy()
    click[edges[4] + 40] = -wave[edges[4] + 40]
    assert not are_edges_moved(click, wave)
    assert not are_edges_moved(_note(220.5, phase=0.33), wave)


@pytest.mark.parametrize("right_first", [True, False])
def test_of_two_waves_a_sample_apart_neither_is_named(*, right_first: bool) -> None:
    """A block played twice of a wave whose period is no whole number of samples: which one it is nothing tells."""
    right = np.where(np.arange(24_000) % 104.05 < 52, 9_000, -9_000).astype(np.int32)
    right[::7_001] = 0
    copied = right.copy()
    copied[12_000:13_665] = right[12_000 - 1_665 : 12_000]
    differs = np.flatnonzero(right != copied)
    assert differs.size
    versions = [right, copied] if right_first else [copied, right]
    parts = judge_place(versions, (int(differs[0]), int(differs[-1]) + 1), 1)
    assert not any(part.verdict.decided for part in parts)
