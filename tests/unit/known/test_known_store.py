"""The folder of entries."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING

import pytest

from assembler.known.store import Store

if TYPE_CHECKING:
    from pathlib import Path

MEBIBYTE = 1 << 20


def size_of(folder: Path) -> int:
    """Return the bytes that all files of a folder hold."""
    return sum(path.stat().st_size for path in folder.iterdir())


def test_an_entry_is_read_as_it_was_written(tmp_path: Path) -> None:
    """Also by another process, which is another store; one that is missing is None."""
    Store(tmp_path / "known", MEBIBYTE).write("name", b"some\nbytes\x00")
    assert Store(tmp_path / "known", MEBIBYTE).read("name") == b"some\nbytes\x00"
    assert Store(tmp_path / "known", MEBIBYTE).read("other") is None


@pytest.mark.parametrize("cut", [0, 1, 64, 65, 70, -1])
def test_a_torn_entry_is_as_if_absent(tmp_path: Path, cut: int) -> None:
    """Whatever part of it stands."""
    store = Store(tmp_path / "known", MEBIBYTE)
    store.write("name", b"some bytes")
    path = store.folder / "name"
    path.write_bytes(path.read_bytes()[:cut])
    assert store.read("name") is None


def test_every_flipped_bit_is_seen(tmp_path: Path) -> None:
    """In the digest and in what it is of."""
    store = Store(tmp_path / "known", MEBIBYTE)
    store.write("name", b"[1,2]")
    path = store.folder / "name"
    whole = path.read_bytes()
    for at in range(len(whole)):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert store.read("name") is None, at


def test_an_entry_under_the_name_of_another_is_as_if_absent(tmp_path: Path) -> None:
    """Whole as it is, it answers another question: a folder that was put back wrongly, or a disk that was repaired."""
    store = Store(tmp_path / "known", 1000)
    store.write("one", b"first")
    store.write("two", b"second")
    (tmp_path / "known" / "one").rename(tmp_path / "known" / "three")
    (tmp_path / "known" / "two").rename(tmp_path / "known" / "one")
    assert [store.read(name) for name in ("one", "two", "three")] == [None, None, None]


def test_the_folder_is_bounded_and_what_was_not_asked_for_longest_goes(tmp_path: Path) -> None:
    """Entries that are read stay."""
    store = Store(tmp_path / "known", 100_000)
    store.write("wanted", b"w" * 10_000)
    long_ago = time.time() - 1000
    for number in range(30):
        store.write(f"entry{number}", b"x" * 10_000)
        os.utime(store.folder / f"entry{number}", (long_ago, long_ago + number))
        os.utime(store.folder / "wanted", (long_ago, long_ago - 1))
        assert store.read("wanted") is not None
        assert size_of(store.folder) <= 100_000
    assert store.read("entry29") is not None
    assert store.read("entry2") is None


def test_an_entry_larger_than_the_bound_is_not_kept(tmp_path: Path) -> None:
    """It would push out everything else."""
    store = Store(tmp_path / "known", 1000)
    store.write("small", b"x")
    store.write("large", b"x" * 1000)
    assert store.read("small") == b"x"
    assert store.read("large") is None
    assert len(list(store.folder.iterdir())) == 1


def test_what_a_killed_writer_left_goes_after_an_hour(tmp_path: Path) -> None:
    """A young one may still be written to by another process."""
    store = Store(tmp_path / "known", MEBIBYTE)
    old, young = store.folder / ".new-old", store.folder / ".new-young"
    for path in (old, young):
        path.write_bytes(b"half")
    os.utime(old, (time.time() - 7200,) * 2)
    store.write("name", b"x")
    assert (old.exists(), young.exists()) == (False, True)


def test_a_folder_that_others_may_write_to_is_refused(tmp_path: Path) -> None:
    """What stands in it might be anybody's."""
    folder = tmp_path / "known"
    folder.mkdir()
    folder.chmod(0o777)
    with pytest.raises(OSError, match="written to by others"):
        Store(folder, MEBIBYTE)


def test_a_link_to_a_folder_is_refused(tmp_path: Path) -> None:
    """It may lead anywhere."""
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    (tmp_path / "known").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OSError, match="no folder"):
        Store(tmp_path / "known", MEBIBYTE)


def test_a_disk_that_refuses_keeps_nothing_and_stops_nothing(tmp_path: Path) -> None:
    """The work goes on."""
    store = Store(tmp_path / "known", MEBIBYTE)
    store.folder.rmdir()
    store.write("name", b"x")
    assert store.read("name") is None
