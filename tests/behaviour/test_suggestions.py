"""What is suggested where something small is wrong: the near name, the missing number, the way out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, RATE, Layout, make_tape, run_json, write_wave

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]

TRACKS = [f"Track {number}" for number in range(1, 9)]


def layout_of(folder: Path, *, relabel: bool = False) -> Layout:
    """Return a session of one pass of eight tracks."""
    layout = Layout(folder)
    layout.add_reel("A", TRACKS)
    layout.add_pass("A1", "A", make_tape(1, 8), "01:00:00:00", relabel=relabel)
    return layout


def test_a_missing_file_names_the_gap(tmp_path: Path, capsys: Capsys) -> None:
    """Seven of eight files: which number is not there; nothing is said where names have no numbers."""
    sheet = layout_of(tmp_path).write()
    (tmp_path / "captures" / "A1" / "05.wav").unlink()
    assert run(["check", str(sheet)]) == 2
    assert "found 7 tracks in 7 files" in (err := capsys.readouterr().err)
    assert err.rstrip().endswith("in the numbering of the files 5 is missing")
    (tmp_path / "captures" / "A1" / "07.wav").rename(tmp_path / "captures" / "A1" / "seven.wav")
    assert run(["check", str(sheet)]) == 2
    assert "numbering" not in capsys.readouterr().err


@pytest.mark.parametrize("written", ["Captures/a1/01.wav", "captures/A1/O1.wav", "captures/a1/*.wav"])
def test_a_wrong_name_names_the_near_one(tmp_path: Path, capsys: Capsys, written: str) -> None:
    """In another letter case, or with a slip of the pen."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1), "01:00:00:00", audio=written)
    sheet = layout.write()
    assert run(["check", str(sheet.with_name("Session.toml"))]) == 2
    assert 'near it is "session.toml"' in capsys.readouterr().err
    assert run(["check", str(sheet)]) == 2
    near = "captures/A1" if "*" in written else "captures/A1/01.wav"
    assert f'near it is "{near}"' in capsys.readouterr().err


@pytest.mark.parametrize("command", [["draft"], ["watch"], ["verify"]])
def test_a_wrong_folder_names_the_near_one(tmp_path: Path, capsys: Capsys, command: list[str]) -> None:
    """Wherever a folder is asked for; one without any capture is named."""
    (tmp_path / "Evening").mkdir()
    assert run([*command, str(tmp_path / "evenin")]) == 2
    assert capsys.readouterr().err.rstrip().endswith('near it is "Evening"')
    assert run(["draft", str(tmp_path / "Evening")]) == 2
    assert capsys.readouterr().err.startswith(
        f"assembler: {tmp_path / 'Evening'}: no captures found; allowed: "
    )


def test_one_header_with_another_rate_says_what_to_do(tmp_path: Path, capsys: Capsys) -> None:
    """The odd one is named, whichever it is; with relabel its samples are taken as they are, and that is a note."""
    tape = make_tape(1, 8)
    sheet = layout_of(tmp_path).write()
    write_wave(tmp_path / "captures" / "A1" / "01.wav", tape[:, 0], 16, 44100)
    assert run(["check", str(sheet)]) == 2
    err = capsys.readouterr().err
    assert "01.wav: header says 44100 Hz, but 02.wav of the same pass has 48000 Hz" in err
    assert "set relabel = true" in err
    assert "if the tape can stand another play" in err
    sheet = layout_of(tmp_path, relabel=True).write()
    write_wave(tmp_path / "captures" / "A1" / "01.wav", tape[:, 0], 16, 44100)
    status, record = run_json(capsys, "check", sheet)
    assert status == 0
    assert [note["kind"] for note in record["notes"]] == ["relabelled"]
    assert "header says 44100 Hz" in record["notes"][0]["text"]
    assert record["length"] == RATE


@pytest.mark.parametrize("gain", [0.5, 0.7071])
def test_an_attenuated_retake_lists_no_thousands_of_flaws(
    tmp_path: Path, capsys: Capsys, gain: float
) -> None:
    """Its level is told once; what rounding makes of its samples is no list of flaws."""
    tape = make_tape(20, 4)
    first = tape.copy()
    first[5 * RATE : 5 * RATE + 900] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", TRACKS[:4])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", np.round(tape * gain).astype(np.int32), HOUR)
    _, record = run_json(capsys, "check", layout.write())
    assert sum(len(one["flaws"]) for one in record["passes"]) <= 8
    assert "level_differs" in {note["kind"] for note in record["notes"]}
