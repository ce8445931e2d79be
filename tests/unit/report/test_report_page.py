"""What the page states, against the record it was made from: verdict, counts, places, outcomes."""

from __future__ import annotations

import copy
import json
import re
from collections import Counter
from typing import Any

import numpy as np
import pytest

from assembler.consolidator import build_set
from assembler.record.recorded.reading import read_record
from assembler.report import report_page
from assembler.report.parts import tables
from assembler.report.reasons import reason_words
from tests.support.pages import ReadPage
from tests.support.sessions import HOUR, RATE, Layout, make_tape

Record = Any  # JSON
UNCURED = "Uncured: no pass has these right"
NOTES = "Notes: corrections and findings"
FLAWS = "Flaws of the passes"
SAVED = '<h2 id="saved-heading">'


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """Return the record of a session with a slip, a cured mute, an uncured one, a fade between reels, and silence."""
    folder = tmp_path_factory.mktemp("page")
    tape, other = make_tape(4, 2, seed=5), make_tape(2, 1, seed=6)
    slipped = np.delete(tape, slice(50_000, 50_400), axis=0)
    slipped[70_000:70_300, 0] = 0
    tape[150_000:151_000, 1] = slipped[149_600:150_600, 1] = 0
    layout = Layout(folder, more='[[reel]]\nname = "B"\ntracks = ["One"]\n')
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", slipped, HOUR)
    layout.add_pass("A2", "A", tape[20_000:], HOUR + 20_000)
    layout.add_pass("B1", "B", other, HOUR + 3 * RATE + 20_000)
    build_set(layout.write(), folder / "set")
    return json.loads((folder / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))


def read(record: Record) -> ReadPage:
    """Return the page of a record, read."""
    return ReadPage(report_page(read_record(json.dumps(record).encode())).decode("utf-8"))


def changed(record: Record, **keys: object) -> Record:
    """Return a copy of a record with other values at its top."""
    return {**copy.deepcopy(record), **keys}


def note(kind: str, text: str, *, needs_a_person: bool = False) -> dict[str, object]:
    """Return a note of a record."""
    place: dict[str, object] = {"pass": "A1", "tracks": [], "start": None, "end": None}
    return {"kind": kind, "text": text, "needs_a_person": needs_a_person, **place}


def test_the_verdict_is_the_records(record: Record) -> None:
    """The banner says what the record decides, and counts what is open; it decides nothing itself."""
    assert record["sound"] is False
    assert read(record).verdict.startswith("Needs a person. 1 uncured place. Everything else")
    asking = [note("undecided", "which?", needs_a_person=True), note("other", "so it is")]
    page = read(changed(record, uncured=[], notes=asking))
    assert page.verdict.startswith("Needs a person. 1 note with a question that only")
    both = read(changed(record, notes=[*asking, *asking])).verdict
    assert both.startswith("Needs a person. 1 uncured place and 2 notes with a question that only")
    assert 'class="verdict open"' in page.text
    page = read(changed(record, uncured=[], notes=[note("other", "so it is")], sound=True))
    assert page.verdict.startswith("In order. Every flaw that was found in the set is cured")
    assert "Needs a person" not in page.text
    assert 'class="verdict open"' not in page.text


def test_uncured_places_are_told_with_what_each_pass_has(record: Record) -> None:
    """Place, kind, length in samples, and which pass is taken."""
    assert read(record).rows(UNCURED) == [
        {
            "From": "01:00:03:03",
            "To": "01:00:03:04",
            "Reel": "A",
            "Track": "Two",
            "Kind": "mute",
            "Samples": "1000",
            "What each pass has": "A1 (taken): mute; A2: mute, the same as A1",
        }
    ]


def test_every_flaw_is_told_with_what_decided(record: Record) -> None:
    """The rule in words and its lead, as the record has them."""
    told = sorted(row["Because"] for row in read(record).rows(FLAWS))
    reasons = [flaw["because"] for one in record["passes"] for flaw in one["flaws"]]
    assert told == sorted(reason_words(**reason) for reason in reasons)
    assert "sound before it and after it fits only so" in told


