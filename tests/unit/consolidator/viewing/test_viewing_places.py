"""Which places have views, what the limit of a page leaves out, and how a track's views come about block by block."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner import Stretch, TimeMap
from assembler.consolidator.viewing.choosing import Choice, Limits, choose_places
from assembler.consolidator.viewing.gathering import MadeView, gather_views
from assembler.consolidator.viewing.limits import COLUMNS
from assembler.consolidator.viewing.sources import PassSource, TrackSources
from assembler.consolidator.viewing.viewer import TrackViewer
from assembler.record.recorded.reading import read_unwritten
from assembler.report.views import RESULT, Clip, Trace, View, Window

if TYPE_CHECKING:
    from typing import Any

    from assembler.arrays import Int32s
    from assembler.record.recorded.whole import RecordedSet

RATE, LENGTH = 8_000, 80_000
UNLIMITED = Limits(1 << 40, 1 << 40)


def flaw(start: int, end: int, *tracks: int, is_cured: bool = True) -> dict[str, Any]:
    """Return a flaw of a record."""
    return {"kind": "mute", "start": start, "end": end, "tracks": list(tracks), "cured": is_cured}


def record_of(flaws: list[dict[str, Any]], joins: list[tuple[int, int, str]], **more: object) -> RecordedSet:
    """Return a record of two tracks and two passes that cover all of it; the second one begins 1000 samples earlier."""
    at = [0, *(one for one, _, _ in joins), LENGTH]
    spans = [
        {"start": low, "end": high, "pass": "A2", "pass_start": low + 1000} for low, high in pairwise(at)
    ]
    told = [
        {"at": place, "fade": fade, "law": law, "correlation": 0.5, "difference_peak": 3}
        for place, fade, law in joins
    ]
    passes = [
        {
            "name": name,
            "reel": "A",
            "channels": [[0, 0], [0, 1]],
            "polarity": [1, 1],
            "files": [{"path": f"{name}.wav", "sha256": None, "samples": LENGTH + 1000}],
            "stretches": [{"pass_start": early, "pass_end": LENGTH + early, "timeline_start": 5000}],
            "flaws": flaws if name == "A2" else [],
        }
        for name, early in (("A1", 0), ("A2", 1000))
    ]
    session = {"title": "T", "sample_rate": RATE, "bit_depth": 16, "frame_rate": "30", "word_length": 16}
    whole = {
        "format": 2,
        "program": "x",
        "session": session,
        "start": {"timecode": "00:00:00:00", "sample": 5000},
        "length": LENGTH,
        "reels": [{"name": "A", "tracks": ["Kick", "Snare"]}],
        "passes": passes,
        "tracks": [
            {"number": 1, "name": "Kick", "reels": ["A"], "spans": spans, "joins": told},
            {
                "number": 2,
                "name": "Snare",
                "reels": ["A"],
                "spans": [{**spans[0], "end": LENGTH}],
                "joins": [],
            },
        ],
        "uncured": [],
        **more,
    }
    return read_unwritten(json.dumps(whole).encode())


COVERED = {1: [(0, LENGTH), (0, LENGTH)], 2: [(0, LENGTH), (0, LENGTH)]}
JOINS = [(20_000, 400, "identical"), (30_000, 400, "constant_power"), (40_001, 0, "cut"), (50_000, 0, "slip")]


def places(choices: tuple[Choice, ...]) -> list[tuple[int, int, int]]:
    """Return track and range of each choice."""
    return [(one.track, one.start, one.end) for one in choices]


def test_what_is_open_comes_first_then_joins_then_flaws() -> None:
    """Of a flaw of two tracks the first one before any second; each range of a track once; joins that are computed."""
    uncured = [
        {"reel": "A", "track": "Snare", "start": 9000, "end": 9100, "kind": "mute"},
        {
            "reel": "A", "track": "Kick", "start": 60_000, "end": 61_000, "kind": "mute",
            "accepted": {"by": "me", "reason": "so"},
        },
    ]  # fmt: skip
    notes = [
        {
            "kind": "undecided", "text": "x", "needs_a_person": True, "pass": "A2", "tracks": [1],
            "start": 71_000, "end": 71_500, "passes": [{"pass": "A1", "kind": "", "text": "", "taken": True}],
        }
    ]  # fmt: skip
    flaws = [
        flaw(71_000, 71_000, 0, 1),
        flaw(6_000, 6_400, 0, 1),
        flaw(10_000, 10_100, 1, is_cured=False),
        flaw(0, 900, 0),
        flaw(900, 1_100, 0),
    ]
    record = record_of(flaws, JOINS, uncured=uncured, notes=notes)
    assert places(choose_places(record, COVERED)) == [
        (2, 9000, 9100),
        (1, 60_000, 61_000),
        (2, 70_000, 70_500),
        (1, 29_800, 30_200),
        (1, 40_001, 40_001),
        (1, 0, 100),
        (1, 5_000, 5_400),
        (1, 70_000, 70_000),
        (2, 5_000, 5_400),
        (2, 70_000, 70_000),
    ]
    chosen = choose_places(record, COVERED)
    assert [one.order for one in chosen] == list(range(10))
    assert [one.is_join for one in chosen] == [False] * 3 + [True] * 2 + [False] * 5
    assert all(one.columns == COLUMNS[0] and one.has_clips for one in chosen)


def test_places_without_room_are_those_that_count_least() -> None:
    """Columns go down before any place goes without; what is left out is the end of the order."""
    record = record_of([flaw(2_000 * n, 2_000 * n + 1_500, 0, 1) for n in range(1, 30)], JOINS)
    full = choose_places(record, COVERED, UNLIMITED)
    assert {one.columns for one in full} == {COLUMNS[0]}
    for windows in (400_000, 200_000, 50_000, 1):
        chosen = choose_places(record, COVERED, Limits(windows, 1 << 40))
        assert places(chosen) == places(full)
        drawn = [one.columns > 0 for one in chosen]
        assert drawn == sorted(drawn, reverse=True)
        assert all(drawn) or {one.columns for one in chosen} <= {0, COLUMNS[-1]}
        assert all(one.has_clips for one in chosen)
    heard = [one.has_clips for one in choose_places(record, COVERED, Limits(1 << 40, 1_000_000))]
    assert heard == sorted(heard, reverse=True)
    assert 0 < sum(heard) < len(heard)


def choice(
    order: int, start: int, end: int, *, columns: int = 120, is_heard: bool = False, is_join: bool = False
) -> Choice:
    """Return a place of the first track."""
    return Choice(order, 1, start, end, is_join, columns, is_heard)


def made(order: int, window_bytes: int, clip_bytes: int, track: int = 1) -> MadeView:
    """Return a view of so many bytes; its clips are two of the same audio."""
    line = Trace("A1", (1,), (1,))
    clips = tuple(Clip(name, 0, bytes([order]) * clip_bytes, is_held_back=False) for name in ("A1", RESULT))
    view = View(track, 100 - order, 200, (Window("join", 0, 1, (line,)),), clips)
    return MadeView(order, view, window_bytes)


def test_what_was_made_is_held_against_the_limit() -> None:
    """More than was reckoned is cut from the end of the order, counted, and given in time order."""
    choices = [choice(order, 100 - order, 200, is_heard=order < 4) for order in range(5)]
    views = [made(order, 100, 10) for order in range(4)]
    found = gather_views(choices, [*views, MadeView(4, View(1, 96, 200, (), ()), 0)], Limits(1000, 1000))
    assert [one.start for one in found.views] == [97, 98, 99, 100]
    assert (found.without_clips, found.without_windows) == (1, 0)
    found = gather_views(choices, reversed(views), Limits(250, 30))
    assert [(one.start, len(one.windows), len(one.clips)) for one in found.views] == [
        (98, 0, 2),
        (99, 1, 2),
        (100, 1, 2),
    ]
    assert (found.without_clips, found.without_windows) == (2, 2)


@dataclass
class Audio:
    """A pass in memory that notes what is read of it."""

    samples: Int32s
    reads: list[tuple[int, int]] = field(default_factory=list)
    tracks: int = 1

    @property
    def length(self) -> int:
        """Samples of it."""
        return self.samples.size

    def read(self, _track: int, start: int, count: int) -> Int32s:
        """Return samples, and note that they were read."""
        self.reads.append((start, start + count))
        assert 0 <= start <= start + count <= self.samples.size
        return self.samples[start : start + count]


def tracks_sources(seed: int = 1) -> tuple[TrackSources, list[Audio]]:
    """Return two passes, of which the second loses 500 samples, and one that ends in the middle."""
    random = np.random.default_rng(seed)
    tape = np.round(np.cumsum(random.standard_normal(LENGTH)) * 10).astype(np.int32)
    cut = np.delete(tape, np.r_[30_000:30_500])
    audios = [Audio(tape), Audio(cut), Audio(tape[:41_000].copy())]
    maps = [
        TimeMap((Stretch(0, LENGTH, 0),)),
        TimeMap((Stretch(0, 30_000, 0), Stretch(30_000, LENGTH - 500, 30_500))),
        TimeMap((Stretch(0, 41_000, 0),)),
    ]
    flawed: list[tuple[tuple[int, int], ...]] = [((20_000, 20_100),), (), ()]
    passes = [
        PassSource(name, audio, 0, time_map, ranges)
        for name, audio, time_map, ranges in zip(("A1", "A2", "A3"), audios, maps, flawed, strict=True)
    ]
    return TrackSources(tuple(passes), ((60_000, 60_200),), LENGTH, RATE, 16), audios


CHOICES = (
    choice(0, 60_000, 60_200, is_heard=True),
    choice(1, 39_800, 40_200, columns=600, is_heard=True, is_join=True),
    choice(2, 20_000, 20_100, columns=600, is_heard=True),
    choice(3, 20_050, 20_090),
    choice(4, 30_000, 30_500),
    choice(5, 79_990, LENGTH, is_heard=True),
    choice(6, 5, 5, columns=0, is_heard=True),
)


def viewed(block: int, *, listens: bool) -> tuple[tuple[MadeView, ...], list[Audio]]:
    """Return the views of a track rendered of its first pass, in blocks of a size."""
    sources, audios = tracks_sources()
    viewer = TrackViewer(sources, CHOICES)
    tape = audios[0].samples

    def read(pass_name: str, start: int, count: int) -> Int32s:
        assert pass_name == "A1"
        return tape[start : start + count]

    heard = viewer.listening(read) if listens else read
    for start in range(0, LENGTH, block):
        viewer.take(start, heard("A1", start, min(block, LENGTH - start)))
    return viewer.views(), audios


@pytest.mark.parametrize("block", [777, 4_096, LENGTH])
def test_blocks_make_no_difference(block: int) -> None:
    """Nor does whether what rendering read is taken from it or read."""
    expected, _ = viewed(10_000, listens=False)
    found, _ = viewed(block, listens=True)
    assert found == expected
    assert [one.order for one in found] == list(range(7))
    by_order = {one.order: one.view for one in found}
    assert [len(by_order[order].clips) for order in range(7)] == [3, 4, 4, 0, 0, 3, 4]
    (join,) = by_order[1].windows
    assert [trace.source for trace in join.traces] == ["A1", "A2", "A3", RESULT, "difference"]
    whole, begins, _ = by_order[4].windows
    assert whole.step > 1
    lost = next(trace for trace in begins.traces if trace.source == "A2")
    assert None not in lost.low[:48]
    assert set(lost.low[48:]) == {None}


def test_only_what_nobody_holds_is_read_and_that_once() -> None:
    """Of the pass that is rendered nothing; of the others the ranges around places, in order, no sample twice."""
    _, (first, second, third) = viewed(4_096, listens=True)
    assert first.reads == []
    for audio in (second, third):
        flat = [border for one in audio.reads for border in one]
        assert flat == sorted(flat)
    assert 20_000 < sum(high - low for low, high in second.reads) < LENGTH - 10_000


def test_a_track_without_places_is_left_alone() -> None:
    """Neither is its reader watched nor any pass read."""
    sources, audios = tracks_sources()
    viewer = TrackViewer(sources, ())

    def read(pass_name: str, start: int, count: int) -> Int32s:
        raise AssertionError(pass_name, start, count)

    assert viewer.listening(read) is read
    viewer.take(0, np.zeros(LENGTH, np.int32))
    assert viewer.views() == ()
    assert not any(one.reads for one in audios)


def test_what_is_kept_is_bounded() -> None:
    """However many places there are, no more is held than the longest of them needs."""
    sources, audios = tracks_sources()
    choices = [choice(n, 100 * n, 100 * n + 50) for n in range(LENGTH // 100 - 1)]
    viewer = TrackViewer(sources, choices)
    most = 0
    for start in range(0, LENGTH, 4_000):
        viewer.take(start, audios[0].samples[start : start + 4_000])
        most = max(most, sum(piece.end - piece.start for piece in viewer._pieces))  # noqa: SLF001 - no other way to see
    assert 0 < most < 3 * 4_000
