"""What ``verify`` does with sets that are built to hang it, to fill the memory or to have it read other people's files.

Each set is damaged, given new manifests that fit, and verified by a process of its own with little memory and time.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set, building, verify_set
from assembler.publishing.staged import StagedFiles
from assembler.record.recorded.plainjson import check_json
from assembler.wave import PcmFormat, encode_format
from tests.damage.test_verify_damage import edit_record, flip, seal
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

ONE = "data/tracks/01_One.wav"
RECORD, JOINS, TIMELINE = "data/assembly.json", "data/joins.csv", "data/timeline.otio"
MEMORY, SECONDS = 1 << 30, 20
SECRET = "nobody's business"


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a session with its set: two passes with logs, one track, a join."""
    folder = tmp_path_factory.mktemp("hostile")
    tape = make_tape(2, 1, seed=5)
    first = tape.copy()
    first[30_000:31_000] = 0
    tape[60_000:61_000] = first[60_000:61_000] = 0
    layout = Layout(folder)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    build_set(layout.write(), folder / "set")
    return folder


@pytest.fixture
def root(session: Path, tmp_path: Path) -> Path:
    """Return a copy of the set, to damage."""
    (tmp_path / "secret").write_text(SECRET)
    return shutil.copytree(session / "set", tmp_path / "set")


def verified(root: Path, *arguments: str) -> tuple[int, list[str]]:
    """Return the status of ``verify`` and the lines it prints, by a process that has little memory and time."""
    out = root.parent / "out.txt"
    child = os.fork()
    if child == 0:
        status = 99
        try:
            size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
            resource.setrlimit(resource.RLIMIT_AS, (size + MEMORY, size + MEMORY))
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
            with out.open("w") as stream:
                os.dup2(stream.fileno(), 1)
                os.dup2(stream.fileno(), 2)
                sys.stdout = sys.stderr = stream
                status = run(["verify", str(root), *arguments])
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), out.read_text().splitlines()


def put(name: str, make: Callable[[Path], object]) -> Callable[[Path], None]:
    """Return a damage: a file of the set taken away, and something else in its place."""

    def damage(root: Path) -> None:
        (root / name).unlink()
        make(root / name)

    return damage


def link(name: str, target: str) -> Callable[[Path], None]:
    """Return a damage: a link in the place of a file."""
    return put(name, lambda path: path.symlink_to(target))


def write(name: str, data: bytes) -> Callable[[Path], None]:
    """Return a damage: a file with other bytes."""
    return put(name, lambda path: path.write_bytes(data))


def grow(name: str, size: int) -> Callable[[Path], None]:
    """Return a damage: a file made so long, with nothing in what is added."""
    return lambda root: os.truncate(root / name, size)


def sparse(path: Path) -> None:
    """Make a file of eight terabytes with nothing in it."""
    path.touch()
    os.truncate(path, 1 << 43)


def many_channels(root: Path) -> None:
    """Make the track one of 1,024 channels, all silent, in a sparse file."""
    frames = json.loads((root / RECORD).read_text())["length"]
    size = frames * 1024 * 2
    pcm = encode_format(PcmFormat(1024, 48000, 16, 16))
    header = b"WAVEfmt " + len(pcm).to_bytes(4, "little") + pcm + b"data" + size.to_bytes(4, "little")
    with (root / ONE).open("wb") as file:
        file.write(b"RIFF" + (len(header) + size).to_bytes(4, "little") + header)
        file.truncate(file.tell() + size)


