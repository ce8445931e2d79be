"""The staging folder: what it takes, what it refuses, and that the set appears whole or not at all."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assembler.errors import PublishError
from assembler.publishing.disk import Disk
from assembler.publishing.publication import Publication
from assembler.publishing.scaffold import MARK, PREFIX
from assembler.publishing.staging import Staging, free_space_check
from assembler.publishing.text import publish_text

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

FILES = {"bagit.txt": b"tag", "data/tracks/01.wav": b"sound" * 500_000, "data/empty": b""}


def snapshot(folder: Path) -> dict[str, bytes]:
    """Return every file under a folder by its path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def names(folder: Path) -> list[str]:
    """Return what stands in a folder, sorted."""
    return sorted(path.name for path in folder.iterdir())


def publish(target: Path, disk: Disk | None = None) -> None:
    """Publish the example set."""
    with Staging(target, disk=disk) as staging:
        for name, data in FILES.items():
            staging.write_bytes(name, data)
        staging.finish()


def test_set_appears_whole(tmp_path: Path) -> None:
    """A finished set holds exactly what was written, and nothing else is left beside it."""
    publish(tmp_path / "set")
    assert snapshot(tmp_path / "set") == FILES
    assert names(tmp_path) == ["set"]


def test_nothing_appears_before_the_end(tmp_path: Path) -> None:
    """Until it is finished the set's name stays free, and the temporary folder says whose it is."""
    with Staging(tmp_path / "set") as staging:
        staging.write_bytes("a", b"1")
        [name] = names(tmp_path)
        assert name.startswith(PREFIX)
        assert names(tmp_path / name) == [name, "set"]
        assert (tmp_path / name / name).read_bytes().startswith(b"Work of the capture assembler")
        staging.finish()
    assert names(tmp_path) == ["set"]


def test_set_has_the_modes_of_the_user(tmp_path: Path) -> None:
    """Files and folders of the set have the rights that the user's mask gives to new ones."""
    publish(tmp_path / "set")
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").touch()
    assert (tmp_path / "set").stat().st_mode == (tmp_path / "folder").stat().st_mode
    assert (tmp_path / "set/bagit.txt").stat().st_mode == (tmp_path / "file").stat().st_mode


def test_order_of_syncing(tmp_path: Path) -> None:
    """Every file is synced before the folders, the folders inside out, the parent last, after the rename."""

    class Recorder(Disk):
        def __init__(self) -> None:
            self.done: list[str] = []

        def sync(self, path: Path) -> None:
            self.done.append(path.name.removeprefix(PREFIX) if path.is_dir() else path.name)
            super().sync(path)

        def rename(self, source: Path, target: Path) -> None:
            self.done.append("rename")
            super().rename(source, target)

    recorder = Recorder()
    publish(tmp_path / "set", recorder)
    mark, scaffold, *done = recorder.done
    assert mark == PREFIX + scaffold
    assert sorted(done[:3]) == ["01.wav", "bagit.txt", "empty"]
    assert done[3:] == ["tracks", "data", "set", "rename", tmp_path.name]


@pytest.mark.parametrize("kind", ["folder", "file", "dangling link"])
def test_existing_target_is_refused(tmp_path: Path, kind: str) -> None:
    """Whatever has the target's name, it is refused before anything is done."""
    target = tmp_path / "set"
    if kind == "folder":
        target.mkdir()
    elif kind == "file":
        target.touch()
    else:
        target.symlink_to(tmp_path / "nowhere")
    with pytest.raises(PublishError, match="set exists already; choose another name"):
        Staging(target)
    assert names(tmp_path) == ["set"]


def test_missing_parent_is_refused(tmp_path: Path) -> None:
    """A target in a folder that is not there is refused by that folder's name."""
    with pytest.raises(PublishError, match="none is not a folder"):
        Staging(tmp_path / "none/set")


@pytest.mark.parametrize("kind", ["empty folder", "full folder", "file"])
def test_target_that_appears_meanwhile(tmp_path: Path, kind: str) -> None:
    """If the name is taken while the set is made, nothing is published and what took it is unharmed."""
    target = tmp_path / "set"
    with Staging(target) as staging:
        staging.write_bytes("a", b"1")
        if kind == "file":
            target.write_bytes(b"other")
        else:
            target.mkdir()
            if kind == "full folder":
                (target / "other").write_bytes(b"other")
        inode = target.stat().st_ino
        with pytest.raises(PublishError, match="exists already"):
            staging.finish()
    assert names(tmp_path) == ["set"]
    assert target.stat().st_ino == inode
    assert not (target / "a").exists()


