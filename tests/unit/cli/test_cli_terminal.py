"""Nothing from outside is obeyed by the terminal: each command is run on names that are made to be."""

from __future__ import annotations

import io
import json
import re
import shutil
import threading
import time
import unicodedata
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from assembler import cli
from assembler.cli.commands import run
from assembler.cli.terminal import progress
from assembler.cli.terminal.progress import shown_progress, told_progress
from assembler.printable import printable
from tests.support.sessions import HOUR, Layout, make_tape

Capsys = pytest.CaptureFixture[str]

SPITEFUL = (
    "\u202egnp.1 \x85\x9b31m\x9d0;x"
    "\x7f\u200e\u200f\u2066x\u2069\u2028\u061c\u2067\ufeff[red]a[/red]:bomb:\nIn order: all\r"
)
"""A name that turns direction, speaks C1, ends lines, marks itself up. Escapes from U+0000 to U+001F are refused in
sheets, but stand in the names of files."""
IN_FILES = "\x1b[2J\x1b]0;owned\x07\t" + SPITEFUL.replace("/", "∕")


def obeyed(text: str) -> list[str]:
    """Return the characters of an output that a terminal may obey, but for the ends of its own lines.

    Source: general categories of the Unicode Character Database; U+200C and U+200D are parts of words.
    """
    kinds = ("Cc", "Cf", "Cs", "Zl", "Zp")
    return sorted({c for c in text if c not in "\n\u200c\u200d" and unicodedata.category(c) in kinds})


def spiteful_session(folder: Path) -> Path:
    """Write a session with such names everywhere; one pass is muted where the other has noise."""
    tape = make_tape(4, 2)
    broken = tape.copy()
    tape[90000:92000, 0] = 0
    broken[90000:92000, 0] = np.random.default_rng(2).integers(-20000, 20000, 2000)
    layout = Layout(folder, session={"title": f"Title {SPITEFUL}"})
    layout.add_reel(f"Reel {SPITEFUL}", [f"Kick {SPITEFUL}", "Snare"])
    for number, samples in enumerate((tape, broken)):
        layout.add_pass(f"A{number}", f"Reel {SPITEFUL}", samples, HOUR)
        layout.passes[-1]["name"] = f"A{number} {SPITEFUL}"
    return layout.write()


def test_no_command_prints_what_a_terminal_obeys(tmp_path: Path, capsys: Capsys) -> None:
    """Tables, notes, plans, drafts, progress, findings and errors show each character as an escape or as itself."""
    folder = tmp_path / f"session {IN_FILES}"
    sheet, target = spiteful_session(folder), tmp_path / f"set {IN_FILES}"
    broken = tmp_path / f"broken {IN_FILES}"
    commands: list[tuple[list[object], int]] = [
        (["check", sheet], 1),
        (["plan", sheet], 1),
        (["build", sheet, "-o", target], 1),
        (["build", sheet, "-o", target], 2),
        (["verify", target], 0),
        (["verify", broken], 1),
        (["verify", target, "--against", tmp_path / IN_FILES], 2),
        (["draft", folder], 0),
        (["draft", folder, "-o", tmp_path / f"draft {IN_FILES}"], 0),
        (["plan", sheet, "-o", tmp_path / f"plan {IN_FILES}"], 1),
        (["demo", tmp_path / f"demo {IN_FILES}"], 0),
        (["check", tmp_path / IN_FILES], 2),
        ([f"no command {IN_FILES}"], 2),
        (["check", f"--no-option{IN_FILES}", sheet], 2),
        (["build", sheet], 2),
    ]
    for arguments, expected in commands:
        if arguments[-1] == broken:
            shutil.copytree(target, broken)
            (broken / "data" / f"stray {IN_FILES}").write_bytes(b"x")
            (broken / "data" / "joins.csv").write_bytes(SPITEFUL.encode())
        status = run([str(one) for one in arguments])
        out, err = capsys.readouterr()
        assert status == expected, (arguments, out, err)
        assert out or err
        for text in (out, err):
            assert obeyed(text) == [], arguments
            assert "\nIn order: all" not in text
        if expected == 2:
            assert len(err.splitlines()) <= 2
        if arguments[0] == "check" and expected == 1:
            # Markup and the names of pictures are letters; what is hidden can be read.
            assert out.count("[red]a[/red]:bomb:") >= 4
            assert r"A0 \u202egnp.1 \u0085\u009b31m\u009d0;x" in out


