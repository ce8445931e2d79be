"""Stretches that no pass has right as a whole, woven of several: planned, built, told, proved.

What each pass lost is given to the program here, in place of what comparing would say.
"""

from __future__ import annotations

import json
import shutil
import tracemalloc
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from assembler.aligner import reel as examined_reels
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Lost, ReelFindings, Woven
from assembler.cli.commands import run
from assembler.consolidator import build_set, verify_set
from assembler.record.recorded.reading import read_record
from assembler.wave import WaveFile, decode_markers
from tests.support.sessions import HOUR, Layout, delivered, make_tape, run_json
from tests.unit.record.test_record_schema import SCHEMA

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.aligner.records.passes import PlacedPass
    from assembler.arrays import Int32s

WHY = Because(Rule.OUTVOTED)

Capsys = pytest.CaptureFixture[str]
Patch = pytest.MonkeyPatch

START, END = 90_000, 90_361
ODD, EVEN = (1, 2, 180), (0, 2, 181)


def concealed(tape: Int32s, places: Sequence[int]) -> Int32s:
    """Return a capture of which samples of track 0 are the mean of their neighbours, and surely wrong."""
    capture = tape.copy()
    for at in places:
        mean = (int(tape[at - 1, 0]) + int(tape[at + 1, 0])) // 2
        capture[at, 0] = mean if mean != tape[at, 0] else mean + 1
    return capture


def places_of(*runs: tuple[int, int, int], start: int = START) -> list[int]:
    """Return the samples of runs."""
    return [start + first + step * n for first, step, count in runs for n in range(count)]


def find(patch: Patch, woven: Sequence[Woven], more: Sequence[FoundFlaw] = ()) -> None:
    """Have comparing find woven stretches (set samples) with the flaws of their passes, and nothing else."""
    moved = tuple(replace(one, start=HOUR + one.start, end=HOUR + one.end) for one in woven)
    flaws = tuple(
        FoundFlaw(lost.pass_name, one.track, "means", one.start, one.end, because=WHY)
        for one in moved
        for lost in one.lost
    )
    others = tuple(replace(flaw, start=HOUR + flaw.start, end=HOUR + flaw.end) for flaw in more)
    found = ReelFindings((*flaws, *others), woven=moved)
    names = {flaw.pass_name for flaw in found.flaws}

    def compared(passes: Sequence[PlacedPass], *_: object) -> ReelFindings:
        return found if names <= {one.name for one in passes} else ReelFindings(())

    patch.setattr(examined_reels, "compare_reel", compared)


WOVEN = Woven(0, START, END, (Lost("A1", (ODD,)), Lost("A2", (EVEN,))))


def woven_session(folder: Path, more: str = "") -> tuple[Path, Int32s, dict[str, Int32s]]:
    """Write a reel in two passes that lost the odd and the even samples of one stretch."""
    tape = make_tape(4, 2)
    passes = {"A1": concealed(tape, places_of(ODD)), "A2": concealed(tape, places_of(EVEN))}
    layout = Layout(folder, more=more)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", passes["A1"], "01:00:00:00")
    layout.add_pass("A2", "A", passes["A2"][48_000:144_000], HOUR + 48_000)
    return layout.write(), tape, passes