LINKS = {
    name: link(name, target)
    for name, target in (
        (ONE, "/dev/zero"),
        (RECORD, "/dev/zero"),
        (TIMELINE, "../../secret"),
        ("bagit.txt", "loop"),
    )
}
UNREADABLE_ROWS: dict[str, Callable[[Path], object]] = {
    **LINKS,
    "a pipe for a track": put(ONE, os.mkfifo),
    "a pipe for the record": put(RECORD, os.mkfifo),
    "a pipe for the timeline": put(TIMELINE, os.mkfifo),
    "a pipe for the page": put("data/report.html", os.mkfifo),
    "a pipe for a manifest": put("manifest-sha256.txt", os.mkfifo),
    "a folder for a track": put(ONE, Path.mkdir),
    "a pipe more": lambda root: os.mkfifo(root / "data/tracks/pipe"),
    "a link to the folder itself": lambda root: (root / "data/tracks/up").symlink_to(".."),
    "joins.csv from elsewhere": link(JOINS, "../../secret"),
    "the sheet from elsewhere": link("data/session.toml", "../../secret"),
    "a record of a gigabyte": grow(RECORD, 1 << 30),
    "a timeline of a gigabyte": grow(TIMELINE, 1 << 30),
    "joins.csv of a gigabyte": grow(JOINS, 1 << 30),
    "a sheet of a gigabyte": grow("data/session.toml", 1 << 30),
    "a page of sixteen terabytes": grow("data/report.html", 1 << 43),
    "a manifest of a gigabyte": grow("manifest-sha256.txt", 1 << 30),
    "a track of eight terabytes": grow(ONE, 1 << 43),
    "a file more, of eight terabytes": lambda root: sparse(root / "data/more.wav"),
    "a tag file more, of eight terabytes": lambda root: sparse(root / "more.txt"),
    "a track of many channels": many_channels,
}


@pytest.mark.parametrize("row", UNREADABLE_ROWS)
def test_what_is_no_file_of_a_set_is_told_and_not_read(root: Path, row: str) -> None:
    """Pipes, devices, links and files without end are told at once; nothing outside the set is shown."""
    UNREADABLE_ROWS[row](root)
    status, lines = verified(root)
    assert status == 1
    assert not any(SECRET in line for line in lines)


def nested(count: int, *, closed: bool) -> bytes:
    """Return timeline stacks one in the other."""
    return b'{"OTIO_SCHEMA":"Stack.1","children":[' * count + b"]}" * (count if closed else 0)


DEEP_RECORD = b'{"format":' + b"[" * 200_000 + b"]" * 200_000 + b"}"
SEALED_ROWS = {
    "a nested timeline": (write(TIMELINE, nested(1500, closed=False)), f"{TIMELINE}: is nested"),
    "a nested and closed timeline": (write(TIMELINE, nested(20_000, closed=True)), f"{TIMELINE}: is nested"),
    "a timeline in brackets": (write(TIMELINE, b"[" * 50_000), f"{TIMELINE}: is nested"),
    "a timeline of many values": (
        write(TIMELINE, b"[" + b"{}," * 300_000 + b"{}]"),
        f"{TIMELINE}: has 600002 values",
    ),
    "a timeline of references": (
        write(TIMELINE, b'{"OTIO_SCHEMA":"SerializableObjectRef.1","id":"x"}'),
        f"{TIMELINE}: is no timeline",
    ),
    "a nested record": (write(RECORD, DEEP_RECORD), f"{RECORD}: is no record of a set: is nested"),
    "a record of many values": (write(RECORD, b"[" + b"0," * 4_100_000 + b"0]"), f"{RECORD}: is no record of a set"),
    "a record of open strings": (write(RECORD, b'{"' + b'\\"' * 1_000_000), f"{RECORD}: is no record of a set"),
    "a nested sheet": (write("data/session.toml", b"a = " + b"[" * 100_000), "data/session.toml: cannot be read as"),
}  # fmt: skip


@pytest.mark.parametrize("row", SEALED_ROWS)
def test_texts_built_to_exhaust_are_told(root: Path, row: str) -> None:
    """A text that is nested, padded or never closed is told in one line, in bounded time and memory."""
    damage, expected = SEALED_ROWS[row]
    damage(root)
    seal(root)
    status, lines = verified(root)
    assert status == 1
    assert any(line.startswith(f"{root}/{expected}") for line in lines), lines


def test_a_crowded_record_is_told_soon(root: Path) -> None:
    """What a record has many of is not held against all else that it has many of."""
    edit_record(crowd)(root)
    seal(root)
    status, lines = verified(root)
    assert status == 1
    assert any(f"{RECORD}: uncured place at sample" in line for line in lines)


def in_record(old: bytes, new: bytes) -> Callable[[Path], None]:
    """Return a damage: some text of the record exchanged."""

    def damage(root: Path) -> None:
        data = (root / RECORD).read_bytes()
        assert old in data
        (root / RECORD).write_bytes(data.replace(old, new, 1))

    return damage


