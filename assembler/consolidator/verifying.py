"""Checking a set: that it is whole, that its files say what the record says, and that every sample is proved.

The bag's fixity is checked with a reader of our own; the samples are decoded a second time by libsndfile,
so that what is promised does not rest on the code that wrote it. With a sheet, every delivered sample is computed
again from the captures.
"""

from __future__ import annotations

import hashlib
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assembler.aligner import DeliveredTrack, Join, Span, TrackEdit
from assembler.consolidator.bag import check_bag
from assembler.consolidator.captures import sha256_of
from assembler.consolidator.reading import RecordedPass, RecordedSet, RecordedTrack, read_record
from assembler.consolidator.rendering import TrackRenderer, sample_format
from assembler.errors import AssemblerError, CaptureError, WaveError
from assembler.importer import PassAudio
from assembler.sheet import load_sheet
from assembler.timecode import format_sample, frame_rate
from assembler.wave import WaveFile, decode_ixml, pack_samples

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.sheet import Sheet

    Progress = Callable[[str, float], None]

BLOCK = 1 << 18


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a set: the file, and what is wrong, with its place."""

    path: str
    text: str


@dataclass(frozen=True)
class VerifyResult:
    """What verifying has shown.

    Args:
        problems: in the order found; none for a sound set.
        files: payload files.
        bytes: their size.
        tracks: delivered tracks looked at.
        proved_samples: samples computed again from the captures and found the same; 0 without a sheet.
    """

    problems: tuple[Problem, ...]
    files: int
    bytes: int
    tracks: int
    proved_samples: int = 0

    @property
    def is_sound(self) -> bool:
        """Whether nothing was wrong."""
        return not self.problems


@dataclass
class _Work:
    problems: list[Problem] = field(default_factory=list)
    proved: int = 0

    def tell(self, path: str, text: str) -> None:
        self.problems.append(Problem(path, text))


def verify_set(
    root: Path,
    *,
    against: Path | None = None,
    allow_outside: bool = False,
    progress: Progress = lambda *_: None,
) -> VerifyResult:
    """Check a set, and with a sheet prove it.

    Args:
        root: the set's folder; it may be read-only, and may have been copied.
        against: the session sheet beside the captures that the set was built from.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.

    Raises:
        CaptureError: ``root`` is no folder.
        SheetError: the sheet cannot be used.
    """
    if not root.is_dir():
        raise CaptureError("is not a folder; a set is the folder that build made", path=root)
    sheet = None if against is None else load_sheet(against, allow_outside=allow_outside)
    work = _Work()
    size = sum(path.stat().st_size for path in root.rglob("*") if path.is_file()) or 1
    report = check_bag(root, lambda done: progress("checking fixity", min(1.0, done / size)))
    for problem in report.problems:
        work.tell(problem.path, problem.text)
    record = _recorded(root, work)
    if record is None:
        return VerifyResult(tuple(work.problems), report.files, report.bytes, 0)
    for count, track in enumerate(record.tracks):
        _check_track(root, record, track, work)
        progress("reading tracks", (count + 1) / len(record.tracks))
    _check_folder(root, record, work)
    if sheet is not None:
        _prove(root, record, sheet, work, progress)
    return VerifyResult(tuple(work.problems), report.files, report.bytes, len(record.tracks), work.proved)


def _recorded(root: Path, work: _Work) -> RecordedSet | None:
    path = root / "data" / "assembly.json"
    try:
        return read_record(path.read_bytes())
    except OSError as error:
        work.tell("data/assembly.json", f"cannot be read: {error.strerror}")
    except ValueError as error:
        work.tell("data/assembly.json", str(error))
    return None


def _check_folder(root: Path, record: RecordedSet, work: _Work) -> None:
    listed = {f"data/{track.file}" for track in record.tracks}
    for path in sorted((root / "data" / "tracks").glob("*")):
        name = path.relative_to(root).as_posix()
        if name not in listed:
            work.tell(name, "is not a track of assembly.json")


def _check_track(root: Path, record: RecordedSet, track: RecordedTrack, work: _Work) -> None:
    name = f"data/{track.file}"
    try:
        with WaveFile(root / name) as file:
            for text in _header_faults(record, track, file):
                work.tell(name, text)
    except WaveError as error:
        work.tell(name, error.problem)
        return
    try:
        digest = _second_reading(root / name, record.session.word_length)
    except (soundfile.LibsndfileError, RuntimeError) as error:
        work.tell(name, f"libsndfile cannot read it: {error}")
        return
    if digest != track.audio_sha256:
        work.tell(name, "samples are not those of audio_sha256 in assembly.json")


def _header_faults(record: RecordedSet, track: RecordedTrack, file: WaveFile) -> list[str]:
    """Return what the file's own metadata says otherwise than the record."""
    pcm, session = file.info.format, record.session
    rate = frame_rate(session.frame_rate)
    day = round(rate.frames_per_day * session.sample_rate / rate.exact)
    expected: list[tuple[str, object, object]] = [
        ("length in samples", file.info.frames, record.length),
        ("sample rate", pcm.sample_rate, session.sample_rate),
        ("word length", pcm.container_bits, session.word_length),
        ("channels", pcm.channels, 1),
    ]
    if file.info.bext is None:
        return ["has no bext chunk"]
    expected.append(("bext time reference", file.info.bext.time_reference, record.start.sample % day))
    expected.append(("bext version", file.info.bext.version, 2))
    payload = file.read_chunk("iXML")
    if payload is None:
        return ["has no iXML chunk"]
    ixml = decode_ixml(payload)
    expected += [
        ("iXML track name", ixml.track_name, track.name),
        ("iXML project", ixml.project, session.title),
        ("iXML time stamp", ixml.start_sample, record.start.sample % day),
    ]
    found = [f"{what} is {seen}, assembly.json says {said}" for what, seen, said in expected if seen != said]
    return found + list(file.info.faults)