def test_an_open_place_is_told_with_what_left_it_open(record: Record) -> None:
    """Behind the words of its note; notes that no rule left open stay as they are."""
    opened = copy.deepcopy(record)
    note = {
        "kind": "undecided",
        "pass": "A1",
        "tracks": [0],
        "start": 1,
        "end": 9,
        "text": "A1 and A2 differ",
    }
    reason = {"rule": "likeliest_story", "nats": 2.5}
    opened["notes"] = [{**note, "needs_a_person": True, "because": reason}, {**note, "needs_a_person": True}]
    page = report_page(read_record(json.dumps(opened).encode())).decode()
    assert "A1 and A2 differ; because: likeliest story of the place, 2.5 nats<" in page
    assert "A1 and A2 differ<" in page


def test_every_flaw_is_told_with_its_outcome(record: Record) -> None:
    """Where, whose, how long, on which tracks counted from 1; cured only where the record says so."""
    rows = [tuple(row.values())[:6] for row in read(record).rows(FLAWS)]
    assert rows == [
        ("01:00:01:01", "A1", "slip", "400", "1, 2", "cured"),
        ("01:00:01:14", "A1", "mute", "300", "1", "cured"),
        ("01:00:03:03", "A1", "mute", "1000", "2", "not cured"),
        ("01:00:03:03", "A2", "mute", "1000", "2", "not cured"),
    ]
    told = [flaw["cured"] for one in record["passes"] for flaw in one["flaws"]]
    assert sorted(row[5] == "cured" for row in rows) == sorted(told)
    for cured in (True, False):
        turned = copy.deepcopy(record)
        for one in turned["passes"]:
            for flaw in one["flaws"]:
                flaw["cured"] = cured
        assert {row["Outcome"] for row in read(turned).rows(FLAWS)} == {"cured" if cured else "not cured"}


def test_captures_are_counted(record: Record) -> None:
    """Files, slips and other flaws of each pass, and whether it was used."""
    rows = read(record).rows("Passes")
    assert [(row["Pass"], row["Files"], row["Slips"], row["Flaws"]) for row in rows] == [
        ("A1", "2", "1", "2"),
        ("A2", "2", "0", "1"),
        ("B1", "1", "0", "0"),
    ]
    assert [(row["From"], row["To"]) for row in rows] == [
        ("01:00:00:00", "01:00:04:00"),
        ("01:00:00:12", "01:00:04:00"),
        ("01:00:03:12", "01:00:05:12"),
    ]
    unused = copy.deepcopy(record)
    unused["passes"][1].update(used=False, stretches=[], flaws=[])
    row = read(unused).rows("Passes")[1]
    assert (row["Pass"], row["From"], row["To"]) == ("A2 (not used)", "", "")


def sided(record: Record) -> list[tuple[Record, Record, str]]:
    """Return each join of a record with its track and what is on both sides."""
    return [
        (track, join, f"{before['pass'] or 'silence'} → {after['pass'] or 'silence'}")
        for track in record["tracks"]
        for join, before, after in zip(track["joins"], track["spans"], track["spans"][1:], strict=False)
    ]


def test_joins_tell_both_sides_and_their_law(record: Record) -> None:
    """One row a join whose sides differ, in the order of time; what was not compared has no correlation."""
    rows = read(record).rows("Joins")
    joins = [one for one in sided(record) if one[1]["law"] != "identical"]
    joins.sort(key=lambda one: (one[1]["at"], one[0]["number"]))
    assert [(row["Track"], row["Law"], row["Fade"], row["From → to"]) for row in rows] == [
        (track["name"], join["law"].replace("_", " "), str(join["fade"]), sides)
        for track, join, sides in joins
    ]
    assert {row["Law"] for row in rows} >= {"constant power", "edge"}
    for row, (_, join, _) in zip(rows, joins, strict=True):
        is_compared = join["law"] in ("constant_power", "cut")
        assert row["Correlation"] == (str(join["correlation"]) if is_compared else "–")