def levels(**values: object) -> Callable[[Path], None]:
    """Return a damage: what was measured on the track."""
    return edit_record(lambda record: record["tracks"][0]["levels"].update(values))


def crowd(record: Any) -> None:  # noqa: ANN401
    """Give a record 4,000 tracks and 40,000 uncured places: each with each would take minutes."""
    (one,), places = record["tracks"], [{**record["uncured"][0], "track": "none"}] * 40_000
    names = [f"T{number}" for number in range(4_000)]
    record["tracks"] = [
        {**one, "name": name, "number": n, "file": f"tracks/{n}.wav"} for n, name in enumerate(names, 1)
    ]
    record["reels"][0]["tracks"], record["uncured"] = names, places
    for one in record["passes"]:
        one.update(channels=[[0, 0]] * 4_000, polarity=[1] * 4_000)


ODD_ROWS: dict[str, Callable[[Path], object]] = {
    "a level of 1e308": levels(integrated_lufs=1e308),
    "a level of -1e308": levels(true_peak_dbtp=-1e308),
    "NaN": levels(rms_dbfs=float("nan")),
    "Infinity": levels(dc_offset=float("inf")),
    "1e999": in_record(b'"dc_offset": ', b'"dc_offset": 1e999, "was": '),
    "a negative count": levels(clipped_runs=-1),
    "a negative length": edit_record(lambda record: record.update(length=-5)),
    "a huge length": edit_record(lambda record: record.update(length=10**30)),
    "a number of 5000 digits": in_record(b'"length": ', b'"length": ' + b"9" * 5000),
    "a huge start": edit_record(lambda record: record["start"].update(sample=10**18)),
    "a start a year on": edit_record(lambda record: record["start"].update(sample=1 << 47)),
    "a huge rate": edit_record(lambda record: record["session"].update(sample_rate=10**15)),
    "a huge track number": edit_record(lambda record: record["tracks"][0].update(number=10**20)),
    "a note of 5000 digits": in_record(b'"prepared": {', b'"prepared": {"speed": ' + b"9" * 5000),
    "a key twice": in_record(b'"format": 2,', b'"format": 2, "format": 2,'),
    "a key twice deep inside": in_record(b'"kind":', b'"kind": "mute", "kind":'),
    "a NUL in the title": edit_record(lambda record: record["session"].update(title="a\0b")),
    "half a character": in_record(b'"title": "', b'"title": "\\ud800'),
    "a mark of order": lambda root: (root / RECORD).write_bytes(
        b"\xef\xbb\xbf" + (root / RECORD).read_bytes()
    ),
    "UTF-16": lambda root: (root / RECORD).write_bytes((root / RECORD).read_text().encode("utf-16")),
    "no date": edit_record(lambda record: record["session"].update(date="1995-02-31")),
    "an escape for the terminal": edit_record(lambda record: record["tracks"][0].update(name="\x1b[2J")),
    "no record at all": lambda root: (root / RECORD).write_bytes(b""),
    "a list": lambda root: (root / RECORD).write_bytes(b"[]"),
}


