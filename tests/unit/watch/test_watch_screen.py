"""The screen of a watch: readable in 80 and in 140 columns, and never taller than the terminal."""

from __future__ import annotations

import io
from typing import Any

import pytest
from rich.console import Console

from assembler.cli.watching.screen import screen_of
from assembler.watch import Board, Event

ROLL = {"reel": "A", "roll_to": "01:00:01:07", "from": "01:00:06:07", "to": "01:00:14:21"}
SHARES = {"proven": 0.5, "seen_once": 0.4, "suspect": 0.0, "flawed": 0.1, "missing": 0.0}


def told(rolls: int = 1, flaws: int = 1, passes: int = 2) -> Board:
    """Return a board with passes, flaws of the last of them, and a list."""
    board = Board()
    names = [f"A{number}" for number in range(1, passes + 1)]
    more: dict[str, Any] = {"samples": 480_000, "sample_rate": 48_000, "levels": [-12.0, None]}
    for name in names:
        board.take(Event("recording", name, "recording", timecode="01:00:10:00", more=more))
    board.take(Event("ended", "A1", "finished"))
    for number in range(flaws):
        for goes_on in (True, False):
            more = {"goes_on": goes_on}
            start = 9 + 1000 * number
            words = "mute, 2 s, all tracks"
            board.take(
                Event("flaw", names[-1], words, "mute", start, start + 90, (0, 1), "01:00:06:07", more)
            )
    board.take(Event("dead_track", names[-1], "nothing but zeros so far: Hat", "dead", 0, 9, (2,)))
    board.take(
        Event("dead_track", names[-1], "the same numbers as each other: One, Two", "alike", 0, 9, (0, 1))
    )
    board.take(Event("timecode", names[-1], "timecode lost 6.2 s in, while sound goes on", "lost", 1, 2))
    why = "cut to silence; passes differ and nothing tells which of them is right, at great length"
    more = {
        "rolls": [{**ROLL, "tracks": [0, 1, 2, 5], "why": why, "plays": 1}] * rolls,
        "reels": [
            {"name": "A", "words": "not yet: 1 roll, 8.5 s to play", "may_come_off": False, "states": SHARES}
        ],
        "suspects": [{"timecode": "01:00:09:00", "tracks": [3]}],
    }
    board.take(Event("retakes", "", "", more=more))
    return board


def shown(board: Board, width: int, height: int) -> list[str]:
    """Return the rows of the screen."""
    out = io.StringIO()
    Console(file=out, width=width).print(screen_of(board, height))
    return out.getvalue().splitlines()


def test_how_a_pass_ended_stands_in_its_row_and_in_full_below() -> None:
    """Of a bad end the first words are its state; of a good one nothing is wrong."""
    board = told(flaws=0)
    board.take(Event("ended", "A2", "stopped growing, and its header was never finished"))
    rows = shown(board, 80, 30)
    assert [row for row in rows if row.startswith("A2    stopped growing  ")]
    assert [row for row in rows if row.startswith("  A2: stopped growing, and its header was never finished")]
    assert not [row for row in rows if row.startswith("  A1")]


def test_that_there_is_no_timecode_is_over_once_there_is() -> None:
    """A log that is written at the end leaves nothing wrong; that it was lost for a while stays."""
    board = Board()
    board.take(Event("timecode", "A1", "no timecode so far", "none"))
    board.take(Event("timecode", "A2", "timecode lost 6 s in", "lost"))
    assert "A1: no timecode so far" in "\n".join(shown(board, 80, 24))
    for name in ("A1", "A2"):
        board.take(Event("timecode", name, "timecode found", "found"))
    text = "\n".join(shown(board, 80, 24))
    assert "no timecode" not in text
    assert "A2: timecode lost 6 s in" in text


@pytest.mark.parametrize("width", [80, 140])
def test_all_that_matters_is_on_it(width: int) -> None:
    """What is recorded, what is wrong, what to play, whether the tape may come off; what was told twice once."""
    rows = shown(told(), width, 24)
    text = "\n".join(rows)
    assert max(len(row) for row in rows) <= width
    for words in (
        "A1",
        "finished",
        "10.0 s",
        "1 flaw, timecode lost",
        "01:00:01:07",
        "1-3, 6",
        "cut to silence",
    ):
        assert words in text, words
    assert "\nPlay again, if the tape can stand another play" in text
    assert "Reel A: not yet: 1 roll, 8.5 s to play" in text
    assert "proven 50.0%, seen once 40.0%, flawed 10.0%" in text
    assert text.count("mute, 2 s") == 1
    if width >= 140:
        assert "1 flaw, timecode lost, 1 dead, 2 alike" in text


@pytest.mark.parametrize("width", [80, 140])
@pytest.mark.parametrize("height", [24, 40])
@pytest.mark.parametrize("rolls", [0, 1, 8, 60])
@pytest.mark.parametrize("flaws", [0, 3, 60])
def test_nothing_scrolls_out_of_it(width: int, height: int, rolls: int, flaws: int) -> None:
    """However much there is, the first roll, the newest flaws and the last word on the tape are seen."""
    rows = shown(told(rolls, flaws, passes=9), width, height)
    text = "\n".join(rows)
    assert len(rows) <= height
    assert max(len(row) for row in rows) <= width
    assert "Reel A: not yet" in text
    assert "timecode lost 6.2 s in" in text
    assert ("01:00:01:07" in text) == (rolls > 0)
    assert "A9" in text


def test_before_anything_is_known() -> None:
    """The first screen says what it waits for, and not that all is well."""
    text = "\n".join(shown(Board(), 80, 24))
    assert "Waiting for captures" in text
    assert "nothing is finished yet" in text
