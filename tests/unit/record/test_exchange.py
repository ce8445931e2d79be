"""The edit for other programs: as the record has it, and read back as it was."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

import opentimelineio as otio
import pytest

from assembler.record.joins import joins_csv
from assembler.record.recorded.reading import read_unwritten
from assembler.record.timeline.otio import read_timeline, timeline_otio
from assembler.record.timeline.timeline import timeline_of

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet

HOUR = 3600 * 44_100


@pytest.fixture(scope="module")
def record() -> RecordedSet:
    """Return a record with silence, a polyphonic capture, a fade, a comma in a name, and a place past 2^31."""
    far = 5 << 30
    spans = [
        {"start": 0, "end": 100, "pass": None, "pass_start": None},
        {"start": 100, "end": 2000, "pass": "A1", "pass_start": far},
        {"start": 2000, "end": 5000, "pass": "A2", "pass_start": 0},
    ]
    joins = [
        {"at": 100, "fade": 0, "law": "edge", "correlation": 0.0, "difference_peak": 0},
        {"at": 2000, "fade": 441, "law": "constant_power", "correlation": 0.912345, "difference_peak": 77},
    ]
    return read_unwritten(
        json.dumps(
            {
                "format": 1,
                "program": "capture-assembler 0.1.0",
                "session": {
                    "title": "Été, one",
                    "sample_rate": 44_100,
                    "bit_depth": 16,
                    "frame_rate": "25",
                    "word_length": 16,
                },
                "start": {"timecode": "01:00:00:00", "sample": HOUR},
                "length": 5000,
                "reels": [{"name": "A", "tracks": ["Low", "Kick, in"]}],
                "passes": [
                    {
                        "name": "A1",
                        "reel": "A",
                        "files": [{"path": "captures/A1/all #1.wav", "sha256": None, "samples": far + 9000}],
                        "channels": [[0, 0], [0, 1]],
                        "polarity": [1, 1],
                    },
                    {
                        "name": "A2",
                        "reel": "A",
                        "files": [
                            {"path": "captures/A2/1.wav", "sha256": None, "samples": 8000},
                            {"path": "captures/A2/2.wav", "sha256": None, "samples": 8001},
                        ],
                        "channels": [[0, 0], [1, 0]],
                        "polarity": [1, 1],
                    },
                ],
                "tracks": [{"number": 2, "name": "Kick, in", "reels": ["A"], "spans": spans, "joins": joins}],
                "uncured": [{"reel": "A", "track": "Kick, in", "start": 50, "end": 60, "kind": "missing"}],
            }
        ).encode()
    )


def test_joins_are_rows(record: RecordedSet) -> None:
    """One row a join with its timecode and sides, in the form of RFC 4180: a comma in a name is no separator."""
    data = joins_csv(record)
    assert data.count(b"\r\n") == data.count(b"\n") == 3
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))
    assert rows[0]["track"] == "Kick, in"
    assert (rows[0]["from_pass"], rows[0]["to_pass"]) == ("", "A1")
    assert rows[1] == {
        "track": "Kick, in",
        "number": "2",
        "at": "2000",
        # 2000 samples are 45.35 ms, a frame of 25 in a second is 40 ms.
        "timecode": "01:00:00:01",
        "fade": "441",
        "law": "constant_power",
        "correlation": "0.912345",
        "difference_peak": "77",
        "from_pass": "A1",
        "to_pass": "A2",
    }


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("\uff1d1", "'\uff1d1"),
        ("'=1", "''=1"),
        ("'68 take", "'68 take"),
        ("Kick-in", "Kick-in"),
    ],
)
def test_a_name_is_no_formula(record: RecordedSet, name: str, cell: str) -> None:
    """What a spreadsheet computes (OWASP, "CSV Injection") stands behind an apostrophe; numbers stay as they are."""
    track = record.tracks[0]
    spans = tuple(
        span.model_copy(update={"pass_name": name}) if span.pass_name == "A1" else span
        for span in track.spans
    )
    joins = tuple(join.model_copy(update={"correlation": -0.5}) for join in track.joins)
    changed = track.model_copy(update={"name": name, "spans": spans, "joins": joins})
    data = joins_csv(record.model_copy(update={"tracks": (changed,)}))
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))
    assert (rows[0]["track"], rows[0]["to_pass"], rows[1]["from_pass"]) == (cell, cell, cell)
    assert rows[0]["correlation"] == "-0.5"


def test_a_timeline_is_read_back_to_the_sample(record: RecordedSet) -> None:
    """What OpenTimelineIO reads from the file is what was written: files, channels, ranges, gaps, marks."""
    timeline = timeline_of(record)
    assert read_timeline(timeline_otio(timeline)) == timeline
    (track,) = timeline.tracks
    assert [(item.pass_name, item.target, item.channel) for item in track.items] == [
        (None, "", 0),
        ("A1", "captures/A1/all #1.wav", 2),
        ("A2", "captures/A2/2.wav", 1),
    ]
    assert [(item.source_start, item.length) for item in track.items] == [
        (0, 100),
        (5 << 30, 1900),
        (0, 3000),
    ]
    assert [(mark.name, mark.at, mark.length) for mark in track.marks] == [
        ("join, edge, fade 0", 100, 0),
        ("join, constant_power, fade 441", 2000, 0),
        ("uncured missing", 50, 10),
    ]


def test_marks_have_colours_by_what_they_mean(record: RecordedSet) -> None:
    """Names that OpenTimelineIO knows; what asks for somebody has one that no join has."""
    whole = otio.adapters.read_from_string(timeline_otio(timeline_of(record)).decode(), "otio_json")
    colors = [mark.color for mark in whole.tracks[0].markers]
    assert all(getattr(otio.schema.MarkerColor, color) == color for color in colors)
    assert colors[2] not in colors[:2]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"OTIO_SCHEMA": "Timeline.1"', b'"OTIO_SCHEMA": "Clip.2"'),
        (b'"value": 1900.0', b'"value": 1900.5'),
        (b'"value": 1900.0', b'"value": NaN'),
        (b'"channel": 2', b'"canal": 2'),
        (b"}", b""),
        (b"\n", b"\xff"),
    ],
)
def test_what_is_no_timeline_of_a_set_is_refused(record: RecordedSet, old: bytes, new: bytes) -> None:
    """Another object, half a sample, a missing key, broken text: one plain line each."""
    data = timeline_otio(timeline_of(record))
    assert old in data
    with pytest.raises(ValueError, match=r"^is no timeline of a set: [^\n]+$"):
        read_timeline(data.replace(old, new, 1))