def test_joins_between_identical_sides_are_a_line_for_two_passes(record: Record) -> None:
    """However many they are; all of them are counted."""
    rows = read(record).rows("Joins between identical sides")
    alike = [
        (track["name"], join["at"], sides)
        for track, join, sides in sided(record)
        if join["law"] == "identical"
    ]
    assert len(alike) > len(rows) > 0
    counts = Counter(sides for _, _, sides in alike)
    assert {row["From → to"]: int(row["Joins"]) for row in rows} == counts
    for row in rows:
        places = {at for _, at, sides in alike if sides == row["From → to"]}
        tracks = {name for name, _, sides in alike if sides == row["From → to"]}
        assert (int(row["Places"]), set(row["Tracks"].split(", "))) == (len(places), tracks)


def test_levels_are_the_records_or_a_dash(record: Record) -> None:
    """Two places of each level; a level that is not defined is a dash, not a nought."""
    rows = read(record).rows("Levels of the delivered tracks")
    for row, track in zip(rows, record["tracks"], strict=True):
        levels = track["levels"]
        assert row["Integrated LUFS"] == f"{levels['integrated_lufs']:.2f}"
        assert row["Sample peak dBFS"] == f"{levels['sample_peak_dbfs']:.2f}"
        assert row["Clipped runs"] == str(levels["clipped_runs"])
    silent = copy.deepcopy(record)
    silent["tracks"][0]["levels"].update(integrated_lufs=None, true_peak_dbtp=0.0)
    row = read(silent).rows("Levels of the delivered tracks")[0]
    assert (row["Integrated LUFS"], row["True peak dBTP"]) == ("–", "0.00")


def test_what_needs_a_person_heads_the_notes(record: Record) -> None:
    """Questions first, remarks last, and no note without a theme is joined with another."""
    notes = [note("other", f"burst of {n} samples") for n in (4800, 96000)]
    notes += [note("tape_suspected", "spot"), note("undecided", "which?", needs_a_person=True)]
    rows = read(changed(record, notes=notes)).rows(NOTES)
    assert [row["What"] for row in rows] == [
        "which?",
        "spot",
        "burst of 4800 samples",
        "burst of 96000 samples",
    ]