def _second_reading(path: Path, word_length: int) -> str:
    """Return the digest of a file's samples as libsndfile decodes them."""
    running = hashlib.sha256()
    with soundfile.SoundFile(str(path)) as file:
        for block in file.blocks(BLOCK, dtype="int32"):
            # libsndfile gives full-scale 32-bit numbers whatever the word length.
            samples = np.right_shift(block, 32 - word_length).astype(np.int32)
            running.update(pack_samples(samples.reshape(-1), word_length))
    return running.hexdigest()


def _prove(root: Path, record: RecordedSet, sheet: Sheet, work: _Work, progress: Progress) -> None:
    if (root / "data" / "session.toml").read_bytes() != sheet.text:
        work.tell("data/session.toml", f"is not the sheet {sheet.path}")
    with ExitStack() as opened:
        sources: dict[str, PassAudio] = {}
        for one in record.passes:
            audio = _open_pass(one, record, sheet, work, opened)
            if audio is not None:
                sources[one.name] = audio
        if len(sources) < len(record.passes):
            return
        for count, track in enumerate(record.tracks):
            _prove_track(root, record, track, sheet, sources, work)
            progress("proving tracks", (count + 1) / len(record.tracks))


def _open_pass(
    one: RecordedPass, record: RecordedSet, sheet: Sheet, work: _Work, opened: ExitStack
) -> PassAudio | None:
    files = []
    for file in one.files:
        path = sheet.folder / file.path
        try:
            digest = sha256_of(path)
            files.append(opened.enter_context(WaveFile(path)))
        except CaptureError as error:
            work.tell(file.path, error.problem)
            return None
        if digest != file.sha256:
            work.tell(file.path, f"is not the capture that {one.name} was built from: its SHA-256 differs")
            return None
    return PassAudio(files, one.channels, record.session.word_length, one.polarity)


def _prove_track(
    root: Path,
    record: RecordedSet,
    track: RecordedTrack,
    sheet: Sheet,
    sources: Mapping[str, PassAudio],
    work: _Work,
) -> None:
    name = f"data/{track.file}"
    renderer = _renderer(record, track, sheet, sources)
    try:
        with WaveFile(root / name) as file:
            for start in range(0, min(record.length, file.info.frames), BLOCK):
                end = min(record.length, file.info.frames, start + BLOCK)
                delivered = file.read(start, end - start)[:, 0]
                computed = renderer.block(start, end)
                wrong = np.flatnonzero(delivered != computed)
                if wrong.size:
                    work.tell(name, _mismatch(record, track, start + int(wrong[0])))
                    return
                work.proved += end - start
    except AssemblerError as error:
        work.tell(name, str(error))


def _renderer(
    record: RecordedSet, track: RecordedTrack, sheet: Sheet, sources: Mapping[str, PassAudio]
) -> TrackRenderer:
    places = {reel.name: reel.tracks.index(track.name) for reel in sheet.reels if track.name in reel.tracks}
    reels = {one.name: one.reel for one in record.passes}

    def read(pass_name: str, start: int, count: int) -> Int32s:
        return sources[pass_name].read(places[reels[pass_name]], start, count)

    edit = TrackEdit(
        DeliveredTrack(track.number, track.name, places),
        tuple(Span(s.start, s.end, s.pass_name, s.pass_start or 0) for s in track.spans),
        tuple(Join(j.at, j.fade, j.law, j.correlation, j.difference_peak) for j in track.joins),
    )
    return TrackRenderer(edit, read, sample_format(record.session.word_length, record.session.bit_depth))


def _mismatch(record: RecordedSet, track: RecordedTrack, at: int) -> str:
    session = record.session
    label = format_sample(record.start.sample + at, frame_rate(session.frame_rate), session.sample_rate)
    span = next(s for s in track.spans if s.start <= at < s.end)
    if span.pass_name is None:
        return f"sample {at} ({label}) is not silent, but no pass covers it"
    origin = (span.pass_start or 0) + at - span.start
    return (
        f"sample {at} ({label}) is not sample {origin} of {span.pass_name}, which assembly.json names for it"
    )