def test_a_woven_stretch_is_the_tape(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Two passes that lost the odd and the even samples give the tape together, with no join, and are proved."""
    sheet, tape, _ = woven_session(tmp_path)
    find(monkeypatch, [WOVEN])
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    one, two = record["tracks"]
    assert one["joins"] == []
    filled = [{"pass": "A2", "pass_start": -48_000, "at": [[START + 1, 2, 180]]}]
    assert one["spans"] == [{"start": 0, "end": 192_000, "pass": "A1", "pass_start": 0, "filled": filled}]
    assert "filled" not in two["spans"][0]
    assert record["uncured"] == []
    assert [(p["name"], f["kind"], f["cured"]) for p in record["passes"] for f in p["flaws"]] == [
        ("A1", "means", True),
        ("A2", "means", True),
    ]
    assert [error.message for error in Draft202012Validator(SCHEMA).iter_errors(record)] == []
    result = verify_set(tmp_path / "set", against=sheet)
    assert (result.problems, result.proved_samples) == ((), 2 * 192_000)


def test_a_woven_stretch_is_told(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Terminal, page, markers, coding history and timeline name the stretch and both passes."""
    sheet, _, _ = woven_session(tmp_path)
    find(monkeypatch, [WOVEN])
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 0
    said = capsys.readouterr()
    assert "One: 1 stretch, 0.007 s" in said.out + said.err
    data = tmp_path / "set" / "data"
    page = (data / "report.html").read_text(encoding="utf-8")
    assert '<td>A1</td><td>A2</td><td class="number">180</td><td class="number">359</td>' in page
    assert "woven A1 with A2, 180 of 359 samples" in (data / "timeline.otio").read_text(encoding="utf-8")
    with WaveFile(data / "tracks" / "01_One.wav") as file:
        (marker,) = decode_markers(file.read_chunk("cue ") or b"", file.read_chunk("LIST", "adtl") or b"")
        assert b"passes A1+A2" in (file.read_chunk("bext") or b"")
    assert (marker.sample, marker.length, marker.label) == (START + 1, 359, "Woven A1 with A2")
    assert "180 of 359 samples from A2" in marker.note


def test_three_passes_weave_a_stretch(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Each sample that a pass lost comes from the most trusted one that has it."""
    tape = make_tape(4, 2)
    lost = {
        "A1": [(0, 1, 20), (20, 3, 60)],
        "A2": [(0, 1, 10), (20, 6, 30)],
        "A3": [(10, 1, 10), (23, 6, 30)],
    }
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    for name, runs in lost.items():
        layout.add_pass(name, "A", concealed(tape, places_of(*runs)), "01:00:00:00")
    woven = Woven(0, START, START + 220, tuple(Lost(name, tuple(runs)) for name, runs in lost.items()))
    find(monkeypatch, [woven])
    sheet = layout.write()
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    (span,) = record["tracks"][0]["spans"]
    assert span["filled"] == [
        {"pass": "A2", "pass_start": 0, "at": [[START + 10, 1, 10], [START + 23, 6, 30]]},
        {"pass": "A3", "pass_start": 0, "at": [[START, 1, 10], [START + 20, 6, 30]]},
    ]
    assert not verify_set(tmp_path / "set", against=sheet).problems


def test_no_weaving_where_a_pass_is_right(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """A pass that has the stretch right as a whole is taken."""
    tape = make_tape(4, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    for name, runs in (("A1", [ODD]), ("A2", [EVEN]), ("A3", [])):
        layout.add_pass(name, "A", concealed(tape, places_of(*runs)), "01:00:00:00")
    find(monkeypatch, [WOVEN])
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    assert [span["pass"] for span in record["tracks"][0]["spans"]] == ["A1", "A3", "A1"]
    assert not any("filled" in span for span in record["tracks"][0]["spans"])


def test_a_stretch_that_is_not_whole_is_listed(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Where a sample is right in no pass nothing is woven, and the stretch stays uncured."""
    sheet, _, _ = woven_session(tmp_path)
    find(monkeypatch, [replace(WOVEN, lost=(Lost("A1", (ODD,)), Lost("A2", (EVEN, (33, 1, 1)))))])
    status, record = run_json(capsys, "check", sheet)
    assert status == 1
    assert [(place["start"], place["kind"]) for place in record["uncured"]] == [(START, "means")]


@pytest.mark.parametrize("mode", ["listed", "off"])
def test_a_sheet_may_want_no_weaving(tmp_path: Path, capsys: Capsys, monkeypatch: Patch, mode: str) -> None:
    """Where the sheet wants no cures of its own, the stretch stays as the pass has it, and is listed."""
    sheet, _, passes = woven_session(tmp_path, f'[repair]\nmode = "{mode}"\n')
    find(monkeypatch, [WOVEN])
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    assert np.array_equal(delivered(tmp_path / "set")[:, 0], passes["A1"][:, 0])
    assert [(place["start"], place["end"]) for place in record["uncured"]] == [(START, END)]


def test_a_punch_is_taken_as_it_is(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Inside a punch its pass stands as it is, and what is flawed of it is listed; beside it the stretch is woven."""
    punch = '[[punch]]\nreel = "A"\npass = "A2"\nstart = "01:00:01:00"\nend = "01:00:01:26"\n'
    tape = make_tape(4, 2)
    start = 89_500
    runs = (1, 2, 400), (0, 2, 400)
    layout = Layout(tmp_path, more=punch)
    layout.add_reel("A", ["One", "Two"])
    for name, run_ in zip(("A1", "A2"), runs, strict=True):
        layout.add_pass(name, "A", concealed(tape, places_of(run_, start=start)), "01:00:00:00")
    find(monkeypatch, [Woven(0, start, start + 800, (Lost("A1", (runs[0],)), Lost("A2", (runs[1],))))])
    border = round(48_000 * 56 / 30)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    wrong = np.flatnonzero(delivered(tmp_path / "set")[:, 0] != tape[:, 0])
    assert status == 1
    assert wrong.tolist() == [at for at in places_of(runs[1], start=start) if at < border]
    assert [(place["start"], place["end"]) for place in record["uncured"]] == [(start, border)]
    assert not verify_set(tmp_path / "set", against=tmp_path / "session.toml").problems


def test_a_plan_keeps_what_is_woven(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Unchanged a plan gives the same; a take that says so is woven also where another one was changed."""
    sheet, tape, passes = woven_session(tmp_path)
    find(monkeypatch, [WOVEN])
    plan = tmp_path / "plan.toml"
    assert run(["plan", str(sheet), "-o", str(plan)]) == 0
    capsys.readouterr()
    written = plan.read_text(encoding="utf-8")
    _, own = run_json(capsys, "build", sheet, "-o", tmp_path / "own")
    status, same = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "same")
    assert (status, same["tracks"], same["notes"]) == (0, own["tracks"], own["notes"])

    later = ' { at = "01:00:02:00", pass = "A2" }, { at = "01:00:02:15", pass = "A1" },\n]\n'
    plan.write_text(written.rstrip().removesuffix("]") + later, encoding="utf-8")
    status, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "set")
    assert any("a person's" in note["text"] for note in record["notes"])
    assert np.array_equal(delivered(tmp_path / "set")[:, 0], tape[:, 0])

    plan.write_text(written.replace(", woven = true", ""), encoding="utf-8")
    status, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "bare")
    assert status == 1
    assert np.array_equal(delivered(tmp_path / "bare")[:, 0], passes["A1"][:, 0])
    assert [place["kind"] for place in record["uncured"]] == ["means"]