def test_target_that_appears_without_the_system_call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system cannot rename without replacing, an existing name is refused all the same."""

    def not_offered(source: Path, target: Path) -> None:
        raise OSError(38, "Function not implemented", str(source), None, str(target))

    monkeypatch.setattr("assembler.publishing.disk._rename_without_replacing", not_offered)
    publish(tmp_path / "first")
    assert snapshot(tmp_path / "first") == FILES
    with Staging(tmp_path / "set") as staging:
        (tmp_path / "set").mkdir()
        with pytest.raises(PublishError, match="exists already"):
            staging.finish()
    assert snapshot(tmp_path / "set") == {}


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, None])
def test_unfinished_staging_leaves_nothing(tmp_path: Path, error: type[BaseException] | None) -> None:
    """An exception, an interrupt, or no call of finish: the temporary folder is gone, open files and all."""

    def run() -> None:
        with Staging(tmp_path / "set") as staging:
            staging.open("data/half").write(b"half")
            if error:
                raise error

    if error:
        with pytest.raises(error):
            run()
    else:
        run()
    assert names(tmp_path) == []


def test_unwritten_bytes_are_let_go(tmp_path: Path) -> None:
    """When an error ends the run, bytes still in memory are not written: that could hide the error by another."""

    class Full(Disk):
        def write(self, descriptor: int, data: ReadableBuffer) -> int:
            if data == MARK + b"set":
                return super().write(descriptor, data)
            raise OSError(28, "No space left on device")

    def run() -> None:
        with Staging(tmp_path / "set", disk=Full()) as staging:
            staging.open("a").write(b"still in memory")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        run()
    assert names(tmp_path) == []


def test_open_file_cannot_be_published(tmp_path: Path) -> None:
    """A file that is still open would be published half-written: that is refused."""
    with Staging(tmp_path / "set") as staging:
        staging.open("a")
        with pytest.raises(ValueError, match="still open"):
            staging.finish()


@pytest.mark.parametrize("relative", ["../a", "/a", "a/../../b", "", "a//b", "./a", "a\0"])
def test_paths_out_of_the_set(tmp_path: Path, relative: str) -> None:
    """A path that leads out of the set, or is none, is refused."""
    with Staging(tmp_path / "set") as staging, pytest.raises(ValueError, match="not a path inside the set"):
        staging.open(relative)


def test_file_cannot_be_written_twice(tmp_path: Path) -> None:
    """A second file of the same name is refused, by the name it would have in the set."""
    with Staging(tmp_path / "set") as staging:
        staging.write_bytes("data/a", b"1")
        with pytest.raises(PublishError, match=r"File exists \(.*/set/data/a\); no set was written"):
            staging.open("data/a")


def test_file_can_be_patched(tmp_path: Path) -> None:
    """A file may seek back while it is written, as headers that hold sizes need."""
    with Staging(tmp_path / "set") as staging:
        with staging.open("a") as file:
            file.write(b"size" + b"x" * 3_000_000)
            file.seek(0)
            file.write(b"3000")
            assert file.tell() == 4
        staging.finish()
    assert (tmp_path / "set/a").read_bytes() == b"3000" + b"x" * 3_000_000


def test_digests_are_of_the_disk(tmp_path: Path) -> None:
    """Digests are read back: of a file whose bytes changed after they were written they tell the change."""

    class Faulty(Disk):
        def sync(self, path: Path) -> None:
            super().sync(path)
            if path.name == "01.wav":
                with path.open("r+b") as file:
                    file.write(b"S")

    with Staging(tmp_path / "set", disk=Faulty()) as staging:
        for name, data in FILES.items():
            staging.write_bytes(name, data)
        intact = staging.hash_back("bagit.txt", ["sha256", "md5"])
        faulty = staging.hash_back("data/tracks/01.wav", ["sha256"])
    assert intact == {name: hashlib.new(name, b"tag").hexdigest() for name in ("sha256", "md5")}
    assert faulty["sha256"] == hashlib.sha256(b"S" + FILES["data/tracks/01.wav"][1:]).hexdigest()


def leave(target: Path) -> Path:
    """Return the folder that a run for a target leaves when it is killed: made as the run makes it."""
    program = (
        "import os, sys; from pathlib import Path\n"
        "from assembler.publishing.staging import Staging\n"
        "with Staging(Path(sys.argv[1])) as staging:\n"
        "    staging.write_bytes('data/half', b'half')\n"
        "    print(staging.folder.parent, flush=True)\n"
        "    os.kill(os.getpid(), 9)\n"
    )
    command = [sys.executable, "-c", program, str(target)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == -9
    return Path(done.stdout.strip())


def test_leftover_of_a_dead_run_is_removed(tmp_path: Path) -> None:
    """The next run for the same target removes what a killed one left and says so; other targets' it only tells."""
    mine, other = leave(tmp_path / "set"), leave(tmp_path / "other")
    told: list[str] = []
    with Staging(tmp_path / "set", publication=Publication(told.append)) as staging:
        staging.finish()
    assert names(tmp_path) == sorted([other.name, "set"])
    assert snapshot(other / "other") == {"data/half": b"half"}
    assert sorted(told) == sorted(
        [
            f"{mine} was left by a killed run for set and is now removed",
            f"{other} was left by a killed run for other; it is not touched",
        ]
    )


