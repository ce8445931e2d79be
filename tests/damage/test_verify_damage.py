"""What ``verify`` tells of damaged, edited and exchanged sets: one class of damage a row.

A set is built once; each test damages a copy. ``sealed`` rows get new manifests after the damage, as a program gives
them that is not honest or not careful: then fixity has nothing to say, and what the files say of each other has to.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set, verify_set
from assembler.consolidator.bag import payload_oxum, tag_files
from assembler.wave import WaveFile, pack_samples
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

ONE, TWO = "data/tracks/01_One.wav", "data/tracks/02_Two.wav"
RECORD = "data/assembly.json"


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a session with its set: a cure, an uncured place, a fade from one reel to another."""
    folder = tmp_path_factory.mktemp("session")
    tape, other = make_tape(3, 2, seed=5), make_tape(2, 1, seed=6)
    first = tape.copy()
    first[30_000:31_000, 1] = 0
    tape[60_000:61_000, 1] = first[60_000:61_000, 1] = 0
    layout = Layout(folder)
    layout.session.update(
        originator="Millbrook Sound Archive", reference="MSA-1995-017", description="Set two"
    )
    layout.add_reel("A", ["One", "Two"])
    layout.add_reel("B", ["One"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", tape[12_000:90_000], HOUR + 12_000)
    layout.add_pass("B1", "B", other, "01:00:02:15")
    build_set(layout.write(), folder / "set")
    return folder


@pytest.fixture
def damaged(session: Path, tmp_path: Path) -> Path:
    """Return a copy of the set, to damage."""
    return shutil.copytree(session / "set", tmp_path / "set")


def seal(root: Path) -> None:
    """Give a set new manifests and a new Payload-Oxum."""
    payload = sorted(path for path in (root / "data").rglob("*") if path.is_file())
    names = {path.relative_to(root).as_posix(): path.read_bytes() for path in payload}
    digests = {"sha256": {name: hashlib.sha256(data).hexdigest() for name, data in names.items()}}
    oxum = [("Payload-Oxum", payload_oxum(map(len, names.values())))]
    for name, data in tag_files(digests, oxum).items():
        (root / name).write_bytes(data)


def told(root: Path, against: Path | None = None) -> list[str]:
    """Return what verifying tells; no line is two."""
    result = verify_set(root, against=against)
    lines = [f"{problem.path}: {problem.text}" for problem in result.problems]
    assert all("\n" not in line for line in lines)
    return lines


def chunk_start(path: Path, name: str, list_type: str = "") -> int:
    """Return the first byte of a chunk's payload."""
    with WaveFile(path) as file:
        chunks = [chunk for chunk in file.info.chunk_map.chunks if chunk.name == name]
    data = path.read_bytes()
    return next(c.start for c in chunks if data[c.start : c.start + len(list_type)] == list_type.encode())


def flip(path: Path, place: int) -> None:
    """Flip the lowest bit of a byte."""
    with path.open("r+b") as file:
        file.seek(place)
        byte = file.read(1)[0]
        file.seek(place)
        file.write(bytes([byte ^ 1]))


def flip_in(name: str, offset: int, list_type: str = "") -> Callable[[Path], None]:
    """Return a damage: one bit of a chunk of track Two flipped."""
    return lambda root: flip(root / TWO, chunk_start(root / TWO, name, list_type) + offset)


def replace(path: str, old: bytes, new: bytes) -> Callable[[Path], None]:
    """Return a damage: the first ``old`` of a file is made ``new``."""

    def damage(root: Path) -> None:
        data = (root / path).read_bytes()
        assert old in data
        (root / path).write_bytes(data.replace(old, new, 1))

    return damage


def edit_json(path: str, change: Callable[[Any], object]) -> Callable[[Path], None]:
    """Return a damage: a JSON file with something changed in it."""

    def damage(root: Path) -> None:
        held = json.loads((root / path).read_text())
        change(held)
        (root / path).write_text(json.dumps(held))

    return damage


def edit_record(change: Callable[[Any], object]) -> Callable[[Path], None]:
    """Return a damage: ``assembly.json`` with something changed in it."""
    return edit_json(RECORD, change)


def shift_clip(timeline: Any) -> None:  # noqa: ANN401
    """Let the second clip of track Two begin one sample on."""
    timeline["tracks"]["children"][1]["children"][1]["source_range"]["start_time"]["value"] += 1


def cut(path: str, count: int) -> Callable[[Path], None]:
    """Return a damage: the last ``count`` bytes of a file are gone."""

    def damage(root: Path) -> None:
        data = (root / path).read_bytes()
        (root / path).write_bytes(data[:-count])

    return damage


def exchange_tracks(root: Path) -> None:
    """Let two tracks change their names."""
    (root / ONE).rename(root / "data" / "kept")
    (root / TWO).rename(root / ONE)
    (root / "data" / "kept").rename(root / TWO)


def drop_marker(root: Path) -> None:
    """Take the last point out of the cue chunk of track Two, the chunk's size unchanged."""
    start = chunk_start(root / TWO, "cue ")
    with (root / TWO).open("r+b") as file:
        file.seek(start)
        count = int.from_bytes(file.read(4), "little")
        file.seek(start)
        file.write((count - 1).to_bytes(4, "little"))


def set_sample(number: int, value: int) -> Callable[[Path], None]:
    """Return a damage: a sample of track Two set, and the record's digest of its samples made to fit."""

    def damage(root: Path) -> None:
        rewrite_samples(root, TWO, 1, number, np.array([value]))

    return damage


def rewrite_samples(root: Path, name: str, track: int, at: int, values: Any) -> None:  # noqa: ANN401
    """Write other samples into a track and their digest into the record."""
    with WaveFile(root / name) as file:
        samples, start = file.read(0, file.info.frames), file.info.data_start
    samples[at : at + len(values), 0] = values
    packed = pack_samples(samples, 16)
    with (root / name).open("r+b") as stream:
        stream.seek(start)
        stream.write(packed)
    edit_record(lambda r: r["tracks"][track].update(audio_sha256=hashlib.sha256(packed).hexdigest()))(root)


FIXITY_ROWS = {
    "a bit of the samples": (flip_in("data", 50_001), f"{TWO}: is changed"),
    "a bit of bext": (flip_in("bext", 3), f"{TWO}: is changed"),
    "a bit of iXML": (flip_in("iXML", 80), f"{TWO}: is changed"),
    "a bit of a marker": (flip_in("cue ", 24), f"{TWO}: is changed"),
    "a track cut": (cut(TWO, 1000), f"{TWO}: the data chunk says"),
    "a track missing": (lambda root: (root / TWO).unlink(), f"{TWO}: is missing"),
    "a paper missing": (lambda root: (root / "data/joins.csv").unlink(), "data/joins.csv: is missing"),
    "the record missing": (lambda root: (root / RECORD).unlink(), f"{RECORD}: is missing"),
    "a file too many": (lambda root: (root / "data/x.txt").write_text("x"), "data/x.txt: is extra"),
    "a track renamed": (
        lambda root: (root / TWO).rename(root / "data/tracks/3.wav"),
        f"data/tracks/3.wav: is renamed from {TWO}",
    ),
    "tracks exchanged": (exchange_tracks, f"{ONE}: is changed"),
    "the record edited": (edit_record(lambda r: r["notes"].clear()), f"{RECORD}: is changed"),
    "the record cut": (cut(RECORD, 40), f"{RECORD}: is no record of a set"),
    "joins.csv edited": (replace("data/joins.csv", b"One", b"Own"), "data/joins.csv: is changed"),
    "the sheet edited": (replace("data/session.toml", b"Small", b"Tiny"), "data/session.toml: is changed"),
    "the timeline edited": (replace("data/timeline.otio", b"A1", b"A2"), "data/timeline.otio: is changed"),
    "the page edited": (replace("data/report.html", b"Small", b"Tiny"), "data/report.html: is changed"),
    "a manifest edited": (
        replace("manifest-sha256.txt", b"joins.csv", b"joint.csv"),
        "manifest-sha256.txt: is changed",
    ),
    "bag-info edited": (replace("bag-info.txt", b"Millbrook", b"Millbruck"), "bag-info.txt: is changed"),
}


@pytest.mark.parametrize("row", FIXITY_ROWS)
def test_damage_is_told(damaged: Path, row: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever happens to a file is told with its name, and the status is 1."""
    damage, expected = FIXITY_ROWS[row]
    damage(damaged)
    lines = told(damaged)
    assert any(expected in line for line in lines), lines
    assert run(["verify", str(damaged)]) == 1
    printed = capsys.readouterr()
    assert all(line in printed.out + printed.err for line in lines)


SEALED_ROWS = {
    "a bit of the samples": (
        flip_in("data", 50_001),
        f"{TWO}: data chunk: samples are not those of audio_sha256",
    ),
    "a bit of the description": (flip_in("bext", 3), f"{TWO}: bext description is"),
    "a bit of the originator": (flip_in("bext", 257), f"{TWO}: bext originator is"),
    "a bit of the reference": (flip_in("bext", 289), f"{TWO}: bext originator_reference is"),
    "a date": (flip_in("bext", 320), f"{TWO}: bext origination_date is"),
    "a bit of the time reference": (flip_in("bext", 338), f"{TWO}: bext time_reference is"),
    "the version": (flip_in("bext", 346), f"{TWO}: bext version is"),
    "a bit of the UMID": (flip_in("bext", 370), f"{TWO}: bext umid is"),
    "a bit of the loudness": (flip_in("bext", 412), f"{TWO}: bext loudness integrated is"),
    "a bit of the true peak": (flip_in("bext", 416), f"{TWO}: bext loudness max_true_peak is"),
    "a reserved byte": (flip_in("bext", 500), f"{TWO}: bext chunk: byte 500 is not as it was written"),
    "a bit of the coding history": (flip_in("bext", 640), f"{TWO}: bext coding_history is"),
    "iXML project": (replace(TWO, b"<PROJECT>S", b"<PROJECT>T"), f"{TWO}: iXML project is"),
    "iXML tape": (replace(TWO, b"<TAPE>A", b"<TAPE>B"), f"{TWO}: iXML tape is"),
    "iXML track name": (replace(TWO, b"<NAME>Two", b"<NAME>Too"), f"{TWO}: iXML track_name is"),
    "iXML track number": (replace(TWO, b"INDEX>2<", b"INDEX>3<"), f"{TWO}: iXML channel_index is"),
    "iXML rate": (
        replace(TWO, b"_RATE>30/1<", b"_RATE>25/1<"),
        f"{TWO}: iXML frame_rate is 25, assembly.json says 30",
    ),
    "iXML flag": (replace(TWO, b">NDF<", b">NDX<"), f"{TWO}: iXML TIMECODE_FLAG"),
    "iXML time stamp": (replace(TWO, b"LO>172800000", b"LO>172800001"), f"{TWO}: iXML start_sample is"),
    "iXML word length": (replace(TWO, b"DEPTH>16", b"DEPTH>24"), f"{TWO}: iXML bit_depth is"),
    "iXML note": (replace(TWO, b"length 16 bits", b"length 20 bits"), f"{TWO}: iXML note is"),
    "a place of a marker": (flip_in("cue ", 24), f"{TWO}: place of marker 1 is"),
    "a name of a marker": (replace(TWO, b"Join A1", b"Join B1"), f"{TWO}: text of marker 1 is"),
    "a marker gone": (drop_marker, f"{TWO}: marker 4 at sample 144000 (Join A1 to silence) is missing"),
    "INFO": (flip_in("LIST", 12, "INFO"), f"{TWO}: INFO IARL is"),
    "a sample rate": (flip_in("fmt ", 4), f"{TWO}: sample rate is 48001"),
    "a track cut": (cut(TWO, 1000), f"{TWO}: the data chunk says"),
    "a track missing": (lambda root: (root / TWO).unlink(), f"{TWO}: cannot be opened: No such file"),
    "tracks exchanged": (exchange_tracks, f"{ONE}: iXML track_name is 'Two', assembly.json says 'One'"),
    "a track too many": (
        lambda root: shutil.copy(root / TWO, root / "data/tracks/03_Three.wav"),
        "data/tracks/03_Three.wav: is not a track of assembly.json",
    ),
    "a paper missing": (
        lambda root: (root / "data/report.html").unlink(),
        "data/report.html: cannot be read",
    ),
    "the record's title": (
        edit_record(lambda r: r["session"].update(title="Other")),
        "data/session.toml: session.title is 'Small session', assembly.json says 'Other'",
    ),
    "the record's start": (
        edit_record(lambda r: r["start"].update(sample=172_800_000 + 1600)),
        f"{RECORD}: start.timecode is 01:00:00:00",
    ),
    "the record's length": (edit_record(lambda r: r.update(length=5)), f"{RECORD}: track One: spans end"),
    "the record's pass": (
        edit_record(lambda r: r["tracks"][1]["spans"][0].update({"pass": "B1"})),
        f"{RECORD}: track Two: the span at sample 0 names B1",
    ),
    "the record's file": (
        edit_record(lambda r: r["tracks"][1].update(file="tracks/../../../x.wav")),
        f"{RECORD}: is no record of a set: tracks.1.file",
    ),
    "the record's fade": (
        edit_record(lambda r: r["tracks"][0]["joins"][0].update(fade=10**12)),
        f"{RECORD}: track One: the join at sample",
    ),
    "the record's levels": (
        edit_record(lambda r: r["tracks"][1]["levels"].update(integrated_lufs=-3.0)),
        f"{TWO}: bext loudness integrated is",
    ),
    "the record's transfer notes": (
        edit_record(lambda r: r["reels"][0].update(prepared={"baked_c": 54})),
        f"{TWO}: bext coding_history is",
    ),
    "the record's uncured places": (
        edit_record(lambda r: r["uncured"].clear()),
        f"{TWO}: place of marker 3 is 60000, assembly.json says 144000",
    ),
    "joins.csv": (replace("data/joins.csv", b"identical", b"cut"), "data/joins.csv: line 3 is"),
    "joins.csv, a line gone": (cut("data/joins.csv", 60), "data/joins.csv: line 4 is"),
    "the timeline's range": (
        edit_json("data/timeline.otio", shift_clip),
        "data/timeline.otio: track Two: item 2 is not",
    ),
    "the timeline's file": (
        replace("data/timeline.otio", b"captures/A2/02.wav", b"captures/A1/02.wav"),
        "data/timeline.otio: track Two: item 2 is not",
    ),
    "the timeline's marker": (
        replace("data/timeline.otio", b"uncured mute", b"uncured hold"),
        "data/timeline.otio: track Two: marker 4 is not",
    ),
    "no timeline": (
        lambda root: (root / "data/timeline.otio").write_text("{}"),
        "data/timeline.otio: is no timeline of a set",
    ),
    "the sheet": (
        replace("data/session.toml", b'"Two"', b'"Too"'),
        "data/session.toml: reels and their tracks",
    ),
    "no sheet": (
        replace("data/session.toml", b"[session]", b"[session"),
        "data/session.toml: cannot be read as",
    ),
}


@pytest.mark.parametrize("row", SEALED_ROWS)
def test_sealed_damage_is_told(damaged: Path, row: str) -> None:
    """With manifests made anew, what files say of each other still gives the damage away, with its place."""
    damage, expected = SEALED_ROWS[row]
    damage(damaged)
    seal(damaged)
    lines = told(damaged)
    assert any(line.startswith(expected) for line in lines), lines


def shift_span(record: Any) -> None:  # noqa: ANN401
    """Let the middle span of track Two name a place one sample on."""
    record["tracks"][1]["spans"][1]["pass_start"] += 1


def fade_of(root: Path) -> tuple[int, int]:
    """Return the first sample and the length of the fade on track One."""
    record = json.loads((root / RECORD).read_text())
    (join,) = (join for join in record["tracks"][0]["joins"] if join["fade"])
    return join["at"] - join["fade"] // 2, join["fade"]


def recompute_fade(root: Path) -> None:
    """Write into the fade of track One what a straight line between its ends gives."""
    low, length = fade_of(root)
    rewrite_samples(root, ONE, 0, low, np.linspace(0, 300, length).astype(np.int32))


def forge_papers(root: Path) -> None:
    """Shift a span, and make the timeline agree with it."""
    from assembler.record.recorded.reading import read_record  # noqa: PLC0415
    from assembler.record.timeline.otio import timeline_otio  # noqa: PLC0415
    from assembler.record.timeline.timeline import timeline_of  # noqa: PLC0415

    edit_record(shift_span)(root)
    record = read_record((root / RECORD).read_bytes())
    (root / "data/timeline.otio").write_bytes(timeline_otio(timeline_of(record)))


AGAINST_ROWS = {
    "a wrong span": (forge_papers, f"{TWO}: sample ", "is not sample"),
    "a wrong sample": (
        set_sample(100, 12_345),
        f"{TWO}: sample 100 (01:00:00:00) is not sample 100 of A1",
        "",
    ),
    "a fade recomputed": (recompute_fade, f"{ONE}: sample ", "is not what the fade of the join at sample"),
    "levels": (
        edit_record(lambda r: r["tracks"][1]["levels"].update(rms_dbfs=-3.0)),
        f"{RECORD}: track Two: levels.rms_dbfs is -3.0, measured again it is",
        "",
    ),
    "polarity": (
        edit_record(lambda r: r["passes"][0].update(polarity=[1, -1])),
        f"{TWO}: sample 0 (01:00:00:00) is not sample 0 of A1",
        "",
    ),
    "channels": (
        edit_record(lambda r: r["passes"][0].update(channels=[[0, 0], [1, 3]])),
        f"{RECORD}: pass A1: channels name one",
        "",
    ),
    "a path that leaves the folder": (
        edit_record(lambda r: r["passes"][0]["files"][0].update(path="../../../etc/hostname")),
        "/",
        "/../../../etc/hostname: the capture that A1 was built from lies outside the sheet's folder",
    ),
}


@pytest.mark.parametrize("row", AGAINST_ROWS)
def test_sealed_damage_is_told_by_the_captures(damaged: Path, session: Path, row: str) -> None:
    """A set whose files all agree is still not the captures': the first sample that differs is named."""
    damage, start, middle = AGAINST_ROWS[row]
    damage(damaged)
    seal(damaged)
    lines = told(damaged, against=session / "session.toml")
    assert any(line.startswith(start) and middle in line for line in lines), lines


def test_forged_papers_pass_without_the_captures(damaged: Path) -> None:
    """A forged span with every paper made to fit is beyond what a set alone can show: the captures are needed."""
    forge_papers(damaged)
    seal(damaged)
    assert told(damaged) == []


def test_another_versions_words_are_no_damage(damaged: Path) -> None:
    """Texts that a program puts together may read otherwise in another version; what the record gives may not."""
    edit_record(lambda r: r.update(program="capture-assembler 0.0.9"))(damaged)
    seal(damaged)
    assert told(damaged) == []
    flip_in("bext", 338)(damaged)
    seal(damaged)
    (line,) = told(damaged)
    assert line.startswith(f"{TWO}: bext time_reference is")


def test_a_longer_word_than_the_sheets_is_told(damaged: Path) -> None:
    """A reel's word length in the record may be measured, but is never more than the sheet says."""
    edit_record(lambda record: record["reels"][0].update(bit_depth=24))(damaged)
    seal(damaged)
    assert any("bit_depth of reel A is 16, assembly.json says 24" in line for line in told(damaged))


def test_bits_below_the_tapes_own_are_told(tmp_path: Path) -> None:
    """A 20-bit tape stands in 24 bits with the four lowest zero: a sample that uses them is named."""
    layout = Layout(tmp_path, bits=20)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1, bits=20), "01:00:00:00")
    root = tmp_path / "set"
    build_set(layout.write(), root)
    assert told(root) == []
    flip(root / ONE, chunk_start(root / ONE, "data") + 3 * 700)
    seal(root)
    assert f"{ONE}: sample 700 uses bits below the 20 of the tape" in told(root)


@pytest.fixture
def captures(session: Path, tmp_path: Path) -> Path:
    """Return a copy of the session without its set."""
    return shutil.copytree(session, tmp_path / "session", ignore=shutil.ignore_patterns("set"))


def test_a_changed_capture_is_told(session: Path, captures: Path) -> None:
    """A capture that has changed by one bit since is named; nothing is said of the tracks."""
    path = captures / "captures" / "A2" / "02.wav"
    flip(path, path.stat().st_size - 20)
    lines = told(session / "set", against=captures / "session.toml")
    assert lines == [f"{path}: is not the capture that A2 was built from: its SHA-256 differs"]


def test_a_missing_capture_is_told(session: Path, captures: Path) -> None:
    """A capture that is not there any more is named."""
    path = captures / "captures" / "B1" / "01.wav"
    path.unlink()
    lines = told(session / "set", against=captures / "session.toml")
    assert lines == [f"{path}: cannot be opened: No such file or directory"]


def test_another_sheet_is_told(session: Path, captures: Path) -> None:
    """A sheet that is not the one the set was built from is told, and the captures are compared all the same."""
    with (captures / "session.toml").open("a") as file:
        file.write("# later\n")
    lines = told(session / "set", against=captures / "session.toml")
    assert lines == [f"data/session.toml: is not the sheet {captures / 'session.toml'}"]


def test_a_set_is_verified_where_nothing_can_be_written(damaged: Path, session: Path) -> None:
    """A read-only copy in another place is sound, and stays as it is to the last time stamp."""
    for path in (damaged, *damaged.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = {path: path.stat().st_mtime_ns for path in damaged.rglob("*")}
    try:
        result = verify_set(damaged, against=session / "session.toml")
        assert result.problems == ()
        assert result.proved_samples == 2 * json.loads((damaged / RECORD).read_text())["length"]
        assert {path: path.stat().st_mtime_ns for path in damaged.rglob("*")} == before
    finally:
        for path in (damaged, *damaged.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
