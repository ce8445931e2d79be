"""What is due, in which order, and what may start."""

from __future__ import annotations

from pathlib import Path

from assembler.batch.finding import FoundSession, named_apart
from assembler.batch.orders import Order
from assembler.batch.queueing import due_builds, due_verifications, is_in_time, may_start
from assembler.collection import Row
from assembler.record.values import SOFTWARE

BLANK = Order(kind="build", root="/root", row=Row(session="", sheet=""))


def found(name: str, needed: int = 1, seen: str = "", shape: str = "") -> FoundSession:
    """Return a session on disk."""
    return FoundSession(
        Row(session=name, sheet=f"/{name}.toml", seen=seen or name, shape=shape or name), needed
    )


def built(name: str, set_name: str = "", **values: object) -> Row:
    """Return the row of a session with a set."""
    whole = {
        "session": name, "sheet": f"/{name}.toml", "status": 0, "set_name": set_name or name, "seen": name,
        "shape": name, "program": SOFTWARE, "built": "2026-01-01",
    }  # fmt: skip
    return Row.model_validate({**whole, **values})


def stands(_name: str) -> bool:
    """Return that every set is in its place."""
    return True


def test_the_largest_comes_first() -> None:
    """As the last one to end should not be the longest."""
    due = due_builds([found("a", 1), found("b", 3), found("c", 2)], (), BLANK, stands)
    assert [order.row.session for order in due.orders] == ["b", "c", "a"]


def test_what_is_seen_unchanged_is_kept() -> None:
    """Not where its set is gone, is damaged, or was built by another program; nor where files have changed."""
    assert due_builds([found("a")], [built("a")], BLANK, stands).orders == ()
    assert due_builds([found("a")], [built("a")], BLANK, lambda _: False).orders
    assert due_builds([found("a")], [built("a", damage="x")], BLANK, stands).orders
    assert due_builds([found("a")], [built("a", program="other")], BLANK, stands).orders
    [order] = due_builds([found("a", seen="other", shape="a")], [built("a")], BLANK, stands).orders
    assert order.same == (built("a"),)
    assert order.taken == ("a",)
    assert order.row.set_name == "a"


def test_a_session_that_became_what_it_was_is_told_so() -> None:
    """Its old set holds again, and the ledger gets the row."""
    later = built("a", "a.2", seen="later", shape="later")
    due = due_builds([found("a")], [built("a"), later], BLANK, stands)
    assert due.orders == ()
    assert [row.set_name for row in due.renewed] == ["a"]


def test_sets_are_verified_oldest_first() -> None:
    """By the day they were last looked at, else built."""
    rows = [
        built("a", verified="2026-05-01"),
        built("b"),
        built("c", built="2026-03-01"),
        Row(session="d", sheet="", status=2),
    ]
    assert [order.row.session for order in due_verifications(rows, BLANK)] == ["b", "c", "a"]


def test_sets_that_do_not_fit_beside_each_other_wait() -> None:
    """One alone begins in any case: the build itself tells that there is no room."""
    small, large = (BLANK.model_copy(update={"needed_bytes": size}) for size in (10, 100))
    assert may_start(large, [], 50)
    assert not may_start(large, [small], 50)
    assert may_start(small, [small], 20)
    assert not may_start(small, [small], 19)


def test_none_is_begun_that_would_not_end_in_time() -> None:
    """By the rate so far; the first one is begun if there is any time."""
    order = BLANK.model_copy(update={"row": built("a", set_bytes=1000)})
    assert is_in_time(order, None, 1)
    assert not is_in_time(order, None, 0)
    assert is_in_time(order, 100, 10)
    assert not is_in_time(order, 100, 9.9)


def test_names_are_apart_whatever_the_case_of_letters() -> None:
    """Those that have one keep it."""
    wanted = {Path("/x/a"): "Tape", Path("/y/a"): "tape", Path("/z/a"): "TAPE"}
    assert list(named_apart(wanted, {"/y/a": "Old"}).values()) == ["Tape", "Old", "TAPE (2)"]