@pytest.mark.parametrize(
    "kind", ["name alone", "no mark", "other's mark", "more inside", "mark is a link", "longer name"]
)
def test_what_is_not_provably_ours_stays(tmp_path: Path, kind: str) -> None:
    """A folder that only looks like a leftover, by its name or in part, is never touched, and nothing is said."""
    folder = tmp_path / ".set.partial-my captures"
    if kind == "name alone":
        (folder / "set").mkdir(parents=True)
    else:
        folder = leave(tmp_path / "set")
    mark = folder / folder.name
    if kind == "no mark":
        mark.unlink()
    elif kind == "other's mark":
        mark.write_bytes(MARK + b"other")
    elif kind == "more inside":
        (folder / "my captures.wav").write_bytes(b"precious")
    elif kind == "mark is a link":
        mark.rename(tmp_path / "mark")
        mark.symlink_to(tmp_path / "mark")
    elif kind == "longer name":
        folder = folder.rename(tmp_path / f"{folder.name} kept")
        (folder / mark.name).rename(folder / folder.name)
    (folder / "set" / "capture.wav").write_bytes(b"precious")
    before = snapshot(folder)
    told: list[str] = []
    with Staging(tmp_path / "set", publication=Publication(told.append)) as staging:
        staging.finish()
    assert snapshot(folder) == before
    assert told == []


@pytest.mark.parametrize("letters", ["n" * 255, "ü" * 127, "n" * 240])
def test_longest_names(tmp_path: Path, letters: str) -> None:
    """A set, and a file, may have the longest name that the file system takes (255 bytes on Linux)."""
    publish(tmp_path / letters)
    assert names(tmp_path) == [letters]
    (tmp_path / "files").mkdir()
    publish_text(tmp_path / "files" / letters, "plan", Publication())
    assert snapshot(tmp_path / "files") == {letters: b"plan"}


def test_folder_of_a_live_run_stays(tmp_path: Path) -> None:
    """A second run leaves the first one's folder alone, and the first to finish has the name."""
    with Staging(tmp_path / "set") as first:
        first.write_bytes("a", b"first")
        with Staging(tmp_path / "set") as second:
            second.write_bytes("a", b"second")
            assert len(names(tmp_path)) == 2
            first.finish()
            with pytest.raises(PublishError, match="exists already"):
                second.finish()
    assert snapshot(tmp_path / "set") == {"a": b"first"}


def test_link_named_like_a_leftover_is_not_followed(tmp_path: Path) -> None:
    """A link to a folder elsewhere that is a leftover is not swept out."""
    (tmp_path / "away").mkdir()
    folder = leave(tmp_path / "away/set")
    (tmp_path / folder.name).symlink_to(folder)
    publish(tmp_path / "set")
    assert snapshot(folder / "set") == {"data/half": b"half"}


def test_parent_that_cannot_be_synced_or_restored(tmp_path: Path) -> None:
    """If the rename cannot be made to last nor be taken back, the error says that the set stands, as it does."""

    class Failing(Disk):
        def sync(self, path: Path) -> None:
            if path == tmp_path:
                # Where it was made is gone, so that it cannot be taken back.
                shutil.rmtree(next(tmp_path.glob(PREFIX + "*")))
                raise OSError(5, "Input/output error")
            super().sync(path)

    publication = Publication()
    with Staging(tmp_path / "set", disk=Failing(), publication=publication) as staging:
        staging.write_bytes("a", b"1")
        with pytest.raises(PublishError, match="set stands, but may not outlast a power cut") as caught:
            staging.finish()
    assert "no set was written" not in str(caught.value)
    assert publication.standing == tmp_path / "set"
    assert snapshot(tmp_path / "set") == {"a": b"1"}


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_parent_without_write_permission(tmp_path: Path) -> None:
    """A folder one may not write to is told in one line."""
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(PublishError, match="no permission to write"), Staging(tmp_path / "set"):
            pass
    finally:
        tmp_path.chmod(0o700)


def test_name_too_long(tmp_path: Path) -> None:
    """A name that the disk cannot hold is told in one line, before any work."""
    with pytest.raises(PublishError, match="File name too long; no set was written"):
        Staging(tmp_path / ("n" * 256))


def test_free_space(tmp_path: Path) -> None:
    """More than is free is refused with both figures; what fits is not."""
    free_space_check(tmp_path / "set", 1)
    with pytest.raises(PublishError, match=r"needs about 1000000000\.0 GB, but .* are free; no set"):
        free_space_check(tmp_path / "set", 10**18)
