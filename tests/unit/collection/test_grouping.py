"""Sums and groups of a collection, counted by hand."""

from __future__ import annotations

import pytest

from assembler.collection import ReelRow, Row, SessionState, collection_csv, counted_state, groups_of, sums_of
from assembler.collection.page import collection_page
from assembler.verdict.states import State


def row(name: str, status: int, *reels: ReelRow, **values: object) -> Row:
    """Return a row of a session."""
    return Row.model_validate({"session": name, "sheet": "s", "status": status, "reels": reels, **values})


def reel(seconds: float, flawed: float, rolls: int = 0, **prepared: str) -> ReelRow:
    """Return a tape of which a share is flawed and the rest proven."""
    states = {"proven": 1 - flawed, "flawed": flawed}
    return ReelRow(
        name="A", prepared=prepared, seconds=seconds, states=states, rolls=rolls, roll_seconds=10.0 * rolls
    )


ROWS = (
    row("a", 0, reel(100, 0, machine="1", date="2024-05-02", error_rate="3")),
    row("b", 1, reel(200, 0.1, 2, machine="2", date="2024-05-01", error_rate="4"), places=3),
    row("c", 2, reel(0, 0, machine="2", baked_c="54")),
    row("d", 0, reel(100, 0.5, 1, machine="2", baked_c="54"), damage="track 1", set_name="d"),
)


def test_sums_are_those_of_all_rows() -> None:
    """Sessions by state, seconds by state of tape, rolls."""
    sums = sums_of(ROWS)
    assert list(sums.sessions.values()) == [1, 1, 1, 1]
    assert list(sums.sessions) == list(SessionState)
    assert sums.seconds[State.FLAWED] == pytest.approx(200 * 0.1 + 100 * 0.5)
    assert sums.seconds[State.PROVEN] == pytest.approx(100 + 180 + 50)
    assert (sums.tapes, sums.rolls, sums.roll_seconds, sums.unverified) == (4, 3, 30.0, 1)


def test_groups_are_told_by_machine_then_date_then_other_notes() -> None:
    """The worst first, dates in order; a note that is another one on every tape makes no groups."""
    groups = groups_of(ROWS)
    assert [(one.key, one.value) for one in groups] == [
        ("machine", "2"),
        ("machine", "1"),
        ("date", "2024-05-01"),
        ("date", "2024-05-02"),
        ("baked_c", "54"),
    ]
    worst = groups[0]
    assert (worst.tapes, worst.failed, worst.asking, worst.rolls) == (3, 1, 2, 3)
    assert worst.lost_share == pytest.approx(70 / 300)


def test_texts_from_outside_are_texts_in_csv_and_page() -> None:
    """No formula, no markup."""
    bad = row("=1+1", 1, reel(1, 0, machine="<b>@x"), words="<script>")
    table = collection_csv([bad])
    assert "\r\n'=1+1," in table
    page = collection_page("all", [bad])
    assert "<script>" not in page
    assert "&lt;b&gt;@x" in page


def test_sessions_are_counted_in_plain_words() -> None:
    """One needs, two need."""
    assert [counted_state(count, SessionState.ASKS) for count in (1, 2)] == [
        "1 needs a person",
        "2 need a person",
    ]
    assert counted_state(2, SessionState.FAILED) == "2 failed"