def test_all_tracks_of_a_reel_stay_with_a_woven_pass(
    tmp_path: Path, capsys: Capsys, monkeypatch: Patch
) -> None:
    """Where the tracks of a reel change together, a woven stretch of one is no reason for any of them to change."""
    sheet, tape, _ = woven_session(tmp_path, '[repair]\nscope = "reel"\n')
    find(monkeypatch, [WOVEN])
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    assert [len(track["spans"]) for track in record["tracks"]] == [1, 1]


def test_a_join_inside_a_woven_stretch_is_proved(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """Where flaws on both sides make passes change inside a woven stretch, both sides are the tape, and equal."""
    tape = make_tape(4, 2)
    first, second = concealed(tape, places_of(ODD)), concealed(tape, places_of(EVEN))
    first[END : END + 4000, 0] = 0
    second[START - 4000 : START, 0] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", second, "01:00:00:00")
    mutes = [
        FoundFlaw("A1", 0, "mute", END, END + 4000, because=WHY),
        FoundFlaw("A2", 0, "mute", START - 4000, START, because=WHY),
    ]
    find(monkeypatch, [WOVEN], mutes)
    sheet = layout.write()
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    join = record["tracks"][0]["joins"][0]
    assert START < join["at"] < END
    assert (join["law"], join["fade"]) == ("identical", 0)
    assert not verify_set(tmp_path / "set", against=sheet).problems


def test_a_fade_mixes_what_is_woven(tmp_path: Path, capsys: Capsys, monkeypatch: Patch) -> None:
    """A reel that is woven up to its end fades into the next one as if one pass had it right."""
    tape, other = make_tape(2, 1), make_tape(2, 1, seed=9)
    start = tape.shape[0] - 400
    runs = {"A1": (1, 2, 199), "A2": (0, 2, 199)}
    sets = []
    for folder, passes in (("clean", {"A1": tape}), ("woven", dict.fromkeys(runs, tape))):
        layout = Layout(tmp_path / folder)
        layout.add_reel("A", ["One"])
        layout.add_reel("B", ["One"])
        for name, samples in passes.items():
            places = places_of(runs[name], start=start) if folder == "woven" else []
            layout.add_pass(name, "A", concealed(samples, places), "01:00:00:00")
        layout.add_pass("B1", "B", other, "01:00:01:15")
        lost = tuple(Lost(name, (one,)) for name, one in runs.items())
        find(monkeypatch, [Woven(0, start, start + 399, lost)] if folder == "woven" else [])
        sheet = layout.write()
        _, record = run_json(capsys, "build", sheet, "-o", tmp_path / folder / "set")
        assert not verify_set(tmp_path / folder / "set", against=sheet).problems
        sets.append(delivered(tmp_path / folder / "set"))
    (join,) = record["tracks"][0]["joins"]
    assert (join["law"], join["fade"]) == ("constant_power", 480)
    assert record["uncured"] == []
    (filled,) = record["tracks"][0]["spans"][0]["filled"]
    assert max(first + step * (count - 1) for first, step, count in filled["at"]) > join["at"]
    assert np.array_equal(sets[0], sets[1])


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a session and its set with a woven stretch."""
    folder = tmp_path_factory.mktemp("woven")
    sheet, _, _ = woven_session(folder)
    with pytest.MonkeyPatch.context() as patch:
        find(patch, [WOVEN])
        build_set(sheet, folder / "set")
    return folder


def forged(record: Any, **keys: object) -> Any:  # noqa: ANN401 - JSON
    """Return a copy of a record whose fill says otherwise."""
    copy = json.loads(json.dumps(record))
    copy["tracks"][0]["spans"][0]["filled"][0].update(keys)
    return copy


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"pass": "A9"}, "is filled from A9, no other pass of its reels"),
        ({"pass": "A1"}, "is filled from A1, no other pass of its reels"),
        ({"at": [[191_999, 2, 2]]}, "is filled from A2 beyond its ends"),
        ({"at": [[-1, 1, 1]]}, "is filled from A2 beyond its ends"),
        ({"at": [[47_999, 1, 1]]}, "is filled from beyond the ends of A2"),
        ({"at": [[144_000, 1, 1]]}, "is filled from beyond the ends of A2"),
        ({"at": [[90_001, 2, 180], [90_003, 7, 5]]}, "is filled twice"),
        ({"at": [[90_000, 1, 1]] * 3}, "is filled twice"),
        ({"at": []}, "tracks.0.spans.0.filled.0.at"),
        ({"at": [[90_001, 0, 180]]}, "tracks.0.spans.0.filled.0.at.0.1"),
        ({"at": [[90_001, 2]]}, "tracks.0.spans.0.filled.0.at.0"),
        ({"at": [[90_001, 1 << 70, 1 << 70]]}, "tracks.0.spans.0.filled.0.at.0.1"),
        ({"at": 5}, "tracks.0.spans.0.filled.0.at"),
        ({"pass_start": None}, "tracks.0.spans.0.filled.0.pass_start"),
        ({"at": [[90_001, 2, 179]]}, "is not sample 90359 of A1"),
        ({"pass_start": -47_999}, "is not sample 42002 of A2"),
        ({"at": [[90_000, 2, 180]]}, "is not sample 42000 of A2"),
    ],
)
def test_a_forged_fill_is_told(tmp_path: Path, built: Path, keys: dict[str, object], said: str) -> None:
    """A record whose fills are changed is told by one line, whether it contradicts itself or only the captures."""
    root = shutil.copytree(built / "set", tmp_path / "set")
    path = root / "data" / "assembly.json"
    record = forged(json.loads(path.read_text(encoding="utf-8")), **keys)
    path.write_text(json.dumps(record), encoding="utf-8")
    told = [one.text for one in verify_set(root, against=built / "session.toml").problems]
    assert any(said in text for text in told), told


@pytest.mark.parametrize(
    "keys",
    [
        {"pass": None},
        {"pass_start": 0.5},
        {"pass_start": "0"},
        {"at": []},
        {"at": [[90_001, 2]]},
        {"at": [[90_001, 2, 180, 1]]},
        {"at": [[90_001, 0, 180]]},
        {"at": [[90_001, 2, 0]]},
        {"at": [[90_001, 2.5, 3]]},
        {"at": {"first": 1}},
    ],
)
def test_schema_and_reader_refuse_what_is_no_fill(built: Path, keys: dict[str, object]) -> None:
    """The schema and the program's own reader agree on what a fill may look like."""
    record = json.loads((built / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    validator = Draft202012Validator(SCHEMA)
    assert validator.is_valid(forged(record))
    wrong = forged(record, **keys)
    assert not validator.is_valid(wrong)
    with pytest.raises(ValueError, match=r"^[^\n]+$"):
        read_record(json.dumps(wrong).encode())


def test_silence_is_not_filled(built: Path) -> None:
    """A span of silence has nothing to fill."""
    record = json.loads((built / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    record["tracks"][0]["spans"][0].update({"pass": None, "pass_start": None})
    assert not Draft202012Validator(SCHEMA).is_valid(record)
    with pytest.raises(ValueError, match="no other pass of its reels"):
        read_record(json.dumps(record).encode())


def test_a_record_full_of_fills_is_read_in_bounded_memory(built: Path) -> None:
    """Fills that claim more samples than there is room for are refused before they are laid out."""
    record = json.loads((built / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    wrong = forged(record, at=[[48_000, 1, 96_000]] * 20_000)
    tracemalloc.start()
    try:
        with pytest.raises(ValueError, match="is filled twice"):
            read_record(json.dumps(wrong).encode())
        assert tracemalloc.get_traced_memory()[1] < 100 << 20
    finally:
        tracemalloc.stop()
