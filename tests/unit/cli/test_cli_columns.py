"""Tables on a narrow terminal: columns of least use go first, those that say where never, and no line is too long."""

from __future__ import annotations

import io

import pytest

from assembler.cli.terminal.columns import Column, fitting, print_table
from assembler.cli.terminal.consoles import PlainConsole

COLUMNS = [
    Column("At", ["01:00:05:28", "01:00:06:08"]),
    Column("Pass", ["A1", "A1, A2"]),
    Column("Samples", ["600", "1800"], 2, is_number=True),
    Column("Tracks", ["Snare", "Kick, Snare, Hat, Bass, Guitar"], 3, is_folded=True),
    Column("Because", ["likeliest story of the place, 180 nats", "all tracks stand still at once"], 1),
]


@pytest.mark.parametrize(
    ("width", "names"),
    [
        (240, ["At", "Pass", "Samples", "Tracks", "Because"]),
        (80, ["At", "Pass", "Samples", "Tracks"]),
        (38, ["At", "Pass", "Tracks"]),
        (30, ["At", "Pass"]),
        (5, ["At", "Pass"]),
    ],
)
def test_columns_of_least_use_go_first(width: int, names: list[str]) -> None:
    """What has no use given stays, however narrow the terminal is."""
    assert [column.name for column in fitting(COLUMNS, width)] == names


def printed(width: int, *, is_terminal: bool, whole: bool = False) -> list[str]:
    """Return the lines of the table."""
    stream = io.StringIO()
    console = PlainConsole()
    console.file = stream
    console._force_terminal = is_terminal  # noqa: SLF001 - the library's own switch
    console.width = width
    print_table(console, COLUMNS, whole=whole)
    return stream.getvalue().splitlines()


def test_a_terminal_has_whole_lines() -> None:
    """Within 80 columns no line is longer, and words fold instead of being cut."""
    lines = printed(80, is_terminal=True)
    assert max(map(len, lines)) <= 80
    assert "Because" not in "".join(lines)
    assert "01:00:06:08  A1, A2" in "".join(lines)
    for name in ("Snare", "Guitar"):
        assert name in "".join(lines)


def test_verbose_folds_what_does_not_fit() -> None:
    """All columns, and no line longer than the terminal is."""
    lines = printed(80, is_terminal=True, whole=True)
    assert max(map(len, lines)) <= 80
    assert "Because" in lines[0]


def test_a_pipe_folds_nothing() -> None:
    """One line a row, with all columns, even where they are wider than a pipe is taken for."""
    lines = printed(40, is_terminal=False)
    assert len(lines) == 3
    assert "Because" in lines[0]
    assert "Kick, Snare, Hat, Bass, Guitar" in lines[2]