def test_a_table_that_is_cut_says_by_how_much(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of each long list the page tells how many rows it leaves out, and where they are."""
    monkeypatch.setattr(tables, "MOST_ROWS", 1)
    notes = [note("other", f"remark {number}") for number in range(7)]
    page = read(changed(record, notes=notes, uncured=record["uncured"] * 5))
    joins = [one for one in sided(record) if one[1]["law"] != "identical"]
    groups = {sides for _, join, sides in sided(record) if join["law"] == "identical"}
    flaws = sum(len(one["flaws"]) for one in record["passes"])
    left = {UNCURED: 4, "Passes": 2, NOTES: 6, FLAWS: flaws - 1, "Joins": len(joins) - 1}
    left |= {
        "Joins between identical sides": len(groups) - 1,
        "Levels of the delivered tracks": 1,
        "Files": 1,
    }
    assert all(len(page.rows(heading)) == 1 for heading in left)
    told = [line for line in page.lines if "more in" in line]
    assert told == [
        f"and {rows} more in {'joins.csv' if 'Joins' in heading else 'assembly.json'}"
        for heading, rows in left.items()
        if rows
    ]
    assert page.verdict.startswith("Needs a person. 5 uncured places.")


def test_names_are_letters_on_the_page(record: Record) -> None:
    """A name is neither markup nor does it turn the direction of the page's own words."""
    named = json.loads(json.dumps(record).replace('"Two"', json.dumps("<b>Two</b>\u202e\x1b")))
    page = read(named)
    assert not {"\u202e", "\x1b"} & set(page.text)
    assert "<b>" not in page.text
    assert page.rows(UNCURED)[0]["Track"] == r"<b>Two</b>\u202e\x1b"


def test_flaws_stand_in_the_order_of_the_tape(record: Record) -> None:
    """By place, not by pass: what several passes have at one place stands together."""
    moved = copy.deepcopy(record)
    moved["passes"][1]["flaws"][0].update(start=10_000, end=11_000)
    rows = read(moved).rows(FLAWS)
    assert [(row["At"], row["Pass"]) for row in rows][:2] == [("01:00:00:18", "A2"), ("01:00:01:01", "A1")]


def test_the_head_tells_length_rate_and_both_word_lengths(record: Record) -> None:
    """Tracks, seconds, start, rate; the tape's word length and the delivered one are not the same thing."""
    told = copy.deepcopy(record)
    told["session"].update(bit_depth=20, word_length=24)
    head = " ".join(read(told).lines[0].split())
    assert head.startswith(
        f"2 tracks, {record['length'] / RATE:.3f} s from 01:00:00:00, 48000 Hz, 20 bit on tape, 24 bit delivered, "
        "30 frames/s."
    )


def test_files_are_told_with_their_digests(record: Record) -> None:
    """Each track file with the digest of its samples, as the record has it."""
    rows = read(record).rows("Files")
    assert [tuple(row.values()) for row in rows] == [
        (track["file"], track["audio_sha256"]) for track in record["tracks"]
    ]


def test_what_is_saved_is_drawn_for_each_reel(record: Record) -> None:
    """A column of a thousand takes the worst state in it, whatever the length of the set: 1.003 s and one sample."""
    told = copy.deepcopy(record)
    first = told["start"]["sample"]
    for length in (48049, 48103, 260000 - 7, told["length"]):
        end = first + length
        for track in told["tracks"]:
            track["spans"] = [{"start": 0, "end": length, "pass": None, "pass_start": None}]
            track["joins"] = []
        told.update(length=length, uncured=[])
        told["reels"][0]["states"] = [
            {
                "track": 0,
                "stretches": [
                    {"start": first - 10, "end": first + length // 4, "state": "proven"},
                    {"start": first + length // 4, "end": first + length // 4 + 1, "state": "flawed"},
                    {"start": first + length // 4 + 1, "end": first + length // 2, "state": "proven"},
                    {"start": first + length // 2, "end": end + 10, "state": "missing"},
                ],
            }
        ]
        text = read(told).text
        drawn = re.findall(r"<svg viewBox=.0 0 1000 .*?</svg>", text[text.index(SAVED) :], re.DOTALL)[0]
        bars = re.findall(r'<rect x="([0-9.]+)" width="([0-9.]+)".*?<title>A: ([a-z ]+),', drawn)
        assert [name for _, _, name in bars] == ["proven", "flawed", "proven", "missing"]
        assert float(bars[0][0]) == 0
        assert sum(float(width) for _, width, _ in bars) == 1000


def test_each_lane_is_drawn_from_its_spans_and_uncured_places(record: Record) -> None:
    """A bar of the pass's own tone where each span lies, to scale, and a mark in the lane of the track that is open."""
    text = read(record).text
    legend = dict(
        re.findall(r'<span class="key"><span class="swatch (p[0-9])"></span>([AB][0-9])</span>', text)
    )
    assert list(legend.values()) == ["A1", "A2", "B1"]
    tracks_drawn = text[: text.index(SAVED)]
    lanes = re.findall(r"<svg.*?</svg>", tracks_drawn, re.DOTALL)
    assert len(lanes) == len(record["tracks"])
    scale = 1000 / record["length"]
    for lane, track in zip(lanes, record["tracks"], strict=True):
        bars = re.findall(r'<rect x="([0-9.]+)" width="([0-9.]+)" y="0" height="18" class="(p[0-9])">', lane)
        drawn = sorted((float(left), float(width), legend[tone]) for left, width, tone in bars)
        spans = [span for span in track["spans"] if span["pass"] is not None]
        wanted = [
            (span["start"] * scale, max(1.5, (span["end"] - span["start"]) * scale), span["pass"])
            for span in spans
        ]
        assert [row[2] for row in drawn] == [row[2] for row in wanted]
        assert np.allclose([row[:2] for row in drawn], [row[:2] for row in wanted], atol=0.006)
        marks = re.findall(r'<rect x="([0-9.]+)" width="([0-9.]+)" y="10"', lane)
        places = [place for place in record["uncured"] if place["track"] == track["name"]]
        assert np.allclose(
            [(float(left), float(width)) for left, width in marks],
            # Wide enough to be seen, however short the place is.
            [(p["start"] * scale, max(4.0, (p["end"] - p["start"]) * scale)) for p in places],
            atol=0.006,
        )
        assert len(marks) == len(places)
