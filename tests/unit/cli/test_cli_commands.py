"""The command line: what it loads, what it prints where, and which status it ends with."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
from typing import TYPE_CHECKING

import click
import pytest

from assembler import errors
from assembler.cli import commands as command_line
from assembler.cli.commands import run

if TYPE_CHECKING:
    from pathlib import Path


def test_help_loads_nothing_heavy() -> None:
    """Help answers without the numeric libraries: they are imported by the commands that use them."""
    script = (
        "import sys\n"
        "from assembler.cli.commands import run\n"
        "assert run(['--help']) == 0\n"
        "heavy = {'numpy', 'scipy', 'pydantic', 'soundfile', 'mido', 'rich', 'jinja2', 'opentimelineio'}\n"
        "sys.exit(str(sorted(heavy & set(sys.modules))) if heavy & set(sys.modules) else 0)\n"
    )
    process = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert process.returncode == 0, process.stderr
    assert "verify" in process.stdout


RAISED: list[tuple[BaseException, int, str]] = [
    (
        errors.SheetError("found x", file="s.toml", line=3, key="pass[1].reel"),
        2,
        "s.toml: line 3: pass[1].reel: found x",
    ),
    (errors.WaveError("no fmt", path="a.wav", place="byte 12"), 2, "a.wav: byte 12: no fmt"),
    (errors.PublishError("disk full"), 2, "disk full"),
    (click.UsageError("no such thing"), 2, "no such thing"),
    (KeyboardInterrupt(), 130, "interrupted"),
    (OSError(errno.EACCES, "Permission denied", "a.wav"), 2, "a.wav: Permission denied"),
    (MemoryError(), 2, "out of memory; no set was written"),
    (RuntimeError("can't start new thread"), 2, "allows this process no more threads; no set was written"),
    (
        ImportError("a.so: cannot open\n\nread the manual"),
        2,
        "a part of the program cannot be loaded: a.so: cannot open read the manual; no set was written",
    ),
    (ZeroDivisionError("by zero"), 2, "please report it: ZeroDivisionError: by zero; no set was written"),
    (RecursionError("too\ndeep" * 1000), 2, "please report it: RecursionError: too deep"),
]


@pytest.mark.parametrize(("error", "status", "words"), RAISED, ids=[type(row[0]).__name__ for row in RAISED])
def test_errors_become_a_line_and_a_status(
    error: BaseException,
    status: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each kind of error has its status, and one or two lines on standard error."""

    def fail(*_: object, **__: object) -> int:
        raise error

    monkeypatch.setattr(command_line.commands, "main", fail)
    assert run([]) == status
    out = capsys.readouterr()
    assert words in out.err
    assert out.out == ""
    assert len(out.err.strip().splitlines()) <= 2


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo session, written once."""
    folder = tmp_path_factory.mktemp("demo") / "session"
    assert run(["demo", str(folder)]) == 0
    return folder


def test_json_is_all_that_is_printed(demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --json each command prints one object on standard output and nothing else there."""
    capsys.readouterr()
    sheet, target = str(demo / "session.toml"), str(tmp_path / "set")
    for arguments, keys in (
        (["check", sheet], {"format", "passes", "tracks", "uncured", "notes", "sound"}),
        (["build", sheet, "-o", target], {"set", "sound", "start", "length"}),
        (["verify", target], {"sound", "problems", "files"}),
        (["draft", str(demo)], {"text"}),
        (["demo", str(tmp_path / "again")], {"sheet"}),
    ):
        status = run([*arguments, "--json"])
        record = json.loads(capsys.readouterr().out)
        assert keys <= set(record)
        # The demo holds one place that no pass has right.
        assert status == (1 if arguments[0] in ("check", "build") else 0)


def test_a_draft_of_the_demo_is_a_sheet_that_checks(
    demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What draft writes for a folder of captures is a sheet, and an existing one is never written over."""
    (tmp_path / "copy").symlink_to(demo)
    draft = demo / "drafted.toml"
    assert run(["draft", str(demo), "-o", str(draft)]) == 0
    assert run(["check", str(draft)]) in (0, 1)
    text = draft.read_bytes()
    assert run(["draft", str(demo), "-o", str(draft)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert draft.read_bytes() == text
    draft.unlink()
