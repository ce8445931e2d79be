"""Names of files as the system takes them: any bytes. What a record or a sheet cannot hold is refused by name."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from assembler.cli.commands import run
from assembler.drafting import draft_sheet
from assembler.sheet import parse_sheet
from tests.support.sessions import HOUR, Layout, make_tape

Capsys = pytest.CaptureFixture[str]

LATIN = os.fsdecode(b"caf\xe9")
"""A name in an encoding of old, as archives hold them: no UTF-8."""


def session(folder: Path, pattern: str = "captures/A1/*.wav") -> Path:
    """Write a sound session of one reel and one pass, found by a pattern."""
    layout = Layout(folder)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1), HOUR, audio=pattern)
    return layout.write()


def renamed(path: Path, name: str) -> Path:
    """Give a file or folder another name, or skip where the disk does not take it."""
    try:
        return path.rename(path.with_name(name))
    except OSError:
        pytest.skip("this disk takes no such name")


def refused(arguments: list[str | Path], capsys: Capsys, words: str) -> None:
    """Run a command that has to end with status 2 and one line that has these words."""
    assert run([str(argument) for argument in arguments]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    (told,) = out.err.splitlines()
    assert words in told
    assert "UTF-8" in told


@pytest.mark.parametrize(
    ("old", "new", "pattern", "shown"),
    [
        ("captures/A1/01.wav", f"{LATIN}.wav", "captures/A1/*.wav", r"captures/A1/caf\xe9.wav"),
        ("captures/A1", LATIN, "captures/*/*.wav", r"captures/caf\xe9/01.wav"),
        ("captures/A1", LATIN, "**/*.wav", r"captures/caf\xe9/01.wav"),
        ("captures/A1/timecode.mid", f"{LATIN}.mid", "captures/A1/*.wav", r"captures/A1/caf\xe9.mid"),
    ],
)
def test_a_capture_that_no_record_can_name_is_refused(
    tmp_path: Path, capsys: Capsys, old: str, new: str, pattern: str, shown: str
) -> None:
    """The record is UTF-8: a file or folder with another name ends in one line that shows it, nothing written."""
    sheet = session(tmp_path, pattern)
    renamed(tmp_path / old, new)
    commands: list[list[str | Path]] = [
        ["check", sheet],
        ["build", sheet, "-o", tmp_path / "set"],
        ["plan", sheet],
    ]
    for command in commands:
        refused(command, capsys, shown)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["captures", "session.toml"]


@pytest.mark.parametrize(
    ("old", "new", "shown"),
    [
        ("captures/A1/01.wav", f"{LATIN}.wav", r"captures/A1/caf\xe9.wav"),
        ("captures/A1", LATIN, r"captures/caf\xe9/01.wav"),
        ("captures/A1/timecode.mid", f"{LATIN}.mid", r"captures/A1/caf\xe9.mid"),
    ],
)
def test_a_draft_of_what_no_sheet_can_name_is_refused(
    tmp_path: Path, capsys: Capsys, old: str, new: str, shown: str
) -> None:
    """No draft, and no empty sheet either."""
    session(tmp_path).unlink()
    renamed(tmp_path / old, new)
    refused(["draft", tmp_path, "-o", tmp_path / "session.toml"], capsys, shown)
    refused(["draft", tmp_path], capsys, shown)
    assert [path.name for path in tmp_path.iterdir()] == ["captures"]


def test_names_beside_the_captures_are_nobodys_business(tmp_path: Path) -> None:
    """A file that is no capture, a folder above, and a wave file that is left out may have any name."""
    above = tmp_path / "above"
    session(above).unlink()
    for name in ("captures/notes.txt", "captures/A1/x.txt"):
        (above / name).write_text("x")
        renamed(above / name, f"{LATIN}.txt")
    (above / "captures" / "A1" / "none.wav").write_text("none")
    renamed(above / "captures" / "A1" / "none.wav", f"{LATIN}.wav")
    place = renamed(above, LATIN)
    text = draft_sheet(place)
    assert r"caf\xe9.wav is left out: 4 bytes long" in text
    sheet = parse_sheet(text.encode(), path=None, folder=place)
    assert sheet.session.title == "caf_"


def test_a_name_that_cannot_be_printed_is_refused_as_an_argument(tmp_path: Path, capsys: Capsys) -> None:
    """Sheets, targets, plans and folders are named in what is printed: a name that is no UTF-8 is refused at once."""
    sheet = session(tmp_path)
    (tmp_path / "x.toml").write_bytes(sheet.read_bytes())
    odd = renamed(tmp_path / "x.toml", f"{LATIN}.toml")
    before = sorted(path.name for path in tmp_path.iterdir())
    commands: list[list[str | Path]] = [
        ["check", odd],
        ["check", odd, "--json"],
        ["build", odd, "-o", tmp_path / "set"],
        ["build", sheet, "-o", tmp_path / LATIN],
        ["build", sheet, "--json", "-o", tmp_path / LATIN / "set"],
        ["build", sheet, "--plan", odd, "-o", tmp_path / "set"],
        ["plan", sheet, "-o", tmp_path / LATIN],
        ["draft", tmp_path, "-o", tmp_path / LATIN],
        ["draft", tmp_path / LATIN],
        ["verify", tmp_path / LATIN],
        ["verify", tmp_path, "--against", odd],
        ["demo", tmp_path / LATIN],
    ]
    for command in commands:
        refused(command, capsys, r"caf\xe9")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_a_session_in_a_folder_of_any_name_is_built_from_there(
    tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing that is written names the folders above the sheet: with the session as the place to be, all goes well."""
    session(tmp_path / "here")
    place = renamed(tmp_path / "here", LATIN)
    monkeypatch.chdir(place)
    assert run(["build", "session.toml", "-o", "set"]) == 0
    assert run(["verify", "set", "--against", "session.toml"]) == 0
    assert "set" in capsys.readouterr().out
    assert (Path("set") / "data" / "assembly.json").is_file()


def test_a_draft_refuses_control_characters_that_a_sheet_refuses(tmp_path: Path, capsys: Capsys) -> None:
    """A listed name with an escape character in it could not be checked afterwards."""
    session(tmp_path).unlink()
    renamed(tmp_path / "captures" / "A1" / "01.wav", "a\x1bb.wav")
    assert run(["draft", str(tmp_path)]) == 2
    assert "control character" in capsys.readouterr().err


def test_a_sheet_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    """A disk that fails while the draft is written leaves no part of it."""
    resource = pytest.importorskip("resource")
    session(tmp_path).unlink()

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    command = [
        sys.executable,
        "-m",
        "assembler",
        "draft",
        str(tmp_path),
        "-o",
        str(tmp_path / "session.toml"),
    ]
    process = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=small_files)
    assert process.returncode == 2
    assert "no set was written" in process.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["captures"]
