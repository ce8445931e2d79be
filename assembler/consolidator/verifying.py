"""Checking a set: that it is whole, that its files say what the record says, and that every sample is proved.

The bag's fixity is checked with a reader of our own; the samples are decoded a second time by libsndfile,
so that what is promised does not rest on the code that wrote it. With a sheet, every delivered sample is computed
again from the captures.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assembler.consolidator.agreeing import (
    header_faults,
    joins_faults,
    record_faults,
    sheet_faults,
    timeline_faults,
)
from assembler.consolidator.bag import check_bag
from assembler.consolidator.proving import prove_set
from assembler.consolidator.reading import RecordedSet, RecordedTrack, read_record
from assembler.consolidator.rendering import sample_format
from assembler.errors import CaptureError, WaveError
from assembler.sheet import load_sheet
from assembler.wave import WaveFile, pack_samples

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    Progress = Callable[[str, float], None]

RECORD = "data/assembly.json"
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

    def tell_all(self, path: str, texts: Iterable[str]) -> None:
        self.problems += [Problem(path, text) for text in texts]


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
    _check_papers(root, record, work)
    for count, track in enumerate(record.tracks):
        _check_track(root, record, track, work)
        progress("reading tracks", (count + 1) / len(record.tracks))
    _check_folder(root, record, work)
    if sheet is not None:
        if _read(root, "data/session.toml", _Work()) != sheet.text:
            work.tell("data/session.toml", f"is not the sheet {sheet.path}")
        work.proved = prove_set(
            root, record, sheet, work.tell, lambda share: progress("proving tracks", share)
        )
    return VerifyResult(tuple(work.problems), report.files, report.bytes, len(record.tracks), work.proved)


def _read(root: Path, name: str, work: _Work) -> bytes | None:
    """Return one of the set's papers; None after telling why it cannot be read."""
    try:
        return (root / name).read_bytes()
    except OSError as error:
        work.tell(name, f"cannot be read: {error.strerror}")
        return None


def _recorded(root: Path, work: _Work) -> RecordedSet | None:
    data = _read(root, RECORD, work)
    try:
        return None if data is None else read_record(data)
    except ValueError as error:
        work.tell(RECORD, str(error))
        return None


def _check_papers(root: Path, record: RecordedSet, work: _Work) -> None:
    work.tell_all(RECORD, record_faults(record))
    checks = (
        ("data/session.toml", lambda data: sheet_faults(record, data, root)),
        ("data/joins.csv", lambda data: joins_faults(record, data)),
        ("data/timeline.otio", lambda data: timeline_faults(record, data)),
        # What the page says is the record in other words; it has to be there.
        ("data/report.html", lambda _: ()),
    )
    for name, check in checks:
        data = _read(root, name, work)
        if data is not None:
            work.tell_all(name, check(data))


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
            work.tell_all(name, header_faults(record, track, file))
    except WaveError as error:
        work.tell(name, error.problem)
        return
    try:
        _check_samples(root / name, record, track, work)
    except (soundfile.LibsndfileError, RuntimeError) as error:
        work.tell(name, f"libsndfile cannot read it: {error}")


def _check_samples(path: Path, record: RecordedSet, track: RecordedTrack, work: _Work) -> None:
    """Tell if the samples, as libsndfile decodes them, are not those of the record."""
    running = hashlib.sha256()
    word_length = record.session.word_length
    # Bits below the tape's own that a delivered sample never has.
    spare = sample_format(word_length, record.session.bit_depth).step - 1
    first_spare: int | None = None
    done = 0
    with soundfile.SoundFile(str(path)) as file:
        for block in file.blocks(BLOCK, dtype="int32"):
            # libsndfile gives full-scale 32-bit numbers whatever the word length.
            samples = np.right_shift(block, 32 - word_length).astype(np.int32).reshape(-1)
            if spare and first_spare is None and np.bitwise_and(samples, spare).any():
                first_spare = done + int(np.flatnonzero(np.bitwise_and(samples, spare))[0])
            running.update(pack_samples(samples, word_length))
            done += samples.size
    name = f"data/{track.file}"
    if running.hexdigest() != track.audio_sha256:
        work.tell(name, "data chunk: samples are not those of audio_sha256 in assembly.json")
    if first_spare is not None:
        work.tell(name, f"sample {first_spare} uses bits below the {record.session.bit_depth} of the tape")
