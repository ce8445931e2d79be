"""The screen of a watch: readable in 80 and in 140 columns."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from assembler.cli.watching import screen_of
from assembler.watch import Board, Event


def told() -> Board:
    """Return a board with two passes, flaws of one of them, and a list."""
    board = Board()
    more = {"samples": 480_000, "sample_rate": 48_000, "levels": [-12.0, None]}
    for name in ("A1", "A2"):
        board.take(Event("recording", name, "recording", timecode="01:00:10:00", more=more))
    board.take(Event("ended", "A1", "finished"))
    for goes_on in (True, False):
        more = {"goes_on": goes_on}
        board.take(Event("flaw", "A2", "mute, 2 s, all tracks", "mute", 9, 99, (0, 1), "01:00:06:07", more))
    board.take(Event("timecode", "A2", "timecode lost 6.2 s in, while sound goes on", "lost", 1, 2))
    words = (
        "1. Reel A: roll to 01:00:01:07, play 01:00:06:07 to 01:00:14:21: " + "Kick, Snare, Hat, " * 4 + "END"
    )
    board.take(Event("retakes", "", "", lines=("Session: 1 roll to play", words)))
    return board


@pytest.mark.parametrize("width", [80, 140])
def test_all_that_matters_is_on_it(width: int) -> None:
    """What is recorded, what is wrong, and what to play, each to its end; a flaw told twice stands once."""
    out = io.StringIO()
    Console(file=out, width=width).print(screen_of(told()))
    text = out.getvalue()
    assert max(len(line) for line in text.splitlines()) <= width
    assert len(text.splitlines()) <= 24
    for words in ("A1", "finished", "10.0 s", "1 flaw; timecode lost", "roll to 01:00:01:07", "END"):
        assert words in text, words
    assert text.count("mute, 2 s") == 1
