"""Reels on one timeline: every rate, many tapes, offsets, overlaps; and what a check shows of each pass."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from assembler.cli.commands import run
from assembler.timecode import format_sample, frame_rate
from tests.support.sessions import HOUR, RATE, Layout, make_tape, run_json, write_log

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]


@pytest.mark.parametrize("rate", ["24", "25", "29.97", "29.97df", "30"])
def test_each_rate_places_reels_against_each_other(tmp_path: Path, capsys: Capsys, rate: str) -> None:
    """Two tapes of other sound lie as far apart as they were captured, to a sample, and nobody is asked."""
    layout = Layout(tmp_path, frame_rate=rate)
    for number, start in enumerate((HOUR + 12345, HOUR + 12345 + 7 * RATE + 13)):
        layout.add_reel(f"R{number}", [f"Of {number}"])
        layout.add_pass(f"P{number}", f"R{number}", make_tape(5, 1, seed=number), start)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]
    first, second = (one["stretches"][0]["timeline_start"] for one in record["passes"])
    assert second - first == pytest.approx(7 * RATE + 13, abs=1)
    assert first == pytest.approx(HOUR + 12345, abs=1)
    assert {one["clock"]["verdict"] for one in record["passes"]} <= {"locked", "short"}


def test_sixteen_reels_of_eight_tracks_lie_on_one_timeline(tmp_path: Path, capsys: Capsys) -> None:
    """Sixteen tapes of eight tracks that ran in parallel, each a little later: 128 tracks, all in place."""
    layout = Layout(tmp_path)
    starts = [HOUR + 4321 * number for number in range(16)]
    for number, start in enumerate(starts):
        layout.add_reel(f"R{number + 1}", [f"R{number + 1} track {track + 1}" for track in range(8)])
        layout.add_pass(f"P{number + 1}", f"R{number + 1}", make_tape(3, 8, seed=number), start, poly=True)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]
    assert len(record["tracks"]) == 128
    for one, start in zip(record["passes"], starts, strict=True):
        # Three seconds of a coarse clock place a reel less surely than a minute does: to a sample and what is stated.
        doubt = 4 * one["clock"]["uncertainty_samples"] + 1
        assert doubt < 15
        assert one["stretches"][0]["timeline_start"] == pytest.approx(start, abs=doubt)


@pytest.mark.parametrize(("offset", "seconds"), [("-00:10:00:00", -600), ("00:10:00:15", 600.5)])
def test_an_offset_puts_a_reel_back_whose_timecode_was_restarted(
    tmp_path: Path, capsys: Capsys, offset: str, seconds: float
) -> None:
    """A tape that reads ten minutes more (or less) than the other lies beside it once the sheet says so."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(4, 1, seed=1), HOUR)
    layout.add_reel("B", ["Two"])
    layout.add_pass("B1", "B", make_tape(4, 1, seed=2), HOUR + RATE - round(seconds * RATE))
    sheet = layout.write()
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(
        text.replace('name = "B"\n', f'name = "B"\ntimecode_offset = "{offset}"\n'), encoding="utf-8"
    )
    status, record = run_json(capsys, "check", sheet)
    assert status == 0, record["notes"]
    first, second = (one["stretches"][0]["timeline_start"] for one in record["passes"])
    assert second - first == pytest.approx(RATE, abs=1)


def test_overlapping_reels_of_other_sound_are_joined_by_a_fade(tmp_path: Path, capsys: Capsys) -> None:
    """Two tapes of one track that overlap for a second and hold different sound there go over by a fade."""
    layout = Layout(tmp_path)
    for number, name in enumerate("AB"):
        layout.add_reel(name, ["Voice"])
        layout.add_pass(f"{name}1", name, make_tape(5, 1, seed=number), HOUR + number * 4 * RATE)
    _, record = run_json(capsys, "check", layout.write())
    (join,) = record["tracks"][0]["joins"]
    assert join["law"] == "constant_power"
    assert join["fade"] > 0
    assert 4 * RATE <= join["at"] <= 5 * RATE
    assert record["length"] == pytest.approx(9 * RATE, abs=1)


def test_a_check_shows_all_of_a_pass(tmp_path: Path, capsys: Capsys) -> None:
    """Source, rate, ends, slope, jitter, missing share, doubt and verdict stand in the table, and in the record."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(20, 1), HOUR)
    log = tmp_path / "captures" / "A1" / "timecode.mid"
    write_log(log, 30 * 3600, 20, jitter_seconds=0.002)
    sheet = layout.write()
    status, record = run_json(capsys, "check", sheet)
    assert status == 0, record["notes"]
    assert run(["check", str(sheet)]) == 0
    lines = capsys.readouterr().out.splitlines()
    head, row = next(pair for pair in pairwise(lines) if pair[0].startswith("Pass "))
    (one,) = record["passes"]
    clock = one["clock"]
    names = ("Pass", "Reel", "From", "To", "Position", "Clock", "Rate", "Slope ppm", "Jitter ms", "Missing")
    assert [name for name in (*names, "± samples", "± ms") if name not in head] == []
    begin = one["stretches"][0]["timeline_start"]
    ends = [format_sample(sample, frame_rate("30"), RATE) for sample in (begin, begin + 20 * RATE)]
    # What is shown is the whole of the doubt: of this log, and what all logs share.
    doubt = math.hypot(clock["uncertainty_samples"], clock["common_samples"])
    assert row.split() == [
        *("A1", "A", *ends, "mtc", "locked", "48000"),
        f"{clock['slope_ppm']:+.1f}",
        f"{clock['jitter_ms']:.2f}",
        f"{clock['missing_share']:.1%}",
        f"{doubt:.2f}",
        f"{1000 * doubt / RATE:.3f}",
        "0",
    ]
    # The width of even lateness is what it was made with.
    assert clock["jitter_ms"] == pytest.approx(2.0, abs=0.05)
    assert abs(clock["slope_ppm"]) < 10
