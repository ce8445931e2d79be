"""Parts of the page: what set the status, clocks, what the script gets, and the size that a page may have."""

from __future__ import annotations

import copy
import json
import re
import zlib
from base64 import b64decode
from typing import TYPE_CHECKING, Any

import pytest

from assembler.record.recorded.reading import read_record
from assembler.report import page as pages
from assembler.report import report_page
from assembler.report.parts.clocks import clock_charts
from assembler.report.parts.data import block, view_blocks, view_data
from assembler.report.parts.marks import Marks
from assembler.report.parts.strips import HEIGHTS
from assembler.report.views import DIFFERENCE, RESULT, Clip, Trace, View, Views, Window
from assembler.verdict.states import State
from tests.support.large_records import FIRST, RATE, large_record
from tests.support.pages import ReadPage

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet

Json = Any


@pytest.fixture(scope="module")
def plain() -> Json:
    """Return a small made-up record as JSON: two reels of two tracks, two passes each."""
    record = large_record(reels=2, tracks=2, passes=2, seconds=10, joins=4, places=0)
    return json.loads(record.model_dump_json(by_alias=True))


def read(plain: Json, **keys: object) -> RecordedSet:
    """Return a record with other values at its top."""
    return read_record(json.dumps({**copy.deepcopy(plain), **keys}).encode())


def uncured(track: str, start: int, end: int, reel: str = "R1") -> Json:
    """Return an uncured place."""
    held = [{"pass": "R1-1", "kind": "mute", "text": "mute", "taken": True}]
    return {"reel": reel, "track": track, "start": start, "end": end, "kind": "mute", "passes": held}


def note(text: str, *, asks: bool, start: int | None = None) -> Json:
    """Return a note."""
    place = {"pass": "R1-1", "tracks": [0], "start": start, "end": start}
    return {"kind": "not_clocked", "text": text, "needs_a_person": asks, **place}


def test_the_banner_names_all_that_set_the_status(plain: Json) -> None:
    """Tracks of one event in a line, in the order of time, then questions; each leads to a row of the page."""
    places = [
        uncured("Reel 1 track 2", 5000, 5100),
        uncured("Reel 1 track 1", 5000, 5100),
        uncured("Reel 2 track 1", 100, 200, "R2"),
    ]
    notes = [note("a remark", asks=False), note("is it?", asks=True)]
    record = read(plain, uncured=places, notes=notes)
    text, marks = report_page(record).decode(), Marks(record)
    links = re.findall(r'<li><a href="#([^"]+)">([^<]+)</a>', text)
    both = "reel R1, Reel 1 track 2, Reel 1 track 1: mute, 100 samples, right in no pass"
    assert links == [
        ("place-2", f"{marks.place(100)}, reel R2, Reel 2 track 1: mute, 100 samples, right in no pass"),
        ("place-0", f"{marks.place(5000)}, {both}"),
        ("note-1", "not clocked: R1-1: is it?"),
    ]
    assert all(text.count(f'<tr id="{name}"') == 1 for name, _ in links)


def test_many_causes_are_folded_and_none_is_left_out(plain: Json) -> None:
    """Eight stand at once, all others behind them."""
    places = [uncured("Reel 1 track 1", 1000 * n, 1000 * n + 10) for n in range(40)]
    text = report_page(read(plain, uncured=places)).decode()
    assert len(re.findall(r'<li><a href="#place-', text)) == 40
    assert "<summary>32 more</summary>" in text


def test_places_in_one_frame_have_their_samples(plain: Json) -> None:
    """Two starts in a frame are told apart; so are the ends of a place within a frame; others stay labels."""
    places = [uncured("Reel 1 track 1", 48_000, 48_010), uncured("Reel 1 track 1", 96_000, 99_000)]
    rows = ReadPage(report_page(read(plain, uncured=places)).decode()).rows(
        "Uncured: no pass has these right"
    )
    assert re.fullmatch(r"[\d:;]+\+\d+", rows[0]["From"])
    assert rows[0]["From"] != rows[0]["To"]
    assert re.fullmatch(r"[\d:;]+", rows[1]["From"])
    marks = Marks(read(plain))
    labels = marks.starts([10, 20, 5000])
    assert labels == {10: marks.place(10), 20: marks.place(20), 5000: marks.frame(5000)}


def test_notes_stand_in_the_order_of_time(plain: Json) -> None:
    """Within what asks, and within what does not; those without a place first."""
    notes = [
        note("late", asks=False, start=9000),
        note("early", asks=False, start=10),
        note("nowhere", asks=False),
    ]
    rows = ReadPage(report_page(read(plain, notes=notes)).decode()).rows("Notes: corrections and findings")
    assert [row["What"] for row in rows] == ["nowhere", "early", "late"]


def clocked(plain: Json, residuals: list[Json], flaws: list[Json]) -> RecordedSet:
    """Return a record whose first pass has a log."""
    changed = copy.deepcopy(plain)
    clock = {"source": "mtc", "uncertainty_samples": 3.0, "common_samples": 4.0, "verdict": "locked"}
    changed["passes"][0].update(clock={**clock, "residuals": residuals}, flaws=flaws)
    return read_record(json.dumps(changed).encode())