@pytest.mark.parametrize("row", ODD_ROWS)
def test_odd_records_are_told_in_plain_lines(
    root: Path, row: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """No number, text or key of a record brings verify down; what it says can be shown on a terminal."""
    ODD_ROWS[row](root)
    seal(root)
    assert run(["verify", str(root)]) == 1
    printed = capsys.readouterr()
    assert not printed.err
    assert "\x1b" not in printed.out
    assert "\0" not in printed.out
    assert len(printed.out.splitlines()) <= 12


def loop(captures: Path) -> str:
    """Make a loop of links beside the captures and return its path."""
    (captures / "loop").symlink_to("loop")
    return "loop"


def pipe(captures: Path) -> str:
    """Make a pipe beside the captures and return its path."""
    os.mkfifo(captures / "pipe")
    return "pipe"


PATH_ROWS: dict[str, tuple[Callable[[Path], str], str]] = {
    "a NUL": (lambda _: "a\0b", "cannot be opened: embedded null byte"),
    "a loop": (loop, "cannot be opened"),
    "a pipe": (pipe, "cannot be opened: a named pipe, not a regular file"),
    "a folder": (lambda _: "captures", "cannot be opened: a folder, not a regular file"),
    "a long name": (lambda _: "x" * 5000, "cannot be opened: File name too long"),
    "a way out": (lambda _: "../secret", "lies outside the sheet's folder"),
}


@pytest.mark.parametrize("what", ["files", "log"])
@pytest.mark.parametrize("row", PATH_ROWS)
def test_odd_paths_of_captures_are_told(
    root: Path, session: Path, tmp_path: Path, row: str, what: str
) -> None:
    """A path in the record that leads to no file of the session is told with the path that was tried."""
    make, expected = PATH_ROWS[row]
    captures = shutil.copytree(session, tmp_path / "session", ignore=shutil.ignore_patterns("set"))
    path = make(captures)

    def change(record: Any) -> None:  # noqa: ANN401
        one = record["passes"][0]
        (one["files"][0] if what == "files" else one["log"])["path"] = path

    edit_record(change)(root)
    seal(root)
    status, lines = verified(root, "--against", str(captures / "session.toml"))
    assert status == 1
    tried = str(captures / path).replace("\0", "\\x00")
    assert any(line.startswith(f"{tried}: ") and expected in line for line in lines), lines


def test_a_changed_log_is_told(session: Path, tmp_path: Path) -> None:
    """A log that is not the one the set was built from is named with its path; so is one that is gone."""
    captures = shutil.copytree(session, tmp_path / "session", ignore=shutil.ignore_patterns("set"))
    log = captures / "captures/A2/timecode.mid"
    with log.open("ab") as file:
        file.write(b"\0")
    result = verify_set(session / "set", against=captures / "session.toml")
    said = [f"{problem.path}: {problem.text}" for problem in result.problems]
    assert said == [f"{log}: is not the log that A2 was built from: its SHA-256 differs"]
    assert log.exists()
    assert result.proved_samples == 0


def test_what_verify_would_refuse_is_not_published(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A build whose set contradicts itself publishes nothing and says that it is its own fault."""
    monkeypatch.setattr(building, "joins_csv", lambda _: b"track\r\n")
    target = tmp_path / "set"
    assert run(["build", str(session / "session.toml"), "-o", str(target)]) == 2
    (line,) = [line for line in capsys.readouterr().err.splitlines() if line.startswith("assembler: ")]
    assert "verify would refuse the set: data/joins.csv: line 1 is" in line
    assert "please report it" in line
    assert list(tmp_path.iterdir()) == []


def test_samples_other_than_recorded_are_not_published(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What counts are the samples as they are decoded from the disk, not those that were meant to be there."""

    def hashed(
        files: StagedFiles, relative: str, algorithms: Iterable[str], *more: Callable[[int, bytes], None]
    ) -> Mapping[str, str]:
        """Let the disk lose a bit of a track before it is read back."""
        if relative == ONE:
            flip(files.folder / relative, 90_001)
        return hash_back(files, relative, algorithms, *more)

    hash_back = StagedFiles.hash_back
    monkeypatch.setattr(StagedFiles, "hash_back", hashed)
    assert run(["build", str(session / "session.toml"), "-o", str(tmp_path / "set")]) == 2
    assert f"{ONE}: data chunk: samples are not those of audio_sha256" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"a": 1, "a": 2}', "has the key 'a' twice"),
        (b"[" * 33 + b"]" * 33, "is nested 33 levels deep"),
        (b"[NaN]", "holds NaN"),
        (b"[-Infinity]", "holds -Infinity"),
        (b"[1" + b"0" * 40 + b"]", "more than 40 digits"),
        (b'["\xff"]', "is not UTF-8 at byte 2"),
        (b"[1,2,3,4]", "has 4 values, at most 3"),
        (b"[1", "Expecting"),
    ],
)
def test_json_that_readers_differ_on_is_refused(data: bytes, said: str) -> None:
    """RFC 8259 section 4 leaves twice the same key to each reader, section 6 knows no NaN: neither is taken."""
    with pytest.raises(ValueError, match=said):
        check_json(data, 3 if b"4" in data else 100)


def test_brackets_in_texts_are_no_levels() -> None:
    """Only what stands outside of strings counts."""
    check_json(json.dumps({'a"\\': "[" * 5000 + '"{' * 5000, "b": ["\\", "["]}).encode(), 5)
