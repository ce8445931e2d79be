"""Slips of two passes that undo each other, closer together than places at which passes are held against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]

AT = 3 * RATE
NAMES = ["One", "Two", "Three"]


@pytest.mark.parametrize("apart", [1200, 1900, 3000, 20_000])
def test_a_sample_lost_by_one_pass_and_then_by_the_other_is_found_in_both(
    tmp_path: Path, capsys: Capsys, apart: int
) -> None:
    """Both run along before and behind; the set holds the tape's own samples, each of the two from the other pass."""
    tape = make_tape(6, len(NAMES), seed=9)
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", np.delete(tape, AT, axis=0), HOUR)
    layout.add_pass("A2", "A", np.delete(tape, AT + apart, axis=0), HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    slips = {
        one["name"]: [(f["start"], f["samples"]) for f in one["flaws"] if f["kind"] == "slip"]
        for one in record["passes"]
    }
    assert slips == {"A1": [(AT, 1)], "A2": [(AT + apart, 1)]}
    assert {flaw["kind"] for one in record["passes"] for flaw in one["flaws"]} == {"slip"}
    assert np.array_equal(delivered(tmp_path / "set")[: tape.shape[0] - 2], tape[:-2])


@pytest.mark.parametrize("bar", [190, 1500, 2400])
def test_a_burst_over_loops_is_no_other_place_of_theirs(tmp_path: Path, capsys: Capsys, bar: int) -> None:
    """The next bar, or the one before, is the same: where noise hides one of them the pass has not strayed."""
    tape = make_tape(6, len(NAMES), seed=9)
    tape[RATE : 5 * RATE] = np.tile(tape[:bar], (4 * RATE // bar + 1, 1))[: 4 * RATE]
    burst = tape.copy()
    burst[AT : AT + 5000, 1:] = np.random.default_rng(4).integers(-9000, 9000, (5000, len(NAMES) - 1))
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", burst, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert {flaw["kind"] for one in record["passes"] for flaw in one["flaws"]} == {"burst"}
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_a_place_that_asks_more_of_a_person_is_not_taken(tmp_path: Path, capsys: Capsys) -> None:
    """The trusted pass took a block three times more and lost as much a moment later: its log says how long it is."""
    tape = make_tape(6, len(NAMES), seed=9)
    block = tape[AT - 500 : AT]
    broken = np.concatenate((tape[:AT], block, block, block, tape[AT : AT + 9000], tape[AT + 10_500 :]))
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", broken, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert record["length"] == tape.shape[0]


@pytest.mark.parametrize("has_third", [False, True])
def test_two_series_of_slips_are_found_however_often_they_undo_each_other(
    tmp_path: Path, capsys: Capsys, *, has_third: bool
) -> None:
    """Two clocks drift, each at its own pace. Now and then both slip at once, and what is found shows what is left."""
    tape = make_tape(10, len(NAMES), seed=9)
    series = {"A1": [100_000, 200_000, 300_000], "A2": [70_000 + 40_000 * n for n in range(7)]}
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    for name, places in series.items():
        layout.add_pass(name, "A", np.insert(tape, places, tape[places], axis=0), HOUR)
    if has_third:
        layout.add_pass("A3", "A", tape, HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    slips = {
        one["name"]: [f["samples"] for f in one["flaws"] if f["kind"] == "slip"] for one in record["passes"]
    }
    assert slips == {name: [-1] * len(series.get(name, ())) for name in slips}
    assert np.array_equal(delivered(tmp_path / "set")[: tape.shape[0]], tape)


def test_a_few_samples_that_one_lost_amid_a_difference_are_no_place_of_their_own(
    tmp_path: Path, capsys: Capsys
) -> None:
    """Three passes differ, each by noise of its own, and one has a slip in it: a person is asked once."""
    tape = make_tape(6, len(NAMES), seed=9)
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    for number in range(3):
        own = tape.copy()
        own[AT : AT + 500, 0] += np.random.default_rng(5 + number).integers(-3000, 3000, 500).astype(np.int32)
        layout.add_pass(
            f"A{number + 1}",
            "A",
            np.delete(own, range(AT + 200, AT + 220), axis=0) if number == 2 else own,
            HOUR,
        )
    _, record = run_json(capsys, "check", layout.write())
    asked = [(note["start"], note["end"]) for note in record["notes"] if note["kind"] == "undecided"]
    assert asked == [(AT, AT + 500)]
    assert record["uncured"] == []
