"""Plans that are none: one plain line in a moment, whatever lies at the path. A plan has the sheet's guards."""

from __future__ import annotations

import os
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assembler.aligner.plan.hand.file import read_plan
from assembler.errors import SheetError
from assembler.sheet import parse_sheet

if TYPE_CHECKING:
    from collections.abc import Callable

GIGABYTE = 1 << 30
SHEET = parse_sheet(
    b"""
    session = { title = "x", sample_rate = 48000, bit_depth = 16, frame_rate = "30" }
    reel = [{ name = "A", tracks = ["One"] }]
    pass = [{ name = "A1", reel = "A", audio = "a.wav" }]
    """,
    path=None,
    folder=Path("x"),
)


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _socket(path: Path) -> None:
    here = os.open(".", os.O_RDONLY)
    try:
        os.chdir(path.parent)  # the system takes a socket's path up to a hundred bytes only
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(path.name)
    finally:
        os.fchdir(here)
        os.close(here)


def _sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(5 * GIGABYTE)


def _dotted(path: Path) -> None:
    path.write_text("a" + ".a" * 32_000 + " = 1\n")


def _dotted_lines(path: Path) -> None:
    path.write_text("".join(f"k{number}" + ".a" * 900 + " = 1\n" for number in range(500)))


def _zeros(path: Path) -> None:
    path.write_bytes(bytes(1 << 20))


def _nested(path: Path) -> None:
    path.write_text("x = " + "[" * 100_000)


def _digits(path: Path) -> None:
    path.write_text("format = " + "9" * 100_000)


def _large_number(path: Path) -> None:
    path.write_text("format = " + "9" * 4000 + '\n[[track]]\nname = "x"\ntake = [{ at = "1", pass = "A1" }]')


HOSTILE: list[tuple[Callable[[Path], None], str]] = [
    (_pipe, "a named pipe, not a regular file; allowed: a plan"),
    (_socket, "a socket, not a regular file; allowed: a plan"),
    (_sparse, "more than 2097152 bytes; allowed: a plan"),
    (_dotted, "line 1: more than 1000 dots in a line"),
    (_dotted_lines, "line 25: too many lines up to here have dozens of dots"),
    (_zeros, "not valid TOML"),
    (_nested, "not valid TOML: brackets nested too deeply"),
    (_digits, "a number has too many digits"),
    (_large_number, "format: found 999"),
]


@pytest.mark.parametrize(("make", "words"), HOSTILE, ids=[case[0].__name__.strip("_") for case in HOSTILE])
def test_what_is_no_plan_is_told_in_a_line(tmp_path: Path, make: Callable[[Path], None], words: str) -> None:
    """Nothing hangs, and no plan takes a gigabyte: one line that begins with the plan's path."""
    plan = tmp_path / "plan.toml"
    make(plan)
    with pytest.raises(SheetError) as caught:
        read_plan(plan, SHEET, ["One"], (0, 48000))
    told = str(caught.value)
    assert told.startswith(f"{plan}: ")
    assert words in told
    assert len(told.splitlines()) == 1
    assert len(told) < 400 + len(str(plan))
