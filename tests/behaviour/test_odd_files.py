"""What is no regular file, and what cannot be read: told as what it is, never opened, never waited for."""

from __future__ import annotations

import os
import socket
from typing import TYPE_CHECKING

import pytest

from assembler.cli.commands import run
from assembler.drafting import draft_sheet, looking
from assembler.sheet import parse_sheet
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]


def session(folder: Path, keys: dict[str, object] | None = None) -> Path:
    """Write a sound session of one reel and one pass, with keys of its own."""
    layout = Layout(folder)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1), HOUR)
    layout.passes[0].update(keys or {})
    return layout.write()


def pipe(path: Path) -> None:
    """Make a named pipe, which nobody ever writes to."""
    path.unlink(missing_ok=True)
    os.mkfifo(path)


def listening(path: Path) -> None:
    """Make a socket."""
    path.unlink(missing_ok=True)
    here = os.open(".", os.O_RDONLY)
    try:
        os.chdir(path.parent)  # the system takes a socket's path up to a hundred bytes only
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(path.name)
    finally:
        os.fchdir(here)
        os.close(here)


def device(path: Path) -> None:
    """Make a link to a device that gives zeros without end."""
    path.unlink(missing_ok=True)
    path.symlink_to("/dev/zero")


KINDS: list[tuple[Callable[[Path], None], str]] = [
    (pipe, "a named pipe"),
    (listening, "a socket"),
    (device, "a device"),
]


@pytest.mark.parametrize(("make", "kind"), KINDS)
@pytest.mark.parametrize(
    ("name", "keys", "key"),
    [
        ("01.wav", {}, "pass[1].audio"),
        ("01.wav", {"audio": ["captures/A1/01.wav"]}, "pass[1].audio"),
        ("timecode.mid", {}, "pass[1].timecode"),
        ("timecode.mid", {"timecode": "captures/A1/timecode.mid"}, "pass[1].timecode"),
    ],
)
def test_what_is_no_file_is_told_at_its_key(
    tmp_path: Path,
    capsys: Capsys,
    make: Callable[[Path], None],
    kind: str,
    name: str,
    keys: dict[str, object],
    key: str,
) -> None:
    """Audio by pattern, by list, a log beside it and a named one: the file, the key, and what it is."""
    sheet = session(tmp_path, keys)
    make(tmp_path / "captures" / "A1" / name)
    assert run(["check", "--allow-outside", str(sheet)]) == 2
    (told,) = capsys.readouterr().err.splitlines()
    assert f"{key}: found " in told
    assert f'{name}", {kind}; allowed: a file' in told


@pytest.mark.parametrize(("make", "kind"), KINDS)
def test_a_sheet_that_is_no_file_is_told(
    tmp_path: Path, capsys: Capsys, make: Callable[[Path], None], kind: str
) -> None:
    """A pipe is called a pipe, not a folder."""
    make(tmp_path / "session.toml")
    assert run(["check", str(tmp_path / "session.toml")]) == 2
    (told,) = capsys.readouterr().err.splitlines()
    assert f"session.toml: cannot be opened: {kind}, not a regular file; allowed: a session sheet" in told


@pytest.mark.parametrize(("make", "kind"), KINDS)
def test_a_draft_tells_what_is_no_file(tmp_path: Path, make: Callable[[Path], None], kind: str) -> None:
    """Among captures: left out, and told in the sheet; in place of the folder: refused as what it is."""
    session(tmp_path).unlink()
    for name in ("02.wav", "timecode2.mid"):
        make(tmp_path / "captures" / "A1" / name)
    text = draft_sheet(tmp_path)
    assert f"# CHECK: captures/A1/02.wav is left out: {kind}, not a regular file" in text
    assert f"# CHECK: captures/A1/timecode2.mid is left out: {kind}, not a regular file" in text
    assert parse_sheet(text.encode(), path=None, folder=tmp_path).passes[0].name == "A1"
    assert run(["draft", str(tmp_path / "captures" / "A1" / "02.wav")]) == 2


def test_a_draft_tells_folders_that_it_could_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    """A folder that the system does not let be listed is named in the sheet; alone, it is why there is no sheet."""
    session(tmp_path).unlink()
    (tmp_path / "captures" / "A2").mkdir()
    closed = {"A2"}
    listed = os.scandir

    def guarded(path: str | Path = ".") -> Iterator[os.DirEntry[str]]:
        if os.path.basename(path) in closed:  # noqa: PTH119 - as the system's own function takes it
            raise PermissionError(13, "Permission denied", str(path))
        return listed(path)

    monkeypatch.setattr(os, "scandir", guarded)
    text = draft_sheet(tmp_path)
    assert "# CHECK: captures/A2 could not be looked through: Permission denied" in text
    assert [one.name for one in parse_sheet(text.encode(), path=None, folder=tmp_path).passes] == ["A1"]
    closed.add("A1")
    assert run(["draft", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert "no captures found" in told
    assert "captures/A1 could not be looked through: Permission denied, and 1 more" in told
    assert len(told.splitlines()) == 1


def test_a_draft_tells_why_a_folder_gave_no_pass(tmp_path: Path, capsys: Capsys) -> None:
    """Files that are all left out are told with the reason, whole, beside other passes or without any."""
    session(tmp_path).unlink()
    place = tmp_path / "captures" / "tape with a name of some length, as people give them"
    place.mkdir()
    (place / "01 a track with a name of some length.wav").write_bytes(b"RIFF\0\0\0\0AVI LIST")
    text = draft_sheet(tmp_path)
    assert (
        "01 a track with a name of some length.wav is left out: not a WAV file: a RIFF file of type b'AVI '"
        in text
    )
    (tmp_path / "captures" / "A1" / "01.wav").unlink()
    assert run(["draft", str(tmp_path)]) == 2
    assert "of some length.wav is left out: not a WAV file" in capsys.readouterr().err


def test_a_draft_ends_where_there_is_far_too_much(
    tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of a hundred thousand files is no folder of captures: refused before any of them is opened."""
    monkeypatch.setattr(looking, "MOST_FILES", 20)
    for number in range(21):
        (tmp_path / f"{number}.wav").write_bytes(b"")
    assert run(["draft", str(tmp_path)]) == 2
    assert "more than 20 WAV files" in capsys.readouterr().err
