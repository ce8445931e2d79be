"""Which places have views, and what the limit of a page leaves out."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.consolidator.viewing.choosing import Choice, Limits, choose_places
from assembler.consolidator.viewing.gathering import MadeView, gather_views
from assembler.consolidator.viewing.limits import COLUMNS
from assembler.record.recorded.reading import read_unwritten
from assembler.report.views import RESULT, Clip, Trace, View, Window

if TYPE_CHECKING:
    from typing import Any

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
JOINS = [
    (20_000, 400, "identical"),
    (30_000, 400, "constant_power"),
    (40_001, 0, "cut"),
    (50_000, 0, "slip"),
    (77_000, 0, "edge"),
]


def places(choices: tuple[Choice, ...]) -> list[tuple[int, int, int]]:
    """Return track and range of each choice."""
    return [(one.track, one.start, one.end) for one in choices]


def test_what_is_open_comes_first_then_joins_then_flaws() -> None:
    """Of a flaw of two tracks the first one before any second; each range of a track once; slips and ends last."""
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
        (1, 50_000, 50_000),
        (1, 77_000, 77_000),
    ]
    chosen = choose_places(record, COVERED)
    assert [one.order for one in chosen] == list(range(12))
    assert [one.is_join for one in chosen] == [False] * 3 + [True] * 2 + [False] * 5 + [True] * 2
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