def test_json_is_ascii_and_says_the_same(tmp_path: Path, capsys: Capsys) -> None:
    """With --json all names are JSON's own escapes in ASCII, and read back they are the names."""
    sheet = spiteful_session(tmp_path / "session")
    for arguments in (["check", sheet], ["plan", sheet], ["draft", tmp_path / "session"]):
        run([*map(str, arguments), "--json"])
        out = capsys.readouterr().out
        assert out.isascii()
        assert obeyed(out) == []
        assert json.loads(out)
    run(["check", str(sheet), "--json"])
    assert json.loads(capsys.readouterr().out)["session"]["title"] == f"Title {SPITEFUL}"


def test_a_printed_plan_and_draft_are_still_toml(tmp_path: Path, capsys: Capsys) -> None:
    """What is printed with escapes reads back as the very names."""
    sheet = spiteful_session(tmp_path / "session")
    run(["plan", str(sheet)])
    plan = tomlkit.parse(capsys.readouterr().out)
    assert plan["track"][0]["name"] == f"Kick {SPITEFUL}"
    assert run(["draft", str(tmp_path / "session")]) == 0
    tomlkit.parse(capsys.readouterr().out)


def test_progress_shows_names_and_obeys_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the bar's own words are letters: the library's codes are there, none of the name's."""
    screen = io.StringIO()
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "250")
    monkeypatch.setattr("sys.stderr", screen)
    with shown_progress() as show:
        show(f"[red]:bomb: {IN_FILES}", 0.5)
    shown = screen.getvalue()
    assert "[red]:bomb:" in shown
    assert r"\x1b[2J\x1b]0;owned\x07" in shown
    assert not {"\u202e", "\x9b", "\x07", "\u2028"} & set(shown)
    assert "\x1b]0" not in shown


def test_bars_go_on_while_nothing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside other threads, as those that drive workers, bars are drawn again by themselves, until they are ended."""
    screen, others = io.StringIO(), threading.Event()
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stderr", screen)
    monkeypatch.setattr(progress, "STILL_SECONDS", 0.01)
    before = len(threading.enumerate())
    with shown_progress() as show:
        # The process that runs the tests may have threads of its own.
        with monkeypatch.context() as alone:
            alone.setattr(threading, "active_count", lambda: 1)
            show("one task alone", 0.25)
        assert len(threading.enumerate()) == before
        other = threading.Thread(target=others.wait)
        other.start()
        show("a long task", 0.5)
        first = len(screen.getvalue())
        for _ in range(1000):
            if len(screen.getvalue()) > first:
                break
            time.sleep(0.01)
        assert len(screen.getvalue()) > first
        others.set()
    other.join()
    assert len(threading.enumerate()) == before


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Krüge 1/2 – 日本語 📼", "Krüge 1/2 – 日本語 📼"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("\x00\t\n\r\x1b\x7f", r"\x00\x09\x0a\x0d\x1b\x7f"),
        ("\x80\x9f\u202a\u2069\u2028", r"\u0080\u009f\u202a\u2069\u2028"),
        ("\udcff", r"\xff"),
        ("\ud800", r"\ud800"),
        ("\U000e0041", r"\U000e0041"),
        ("[red]", "[red]"),
    ],
)
def test_only_what_is_obeyed_is_escaped(text: str, shown: str) -> None:
    """Letters of all scripts stay as they are; the rest is shown by its number."""
    assert printable(text) == shown


def test_there_is_one_way_out() -> None:
    """No other module of the command line prints by itself, or has a console of its own."""
    room = Path(cli.__file__).parent
    texts = {one.relative_to(room).as_posix(): one.read_text("utf-8") for one in room.rglob("*.py")}
    printing = re.compile(r"click\.(s?echo|style)|(?<![.])\bprint\(")
    assert {name for name, text in texts.items() if printing.search(text)} == {"terminal/words.py"}
    console = re.compile(r"rich\.console import .*Console\b")
    assert {name for name, text in texts.items() if console.search(text)} == {"terminal/consoles.py"}


def test_a_line_said_beside_bars_stands_above_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not behind the last bar, where the next drawing would wipe it away; and it is a text."""
    screen = io.BytesIO()
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stderr", io.TextIOWrapper(screen, encoding="utf-8", write_through=True))
    with told_progress() as (show, tell):
        show("building sets", 0.5)
        tell("1 of 2: [red]tape1: saved")
        show("building sets", 1.0)
    lines = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", screen.getvalue().decode()).replace("\r", "\n").splitlines()
    assert "1 of 2: [red]tape1: saved" in lines
