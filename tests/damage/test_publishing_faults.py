"""Publishing under fire: killed, failed and interrupted at every operation, and on a full disk.

Each run writes a small set beside an older one. Whatever happens, the new set is there whole or not at all,
and the older one is as it was.
"""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from assembler.errors import PublishError
from assembler.publishing.publication import Publication
from assembler.publishing.scaffold import PREFIX
from assembler.publishing.staging import Staging
from assembler.publishing.text import publish_text
from tests.damage.publishing_faulty_disk import NEW, FaultyDisk, contents, publish

OLD = {"old/data/track": len(b"older sound")}
WHOLE = OLD | {f"set/{name}": len(data) for name, data in NEW.items()}
ROOT = Path(__file__).parents[2]

# What publishing does to the disk: the scaffold, its mark created, written, synced, the scaffold synced; three
# folders, three files, each created, written, synced, then three folders synced, the rename, the parent synced.
# Written down so that an operation added later is brought in here too.
OPERATIONS = 1 + 3 + 1 + 3 + 3 * 3 + 3 + 1 + 1


def names(folder: Path) -> list[str]:
    """Return what stands in a folder, sorted."""
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Return a folder that holds an older set."""
    folder = tmp_path / "place"
    (folder / "old/data").mkdir(parents=True)
    (folder / "old/data/track").write_bytes(b"older sound")
    return folder


def test_operations_are_counted(place: Path) -> None:
    """The disk of these tests sees every operation there is, or they would prove nothing."""
    disk = FaultyDisk()
    publish(place / "set", disk)
    assert disk.done == OPERATIONS
    assert contents(place) == WHOLE


def test_killed_at_every_operation(place: Path) -> None:
    """A killed run leaves no set and harms no older one, and the next clears up what it left.

    Only a run killed at its last operation, the sync of the parent after the rename, leaves a set: whole; beside
    it the mark of the scaffold is left, which the next run for another target tells of.
    """
    command = [sys.executable, "-m", "tests.damage.publishing_faulty_disk", str(place / "set")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    runs = [json.loads(line) for line in done.stdout.splitlines()]
    assert [run["signal"] for run in runs] == [9] * OPERATIONS
    for run in runs:
        leftovers = {name.split("/")[0] for name in run["found"] if name.startswith(PREFIX)}
        # A run killed before its mark reached the disk left an unmarked folder, which nobody may remove.
        assert len([one for one in leftovers if run["found"][f"{one}/{one}"]]) <= 1
        found = {name: size for name, size in run["found"].items() if name.split("/")[0] not in leftovers}
        assert found == (WHOLE if run is runs[-1] else OLD)
    assert sum(len(run["found"]) > len(OLD) for run in runs) > OPERATIONS / 2


@pytest.mark.parametrize("number", range(OPERATIONS))
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO])
def test_failed_at_every_operation(place: Path, number: int, code: int) -> None:
    """An operation that fails ends the run with one plain line; nothing of it is left."""

    def fail() -> None:
        raise OSError(code, os.strerror(code))

    with pytest.raises(PublishError) as caught:
        publish(place / "set", FaultyDisk(number, fail))
    words = "disk full: the set needs about 1.5 MB" if code == errno.ENOSPC else "Input/output error"
    assert words in str(caught.value)
    assert str(caught.value).endswith("; no set was written")
    assert PREFIX not in str(caught.value)
    assert "\n" not in str(caught.value)
    assert contents(place) == OLD
    assert names(place) == ["old"]


@pytest.mark.parametrize("number", range(OPERATIONS))
def test_interrupted_at_every_operation(place: Path, number: int) -> None:
    """An interrupt ends the run as an interrupt; nothing of it is left."""

    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        publish(place / "set", FaultyDisk(number, interrupt))
    assert names(place) == ["old"]
    assert contents(place) == OLD


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.EDQUOT, "disk quota used up"),
        (errno.EFBIG, "file too large for this disk"),
        (errno.EROFS, "is on a read-only disk"),
        (errno.EACCES, "no permission to write"),
    ],
)
def test_reasons_are_told(place: Path, code: int, words: str) -> None:
    """Each common reason for a failed write has its own words."""

    def fail() -> None:
        raise OSError(code, os.strerror(code))

    with pytest.raises(PublishError, match=words):
        publish(place / "set", FaultyDisk(11, fail))
    assert names(place) == ["old"]


def test_limit_on_file_size(place: Path) -> None:
    """Under a real limit on file size, a shell's ``ulimit -f``, the run ends with one line."""
    program = (
        "import resource, sys; from pathlib import Path\n"
        "from assembler.errors import PublishError\n"
        "from tests.damage.publishing_faulty_disk import FaultyDisk, publish\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1_200_000, 1_200_000))\n"
        "try: publish(Path(sys.argv[1]), FaultyDisk())\n"
        "except PublishError as error: print(error)\n"
    )
    command = [sys.executable, "-c", program, str(place / "set")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("file too large for this disk, or over a limit set for this process")
    assert f"({place}/set/data/tracks/01.wav); no set was written" in done.stdout
    assert done.stderr == ""
    assert names(place) == ["old"]
    assert contents(place) == OLD


def test_error_of_another_file_is_not_ours(place: Path) -> None:
    """What fails while a capture is read is not told as a failure to write."""
    with pytest.raises(FileNotFoundError), Staging(place / "set") as staging:
        staging.write_bytes("a", (place / "no capture").read_bytes())
    assert names(place) == ["old"]


@pytest.mark.parametrize("number", range(10))
def test_a_text_fails_at_every_operation(place: Path, number: int) -> None:
    """A sheet or plan that cannot be written whole is not there at all: nothing is left, and one line says so."""

    def fail() -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(PublishError, match=r"^disk full \(.*place.*\); no set was written$"):
        publish_text(place / "plan.toml", "plan" * 1000, Publication(), FaultyDisk(number, fail))
    assert names(place) == ["old"]
    counted = FaultyDisk()
    publish_text(place / "plan.toml", "plan" * 1000, Publication(), counted)
    assert counted.done == 1 + 3 + 1 + 2 + 1 + 1 + 1
    assert (place / "plan.toml").read_text() == "plan" * 1000
