"""The ledger: whole rows or none, whoever writes, whatever the power does."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from assembler.collection import (
    LEDGER,
    Ledger,
    Row,
    SessionState,
    read_collection,
    read_row,
    row_line,
    whole_sets,
)
from assembler.errors import LedgerError

if TYPE_CHECKING:
    from pathlib import Path


def row(name: str, **values: object) -> Row:
    """Return a row of a session."""
    return Row.model_validate({"session": name, "sheet": f"{name}/session.toml", **values})


def test_a_row_is_one_line_that_gives_it_back() -> None:
    """Whatever its texts hold, line ends and signs of any script among them."""
    whole = row(
        "a\nb", words="ü\u2028\x00", status=1, set_name="x", reels=({"name": "A", "prepared": {"k": "v"}},)
    )
    line = row_line(whole)
    assert line.count(b"\n") == 1
    assert line.isascii()
    assert read_row(line) == whole
    assert b'"state":"asks"' in line


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_torn_last_row_is_survived(tmp_path: Path, cut: int) -> None:
    """It is read by nobody, and the next row stands behind the last whole one."""
    root = tmp_path / "root"
    with Ledger(root) as ledger:
        ledger.append(row("one"))
        ledger.append(row("two"))
    path = root / LEDGER
    path.write_bytes(path.read_bytes() + row_line(row("three"))[:-cut])
    assert [one.session for one in read_collection(root).rows] == ["one", "two"]
    with Ledger(root) as ledger:
        assert [one.session for one in ledger.history] == ["one", "two"]
        ledger.append(row("four"))
    assert [one.session for one in read_collection(root).rows] == ["one", "two", "four"]


def test_a_row_in_the_middle_that_is_none_is_told(tmp_path: Path) -> None:
    """With its line; nothing is cut off."""
    root = tmp_path / "root"
    with Ledger(root) as ledger:
        ledger.append(row("one"))
    path = root / LEDGER
    data = b"\0\0\0\n" + path.read_bytes()
    path.write_bytes(data)
    with pytest.raises(LedgerError, match="line 1: no row of a ledger"):
        Ledger(root)
    with pytest.raises(LedgerError, match="line 1: no row of a ledger"):
        read_collection(root)
    path.write_bytes(row_line(row("one")).replace(b'"format":1', b'"format":2'))
    with pytest.raises(LedgerError, match="found format 2; allowed: 1"):
        read_collection(root)
    assert path.stat().st_size < len(data)


def test_one_batch_at_a_time(tmp_path: Path) -> None:
    """A second one is refused as long as the first lives, or a worker that has inherited its lock."""
    root = tmp_path / "root"
    first = Ledger(root)
    with pytest.raises(LedgerError, match="another batch is at work there"):
        Ledger(root)
    worker = subprocess.Popen(
        [sys.executable, "-c", "input()"], stdin=subprocess.PIPE, pass_fds=(first.descriptor,)
    )
    first.close()
    with pytest.raises(LedgerError, match="another batch is at work there"):
        Ledger(root)
    worker.communicate(b"\n")
    Ledger(root).close()


def test_a_row_that_cannot_be_written_leaves_the_ledger_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk, in part or not at all."""
    root = tmp_path / "root"
    kept = os.write
    with Ledger(root) as ledger:
        ledger.append(row("one"))
        before = (root / LEDGER).read_bytes()
        monkeypatch.setattr(os, "write", lambda where, data: kept(where, data[:20]))
        with pytest.raises(LedgerError, match="a row could not be written: No space left on device"):
            ledger.append(row("two"))
        monkeypatch.undo()
        assert (root / LEDGER).read_bytes() == before
        ledger.append(row("three"))
    assert [one.session for one in read_collection(root).rows] == ["one", "three"]


def test_the_last_row_holds_and_sets_are_known_by_what_built_them() -> None:
    """A build that failed later says nothing of an older set; damage does, and a new verdict takes it away."""
    built = row("a", status=0, set_name="a", digest="d")
    failed = built.model_copy(update={"status": 2, "digest": "", "words": "no"})
    assert failed.state is SessionState.FAILED
    assert whole_sets([built, failed]) == {"a": built}
    damaged = failed.model_copy(update={"damage": "x", "verified": "t"})
    assert damaged.state is SessionState.DAMAGED
    assert whole_sets([built, failed, damaged]) == {}
    mended = damaged.model_copy(update={"damage": ""})
    assert whole_sets([built, failed, damaged, mended])["a"].digest == "d"
