"""What the record says of joins that a person asks for: whether the sides differ, and what a fade mixes in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.support.sessions import RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]

PUNCH = (
    '[[punch]]\nreel = "A"\npass = "A2"\nstart = "{}"\nend = "{}"\nfade_ms = {}\n[repair]\nmode = "listed"\n'
)


def _write(folder: Path, first: Int32s, second: Int32s, more: str = "") -> Path:
    layout = Layout(folder)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", second, "01:00:00:00")
    layout.more = more
    return layout.write()


def _plan(folder: Path, *takes: tuple[str, str], fade: int) -> Path:
    rows = ", ".join(f'{{ at = "{at}", pass = "{name}", fade = {fade} }}' for at, name in takes)
    path = folder / "plan.toml"
    path.write_text(f'format = 1\n[[track]]\nname = "One"\ntake = [{rows}]\n')
    return path


def _joins(record: dict[str, Any]) -> list[tuple[int, int, str, int]]:
    (track,) = record["tracks"]
    return [(join["at"], join["fade"], join["law"], join["difference_peak"]) for join in track["joins"]]


@pytest.mark.parametrize("is_planned", [False, True])
def test_a_join_without_a_fade_is_identical_only_where_its_sides_are(
    tmp_path: Path, capsys: Capsys, *, is_planned: bool
) -> None:
    """Where the passes part at the border itself it is a cut, with the difference of the 64 samples around it."""
    tape = make_tape(4, 1)
    second = tape.copy()
    second[RATE : 2 * RATE] += 300
    takes = [("01:00:00:00", "A1"), ("01:00:01:00", "A2"), ("01:00:03:00", "A1")]
    punch = PUNCH.format("01:00:01:00", "01:00:03:00", 0)
    sheet = _write(tmp_path, tape, second, "" if is_planned else punch)
    plan = ["--plan", _plan(tmp_path, *takes, fade=0)] if is_planned else []
    _, record = run_json(capsys, "build", sheet, *plan, "-o", tmp_path / "set")
    assert _joins(record) == [(RATE, 0, "cut", 300), (3 * RATE, 0, "identical", 0)]


def _assert_listed(record: dict[str, Any], found: Int32s, tape: Int32s, fade: tuple[int, int]) -> None:
    """Assert that what is not the tape's, in a fade and beside it, is listed, and no more than it."""
    wrong = np.flatnonzero(found[:, 0] != tape[:, 0])
    assert fade[0] <= wrong[0] < fade[0] + 10
    (place,) = record["uncured"]
    assert (place["start"], place["end"], place["kind"]) == (fade[0], fade[1], "mute")
    assert wrong[-1] < fade[1]


def test_a_mute_that_a_fade_mixes_in_before_its_own_span_is_listed(tmp_path: Path, capsys: Capsys) -> None:
    """A take may begin at the end of its pass's mute: what the fade into it mixes of that is listed."""
    tape = make_tape(4, 1)
    first = tape.copy()
    first[90_000:92_000] = 0
    sheet = _write(tmp_path, first, tape)
    takes = [("01:00:00:00", "A1"), ("01:00:01:20", "A2"), ("01:00:01:27+700", "A1")]
    plan = _plan(tmp_path, *takes, fade=400)
    status, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "set")
    assert status == 1
    assert _joins(record)[-1][:3] == (91_900, 400, "constant_power")
    _assert_listed(record, delivered(tmp_path / "set"), tape, (91_700, 92_000))


def test_a_mute_that_the_fade_into_a_punch_mixes_in_is_listed(tmp_path: Path, capsys: Capsys) -> None:
    """The fade lies before the punch, and mixes what the punch's pass has there: a mute is listed from its start on."""
    tape = make_tape(4, 1)
    second = tape.copy()
    second[90_000:92_000] = 0
    sheet = _write(tmp_path, tape, second, PUNCH.format("01:00:01:27", "01:00:02:00", 10))
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    assert _joins(record)[0][:3] == (90_960, 480, "constant_power")
    _assert_listed(record, delivered(tmp_path / "set"), tape, (90_720, 92_000))