def test_a_clock_is_drawn_to_scale(plain: Json) -> None:
    """By hand: over 1000 samples from −8 to 16, uncertainty 5 = √(3² + 4²), and a slip in the middle."""
    residuals = [{"sample": 0, "low": -8.0, "high": 0.0}, {"sample": 1000, "low": 2.0, "high": 16.0}]
    slip = {"kind": "slip", "start": 500, "end": 500, "tracks": [0, 1], "cured": True, "samples": -7}
    record = clocked(plain, residuals, [slip])
    charts = clock_charts(record, Marks(record))
    assert [chart.name for chart in charts] == ["R1-1"]
    chart = charts[0]
    assert chart.scale == pytest.approx(16 * 1.15)
    assert chart.band == pytest.approx((60 - 60 * 5 / (16 * 1.15), 120 * 5 / (16 * 1.15)))
    points = [tuple(map(float, one.split(","))) for one in chart.points.split()]
    assert [x for x, _ in points] == [0, 1000, 1000, 0]
    assert points[1][1] == pytest.approx(60 - 60 / 1.15, abs=1)
    assert points[3][1] == pytest.approx(60 + 60 * 8 / (16 * 1.15), abs=1)
    assert [(event.kind, event.left) for event in chart.events] == [("slip", 500)]
    assert "7 samples repeated" in chart.events[0].words
    assert (
        "−8.0 to +16.0 samples from the fit; stated uncertainty ±5.00 samples; 0 jumps, 1 slip" in chart.words
    )


def test_a_block_cannot_be_left(plain: Json) -> None:
    """Whatever a text holds, the element ends where the page ends it, and the text comes back printable."""
    harm = "</script><!--<script>&\u2028\u202e\x1b]]>"
    text = block({"name": harm, harm: [harm, 1, None, True]})
    assert not set("<>&\u2028\u202e") & set(text)
    assert json.loads(text)["name"] == "</script><!--<script>&\\u2028\\u202e\\x1b]]>"
    record = read(plain, session={**plain["session"], "title": harm})
    page = report_page(record).decode()
    assert page.count("</script>") == 2


def made_view(start: int, sound: bytes) -> View:
    """Return a view with two lines that are the same object, and two clips that are the same sound."""
    row = (1, None, -3)
    lines = (
        Trace("R1-1", row, row),
        Trace(RESULT, row, (2, None, 4)),
        Trace(DIFFERENCE, (0, 0, 1), (0, 0, 1)),
    )
    clips = (Clip("R1-1", start, sound, is_held_back=True), Clip(RESULT, start, sound, is_held_back=False))
    return View(1, start, start + 3, (Window("whole place", start, 1, lines),), clips)


def test_a_view_is_packed_and_comes_back() -> None:
    """All numbers, what holds nothing, and equal sounds once."""
    packed: Json = view_data(made_view(7, b"sound"))
    windows = json.loads(zlib.decompress(b64decode(packed["windows"])))
    assert windows == [
        {
            "title": "whole place",
            "start": 7,
            "step": 1,
            "lines": [
                ["R1-1", [1, None, -3], None],
                ["", [1, None, -3], [2, None, 4]],
                ["difference", [0, 0, 1], None],
            ],
        }
    ]
    assert packed["clips"] == [["R1-1", 7, True, 0], ["", 7, False, 0]]
    assert [b64decode(sound) for sound in packed["sounds"]] == [b"sound"]


def test_what_finds_no_room_is_left_out_and_counted(plain: Json, monkeypatch: pytest.MonkeyPatch) -> None:
    """Clips first, then waveforms; the page keeps its size, and says what it lacks."""
    sounds = [bytes([n]) * 30_000 for n in range(5)]
    views = Views(tuple(made_view(100 * n, sound) for n, sound in enumerate(sounds)), without_clips=2)
    blocks, mute, blind = view_blocks(views, 10**6)
    assert (len(blocks), mute, blind) == (5, 0, 0)
    assert view_blocks(views, 100_000)[1:] == (3, 0)
    assert view_blocks(views, 0)[1:] == (5, 5)
    record = read(plain)
    bare = len(report_page(record))
    monkeypatch.setattr(pages, "LARGEST", bare + 100_000)
    page = report_page(record, views)
    assert bare + 80_000 < len(page) <= pages.LARGEST
    assert "5 places are without clips and 0 places are without waveforms." in page.decode()
    assert page.decode().count('<script type="application/json" id="view-') == 5
    monkeypatch.setattr(pages, "LARGEST", 10)
    assert (
        "7 places are without clips and 5 places are without waveforms."
        in report_page(record, views).decode()
    )


def test_states_are_told_apart_without_colours() -> None:
    """Each is drawn as high as no other."""
    assert set(HEIGHTS) == set(State)
    assert len(set(HEIGHTS.values())) == len(State)


def test_a_page_without_views_says_so(plain: Json) -> None:
    """As it is made of a record alone."""
    assert "This page was made without waveforms and clips." in report_page(read(plain)).decode()


def test_the_script_knows_where_passes_and_states_lie(plain: Json) -> None:
    """In samples of the set: a pass that begins a second before it, states of the tape track, what was left out."""
    changed = copy.deepcopy(plain)
    changed["passes"][0]["stretches"] = [
        {"pass_start": 0, "pass_end": 10 * RATE, "timeline_start": FIRST - RATE}
    ]
    left = {"kind": "track_left_out", "text": "", "needs_a_person": False, "pass": "R1-1", "tracks": [1]}
    changed["notes"] = [{**left, "start": None, "end": None}]
    page = report_page(read_record(json.dumps(changed).encode())).decode()
    found = re.search(r'<script type="application/json" id="record">(.*?)</script>', page)
    assert found is not None
    told = json.loads(found[1])
    assert told["passes"][0] == {
        "name": "R1-1",
        "reel": "R1",
        "tracks": [0],
        "stretches": [[-RATE, 9 * RATE, 0]],
    }
    states = changed["reels"][1]["states"][1]["stretches"]
    assert [one[:2] for one in told["tracks"][3]["states"]] == [
        [s["start"] - FIRST, s["end"] - FIRST] for s in states
    ]
    assert [told["states"][one[2]] for one in told["tracks"][3]["states"]] == [
        s["state"].replace("_", " ") for s in states
    ]
