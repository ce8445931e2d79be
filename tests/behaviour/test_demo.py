"""The demo session from end to end, against the truth that its generator knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assembler.demo import demo_truth, write_demo
from tests.support.sessions import run_json

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_demo_gives_the_tapes_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every sample of both tapes comes back but the one place that is lost in both passes, which is listed."""
    write_demo(tmp_path / "session")
    sheet = tmp_path / "session" / "session.toml"
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    truth = demo_truth()
    reel_names = {one["reel"] for one in record["passes"]}
    assert reel_names == set(truth.reels)
    lost = record["uncured"]
    tracks = ("Organ", "Reed", "Pad", "Room")
    assert [(place["reel"], place["track"], place["kind"]) for place in lost] == [
        ("B", track, "mute") for track in tracks
    ]
    assert len({(place["start"], place["end"]) for place in lost}) == 1
    assert "tape_suspected" in {note["kind"] for note in record["notes"]}
    assert "undecided" not in {note["kind"] for note in record["notes"]}
    open_flaws = [
        (one["name"], flaw["kind"]) for one in record["passes"] for flaw in one["flaws"] if not flaw["cured"]
    ]
    assert set(open_flaws) == {("B1", "mute"), ("B2", "mute")}
    kinds = {
        (one["name"], flaw["kind"]) for one in record["passes"] for flaw in one["flaws"] if flaw["cured"]
    }
    assert {("A1", kind) for kind in ("means", "mute", "click", "repeat", "slip")} <= kinds
    assert {("A2", "means"), ("B1", "means"), ("B2", "means"), ("B2", "click")} <= kinds
    woven = [track["name"] for track in record["tracks"] if any("filled" in one for one in track["spans"])]
    assert woven == list(tracks)
    for track in record["tracks"]:
        (reel,) = track["reels"]
        tape = truth.reels[reel][:, (track["number"] - 1) % 8]
        out, _ = soundfile.read(tmp_path / "set" / "data" / track["file"], dtype="int16")
        # Timecode places a reel to a few samples; from there on every sample has to be the tape's.
        offsets = range(-96, 97)
        base = record["start"]["sample"] - truth.first_sample
        covered = [s for s in track["spans"] if s["pass"] is not None]
        start, end = covered[0]["start"], covered[-1]["end"]
        differing = [
            int(np.count_nonzero(out[start:end] != tape[base + start + o : base + end + o])) for o in offsets
        ]
        assert min(differing) <= (lost[0]["end"] - lost[0]["start"] if track["name"] in tracks else 0)
