"""Checking a set: that it is whole, that its files say what the record says, and that every sample is proved.

The bag's fixity is checked with a reader of our own; the samples are decoded a second time by libsndfile,
so that what is promised does not rest on the code that wrote it. With a sheet, every delivered sample is computed
again from the captures.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.consolidator.bag import check_bag
from assembler.consolidator.bag.folder import SetFolder
from assembler.consolidator.proof.examining import largest_track, track_faults, track_name
from assembler.consolidator.proof.proving import prove_set
from assembler.errors import CaptureError
from assembler.record.faults import joins_faults, record_faults, sheet_faults, timeline_faults
from assembler.record.joins import joins_csv
from assembler.record.recorded.reading import LARGEST_RECORD, read_record
from assembler.sheet import LARGEST_SHEET, load_sheet
from assembler.sheet.near import near_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from assembler.consolidator.tracks.returned import ReadBack
    from assembler.inputs import AnyPath
    from assembler.record.recorded.whole import RecordedSet

    Progress = Callable[[str, float], None]

RECORD = "data/assembly.json"
LARGEST_PAGE = 256 << 20
PAPER_ROOM = 1 << 20
"""Bytes that a paper which follows from the record may have besides."""
ITEM_BYTES = 8192
"""A clip of a timeline file has some 900, more where names are long."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a set: the file, and what is wrong, with its place.

    The path is one inside the set; that of a capture or log is whole, from the root.
    """

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
        for text in texts:
            self.tell(path, text)


def verify_set(
    root: AnyPath,
    *,
    against: AnyPath | None = None,
    allow_outside: bool = False,
    progress: Progress = lambda *_: None,
    read_back: Mapping[str, ReadBack] | None = None,
) -> VerifyResult:
    """Check a set, and with a sheet prove it.

    Args:
        root: the set's folder; it may be read-only, and may have been copied.
        against: the session sheet beside the captures that the set was built from.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        read_back: payload files that were just read, by path inside the set; they are not read again.

    Raises:
        CaptureError: ``root`` is no folder.
        SheetError: the sheet cannot be used.
    """
    root = Path(root)
    if not root.is_dir():
        words = f"is not a folder; a set is the folder that build made{near_words(root.parent, root.name)}"
        raise CaptureError(words, path=root)
    sheet = None if against is None else load_sheet(against, allow_outside=allow_outside)
    known = read_back or {}
    folder, work, record_work = SetFolder(root), _Work(), _Work()
    record = _recorded(folder, record_work)
    size = sum(folder.sizes.values()) or 1
    report = check_bag(
        folder,
        lambda done: progress("checking fixity", min(1.0, done / size)),
        largest=_largest(record),
        known={path: one.digests for path, one in known.items()},
    )
    for problem in report.problems:
        work.tell(problem.path, problem.text)
    work.problems += record_work.problems
    if record is None:
        return VerifyResult(tuple(work.problems), report.files, report.bytes, 0)
    _check_papers(folder, record, work)
    for count, track in enumerate(record.tracks):
        name = track_name(track)
        heard = known[name].heard if name in known else None
        work.tell_all(name, track_faults(folder, record, track, heard))
        progress("reading tracks", (count + 1) / len(record.tracks))
    _check_tracks_folder(folder, record, work)
    if sheet is not None:
        if _read(folder, "data/session.toml", LARGEST_SHEET, _Work()) != sheet.text:
            work.tell("data/session.toml", f"is not the sheet {sheet.path}")
        work.proved = prove_set(
            folder, record, sheet, work.tell, lambda share: progress("proving tracks", share)
        )
    return VerifyResult(tuple(work.problems), report.files, report.bytes, len(record.tracks), work.proved)


def _read(folder: SetFolder, name: str, most: int, work: _Work) -> bytes | None:
    """Return one of the set's papers; None after telling why it cannot be read."""
    try:
        return folder.read(name, most)
    except OSError as error:
        work.tell(name, f"cannot be read: {error.strerror}")
        return None


def _recorded(folder: SetFolder, work: _Work) -> RecordedSet | None:
    data = _read(folder, RECORD, LARGEST_RECORD, work)
    try:
        return None if data is None else read_record(data)
    except ValueError as error:
        work.tell(RECORD, str(error))
        return None


def _largest(record: RecordedSet | None) -> dict[str, int]:
    """Return how many bytes each file of a set has at most, by path, as far as that is known."""
    fixed = {RECORD: LARGEST_RECORD, "data/session.toml": LARGEST_SHEET, "data/report.html": LARGEST_PAGE}
    if record is None:
        return fixed
    places = len(record.uncured) + sum(
        len(track.spans) + len(track.joins) + len(track.woven) for track in record.tracks
    )
    return {
        **fixed,
        "data/joins.csv": len(joins_csv(record)) + PAPER_ROOM,
        "data/timeline.otio": places * ITEM_BYTES + PAPER_ROOM,
        **{track_name(track): largest_track(record) for track in record.tracks},
    }


def _check_papers(folder: SetFolder, record: RecordedSet, work: _Work) -> None:
    work.tell_all(RECORD, record_faults(record))
    checks: tuple[tuple[str, Callable[[bytes], Iterable[str]]], ...] = (
        ("data/session.toml", lambda data: sheet_faults(record, data, folder.root)),
        ("data/joins.csv", lambda data: joins_faults(record, data)),
        ("data/timeline.otio", lambda data: timeline_faults(record, data)),
    )
    largest = _largest(record)
    for name, check in checks:
        data = _read(folder, name, largest[name], work)
        if data is not None:
            work.tell_all(name, check(data))
    # What the page says is the record in other words; it has to be there.
    if "data/report.html" not in folder.sizes:
        work.tell("data/report.html", "cannot be read: it is missing, or no file")


def _check_tracks_folder(folder: SetFolder, record: RecordedSet, work: _Work) -> None:
    listed = {track_name(track) for track in record.tracks}
    for name in sorted({*folder.sizes, *folder.folders} - listed):
        if name.startswith("data/tracks/"):
            work.tell(name, "is not a track of assembly.json")
