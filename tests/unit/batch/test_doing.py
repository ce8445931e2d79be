"""An order done: whatever happens, a row comes of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from assembler import build_set
from assembler.batch.digests import set_digest
from assembler.batch.orders import Order, is_undone
from assembler.batch.workers import doing
from assembler.batch.workers.doing import do
from assembler.collection import Row
from tests.support.collections import write_session

if TYPE_CHECKING:
    from pathlib import Path


def order_of(tmp_path: Path, **values: object) -> Order:
    """Return an order for a small session."""
    sheet = write_session(tmp_path / "session", 1)
    (tmp_path / "root").mkdir()
    row = Row(session="one", sheet=str(sheet))
    return Order.model_validate({"kind": "build", "root": str(tmp_path / "root"), "row": row, **values})


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (MemoryError(), "out of memory"),
        (OSError(5, "Input/output error", "a.wav"), "a.wav: Input/output error"),
        (
            ZeroDivisionError("odd\x1b"),
            "a fault of the program, please report it: ZeroDivisionError: odd\\x1b",
        ),
    ],
)
def test_every_error_is_a_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, words: str
) -> None:
    """Its words are one line that a terminal does not obey."""

    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(doing, "build_set", fail)
    order = order_of(tmp_path)
    row = do(order)
    assert (row.status, row.words, row.set_name) == (2, words, "")
    assert is_undone(row, order)


def test_a_worker_of_another_version_refuses(tmp_path: Path) -> None:
    """Its sets would be others."""
    row = do(order_of(tmp_path, program="capture-assembler 9.9"))
    assert row.status == 2
    assert "the batch capture-assembler 9.9; allowed: the same" in row.words
    assert list((tmp_path / "root").iterdir()) == []


def test_who_comes_second_knows_the_set_of_the_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two workers with one order, as a cluster may have it: one set, and both tell of it."""

    def overtaken(sheet: Path, target: Path, **options: Any) -> object:  # noqa: ANN401 - those of the build
        build_set(sheet, target)
        return build_set(sheet, target, **options)

    monkeypatch.setattr(doing, "build_set", overtaken)
    row = do(order_of(tmp_path))
    assert (row.set_name, row.status, row.words) == ("one", 0, "")
    assert row.digest == set_digest(tmp_path / "root/one")
    assert [path.name for path in (tmp_path / "root").iterdir()] == ["one"]


def test_a_set_that_is_gone_is_said_to_be(tmp_path: Path) -> None:
    """It counts as damaged, and nothing that lies near it is named."""
    order = order_of(tmp_path)
    (tmp_path / "root/one2").mkdir()
    row = do(
        order.model_copy(update={"kind": "verify", "row": order.row.model_copy(update={"set_name": "one"})})
    )
    assert (row.damage, bool(row.verified)) == ("the set is not there any more", True)
