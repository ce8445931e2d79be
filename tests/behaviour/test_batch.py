"""Many sessions: built once, whatever dies meanwhile; what became of each is told."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assembler import build_collection, build_set
from assembler.batch import running
from assembler.batch.orders import Done
from assembler.cli.commands import run
from assembler.collection import LEDGER, read_collection
from tests.support.collections import age, bytes_of, write_session
from tests.support.sessions import run_json

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.batch.orders import Order


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four sessions: two in order, one that needs a person, one whose sheet is no sheet."""
    folder = tmp_path_factory.mktemp("many")
    write_session(folder / "box1/tape1", 1, 1, notes={"machine": "unit 1", "date": "2024-03-09"})
    write_session(folder / "box1/tape2", 2, 2, notes={"machine": "unit 2", "date": "2024-03-09"})
    write_session(folder / "box2/tape1", 3, 1, is_flawed=True, notes={"machine": "unit 2"})
    bad = write_session(folder / "box2/tape2", 4)
    bad.write_text(
        bad.read_text(encoding="utf-8").replace("bit_depth = 16", "bit_depth = 17"), encoding="utf-8"
    )
    age(folder)
    return folder


@pytest.fixture(scope="module")
def finished(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A root into which these were built; not to be changed."""
    root = tmp_path_factory.mktemp("roots") / "root"
    assert run(["batch", str(folder), "-o", str(root), "--jobs", "2"]) == 1
    return root


@pytest.fixture
def root(finished: Path, tmp_path: Path) -> Path:
    """A copy of that root to work in."""
    shutil.copytree(finished, tmp_path / "root")
    return tmp_path / "root"


def test_every_session_has_a_row_and_one_that_fails_stops_none(
    folder: Path, finished: Path, tmp_path: Path
) -> None:
    """Three sets with the bytes of sets built alone, four rows; largest first."""
    rows = {row.session: row for row in read_collection(finished).rows}
    assert {name: row.status for name, row in rows.items()} == {
        "box1_tape1": 0,
        "box1_tape2": 0,
        "box2_tape1": 1,
        "box2_tape2": 2,
    }
    for name in ("box1_tape1", "box1_tape2", "box2_tape1"):
        build_set(folder / name.replace("_", "/") / "session.toml", tmp_path / name)
        assert bytes_of(tmp_path / name) == bytes_of(finished / name)
    assert sorted(path.name for path in finished.iterdir()) == [*sorted(rows)[:3], LEDGER]
    failed, flawed = rows["box2_tape2"], rows["box2_tape1"]
    assert "line 4: session.bit_depth: found 17; allowed: 16, 20 or 24" in failed.words
    assert (flawed.places, flawed.rolls) == (1, 1)
    assert [round(row.seconds, 1) for row in rows.values()].count(1.0) == 2
    assert rows["box1_tape2"].seconds == pytest.approx(2)


def test_a_set_that_stands_is_never_built_again(
    folder: Path, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither as it is, nor with other times of its files, nor under another path; a changed sheet gets another one."""
    before = bytes_of(root)
    status, told = run_json(capsys, "batch", folder, "-o", root)
    assert (status, told["built"], told["kept"], told["undone"]) == (1, 0, 3, 1)
    copied, moved = root.parent / "copied", root.parent / "moved"
    shutil.copytree(folder, copied)
    shutil.rmtree(copied / "box2/tape2")
    status, told = run_json(capsys, "batch", copied, "-o", root)
    assert (status, told["built"], told["kept"]) == (1, 0, 3)
    copied.rename(moved)
    status, told = run_json(capsys, "batch", moved, "-o", root)
    assert (status, told["built"], told["kept"]) == (1, 0, 3)
    rows = {row.session: row for row in read_collection(root).rows}
    assert rows["box1_tape1 (2)"].sheet == str(moved / "box1/tape1/session.toml")
    assert {row.set_name for row in rows.values()} == {"box1_tape1", "box1_tape2", "box2_tape1", ""}
    assert {**bytes_of(root), LEDGER: ""} == {**before, LEDGER: ""}
    sheet = moved / "box1/tape1/session.toml"
    for name in ("box1_tape1 (2)", "box1_tape1 (2).2"):
        sheet.write_text(sheet.read_text(encoding="utf-8") + "# a word\n", encoding="utf-8")
        status, told = run_json(capsys, "batch", moved / "box1", "-o", root)
        assert (status, told["kept"], [row["set_name"] for row in told["sessions"]]) == (0, 1, [name])
    after = bytes_of(root)
    assert {name: after[name] for name in before if name != LEDGER} == {
        name: digest for name, digest in before.items() if name != LEDGER
    }


def test_a_set_whose_row_was_lost_is_known_again(
    folder: Path, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A batch that was killed between set and row, or in the midst of a row, builds nothing twice."""
    ledger = root / LEDGER
    lines = ledger.read_bytes().splitlines(keepends=True)
    kept = [line for line in lines if json.loads(line)["session"] != "box1_tape1"]
    [lost] = [line for line in lines if json.loads(line)["session"] == "box1_tape1"]
    ledger.write_bytes(b"".join(kept) + lost[:100])
    before = {name: digest for name, digest in bytes_of(root).items() if name != LEDGER}
    status, told = run_json(capsys, "batch", folder, "-o", root)
    assert (status, sorted(row["set_name"] for row in told["sessions"])) == (1, ["", "box1_tape1"])
    assert {name: digest for name, digest in bytes_of(root).items() if name != LEDGER} == before
    found, was = {row.session: row for row in read_collection(root).rows}["box1_tape1"], json.loads(lost)
    assert (found.digest, found.seen, found.rolls) == (was["digest"], was["seen"], was["rolls"])


def test_damage_is_found_oldest_first_and_mended_by_the_next_batch(
    folder: Path, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A set that is not what it was is told, and built anew beside it."""
    track = next((root / "box1_tape2/data/tracks").iterdir())
    data = bytearray(track.read_bytes())
    data[-1] ^= 1
    track.write_bytes(data)
    status, told = run_json(capsys, "batch", "--verify", "-o", root, "--jobs", "1")
    rows = {row["session"]: row for row in told["sessions"]}
    assert (status, told["verified"], len(rows)) == (1, 3, 3)
    assert [name for name, row in rows.items() if row["damage"]] == ["box1_tape2"]
    assert all(row["verified"] for row in rows.values())
    assert "tracks/" in rows["box1_tape2"]["damage"]
    status, told = run_json(capsys, "batch", folder / "box1", "-o", root)
    assert [(row["set_name"], row["state"]) for row in told["sessions"]] == [("box1_tape2.2", "saved")]
    # What was built last was looked at by the build itself: the older two come first.
    status, told = run_json(capsys, "batch", "--verify", "-o", root, "--jobs", "1")
    assert status == 0
    assert [row["set_name"] for row in told["sessions"]][-1] == "box1_tape2.2"
    status, told = run_json(capsys, "batch", "--verify", "-o", root, "--within", "0")
    assert (status, told["verified"], told["left"]) == (0, 0, 3)


def start(folder: Path, root: Path, *options: str) -> subprocess.Popen[str]:
    """Start a batch in a process of its own."""
    command = [sys.executable, "-m", "assembler", "batch", str(folder), "-o", str(root), *options]
    return subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def workers_of(process: subprocess.Popen[str]) -> list[int]:
    """Return the workers that a batch has now."""
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text(encoding="ascii")
    return [int(word) for word in listed.split()]


def scaffolds(root: Path) -> list[Path]:
    """Return what is in the making."""
    return list(root.glob(".assembler-partial-*"))


def until(is_so: object, seconds: float = 60) -> None:
    """Wait until something is so."""
    assert callable(is_so)
    end = time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_worker_that_is_killed_costs_nothing(folder: Path, tmp_path: Path) -> None:
    """Its session is tried again, and nothing is left of what it had begun."""
    root = tmp_path / "root"
    batch = start(folder / "box1", root, "--jobs", "1", "--no-cache")
    until(lambda: scaffolds(root))
    [worker] = workers_of(batch)
    os.kill(worker, signal.SIGKILL)
    _, told = batch.communicate(timeout=120)
    assert batch.returncode == 0, told
    assert told.count("its worker died; it is tried again") == 1
    assert sorted(path.name for path in root.iterdir()) == [LEDGER, "tape1", "tape2"]
    build_set(folder / "box1/tape2/session.toml", tmp_path / "alone")
    assert bytes_of(tmp_path / "alone") == bytes_of(root / "tape2")


def test_two_batches_at_once_are_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second one says so and does nothing; a killed one's workers end by themselves and leave nothing."""
    root = tmp_path / "root"
    batch = start(folder / "box1", root, "--jobs", "1", "--no-cache")
    until(lambda: scaffolds(root))
    assert run(["batch", str(folder), "-o", str(root)]) == 2
    told = capsys.readouterr().err
    assert "another batch is at work there" in told
    assert told.count("\n") == 1
    [worker] = workers_of(batch)
    os.kill(worker, signal.SIGSTOP)
    batch.kill()
    batch.wait(60)
    assert run(["batch", str(folder), "-o", str(root)]) == 2
    assert "or its workers still are" in capsys.readouterr().err
    os.kill(worker, signal.SIGCONT)
    until(lambda: not Path(f"/proc/{worker}").exists())
    assert [path.name for path in root.iterdir()] == [LEDGER]
    batch.communicate()
    assert run(["batch", str(folder / "box1"), "-o", str(root)]) == 0


def test_an_interrupt_clears_up_and_the_next_run_goes_on(folder: Path, tmp_path: Path) -> None:
    """Status 130; no half set, no worker is left; what stood before it stays."""
    root = tmp_path / "root"
    batch = start(folder / "box1", root, "--jobs", "1", "--no-cache")
    until(lambda: scaffolds(root))
    workers = workers_of(batch)
    batch.send_signal(signal.SIGINT)
    out, told = batch.communicate(timeout=60)
    assert (batch.returncode, out) == (130, "")
    assert told.endswith("stands: run the same again to go on\n")
    assert [path.name for path in root.iterdir()] == [LEDGER]
    assert not any(Path(f"/proc/{worker}").exists() for worker in workers)
    assert run(["batch", str(folder / "box1"), "-o", str(root)]) == 0


class DeadlyPool:
    """A pool whose workers die of every order."""

    def __init__(self, *_: object) -> None:
        self.orders: list[Order] = []
        self.given = 0

    def room(self) -> int:
        """Return one."""
        return 1 - len(self.orders)

    def give(self, order: Order) -> None:
        """Take an order."""
        self.given += 1
        self.orders.append(order)

    def wait(self, _seconds: float) -> Iterator[Done]:
        """Return deaths."""
        while self.orders:
            yield Done(self.orders.pop(), None)

    def close(self) -> None:
        """Nothing is to be closed."""


def test_a_session_that_kills_its_workers_is_given_up(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is tried as often as was said, then failed; the others go on."""
    monkeypatch.setattr(running, "EmbeddedPool", DeadlyPool)
    command = ("batch", folder / "box1", "-o", tmp_path / "root", "--retries", "1")
    status, told = run_json(capsys, *command)
    assert (status, told["undone"]) == (1, 2)
    assert {row["words"] for row in told["sessions"]} == {"its worker died 2 times: killed, or out of memory"}


def test_a_disk_without_room_is_told_before_anything_is_built(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, status 2, not even a root."""
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr("assembler.batch.running.shutil.disk_usage", lambda _: usage._replace(free=500_000))
    assert run(["batch", str(folder), "-o", str(tmp_path / "root")]) == 2
    told = capsys.readouterr().err
    assert "the sets need about 1.2 MB, but 0.5 MB are free; nothing was built" in told
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere", "-o", "root"], "nowhere: is not a folder; allowed: folders that hold sheets"),
        (["empty", "-o", "root"], "empty: no sheet is in there; allowed: folders that hold sheets (.toml)"),
        (["full", "-o", "full"], "holds other things and no ledger; allowed: a new or empty folder"),
        (["full", "-o", "full/a"], "is no folder; allowed: a new or empty folder"),
        (["full", "-o", "none/root"], "none is not a folder; make it first"),
        (["-o", "root"], "no FOLDER is given"),
        (["--verify", "full", "-o", "root"], "allowed: no FOLDER"),
        (["full", "--within", "3", "-o", "root"], "--within limits --verify"),
        (
            ["--verify", "-o", "empty"],
            "ledger.jsonl: No such file or directory; allowed: a root that `batch`",
        ),
        (["full", "-o", "broken"], "ledger.jsonl: line 1: no row of a ledger"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    words: str,
) -> None:
    """Status 2, and the folder as it was."""
    for name in ("empty", "full", "broken"):
        (tmp_path / name).mkdir()
    (tmp_path / "full/a").write_text("x", encoding="utf-8")
    (tmp_path / "full/session.toml").write_text("[session]\n", encoding="utf-8")
    (tmp_path / "broken" / LEDGER).write_text("{}\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    assert run(["batch", *arguments]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert len(told.splitlines()) <= 2
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


def test_a_collection_is_shown(finished: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a table, as CSV, as a page and as JSON: what asks, what is to be played, what machines have in common."""
    table, page = tmp_path / "all.csv", tmp_path / "all.html"
    assert run(["collection", str(finished), "--csv", str(table), "--page", str(page)]) == 1
    told = capsys.readouterr().out
    assert "4 sessions, 3 tapes: 2 saved, 1 needs a person, 1 failed" in told
    assert "By machine" in told
    assert "By date" in told
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))
    assert [row["state"] for row in rows].count("saved") == 2
    assert {row["prepared machine"] for row in rows} == {"unit 1", "unit 2", ""}
    text = page.read_text(encoding="utf-8")
    for words in ("Needs a person", "Needs another play", "By machine", "By date", "unit 2", "box2_tape2"):
        assert words in text
    status, told = run_json(capsys, "collection", finished)
    groups = {(one["key"], one["value"]): one for one in told["groups"]}
    assert (status, groups["machine", "unit 2"]["tapes"], groups["machine", "unit 2"]["asking"]) == (1, 2, 1)
    assert run(["collection", str(finished), "--csv", str(tmp_path / "new.csv"), "--page", str(page)]) == 2
    assert not (tmp_path / "new.csv").exists()


def test_the_last_lines_say_why_the_status_is_1(
    folder: Path, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of what was built, of what stood already, and of what was verified."""
    assert run(["batch", str(folder / "box2/tape1"), "-o", str(root)]) == 1
    assert "0 built, 1 stood already, 1 needs a person" in capsys.readouterr().out
    shutil.rmtree(root / "box1_tape1")
    assert run(["batch", "--verify", "-o", str(root), "--jobs", "1"]) == 1
    told = capsys.readouterr()
    assert "3 verified, 1 damaged\n" in told.out
    assert "box1_tape1: damaged: the set is not there any more\n" in told.err


@pytest.mark.parametrize("kind", [str, Path])
def test_one_folder_may_be_given_alone(folder: Path, tmp_path: Path, kind: type[str | Path]) -> None:
    """A text is no list of its letters, the first of which is the root of the whole disk."""
    done = build_collection(kind(folder / "box2/tape1"), tmp_path / "root", jobs=1)
    assert [row.session for row in done.rows] == ["tape1"]
