"""What a person signs in the sheet: places that may stand, what was never recorded, punches of some tracks."""

from __future__ import annotations

import json
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from assembler.cli.commands import run
from assembler.consolidator import check_session, verify_set
from assembler.wave import WaveFile, decode_markers
from tests.support.pages import ReadPage
from tests.support.sessions import RATE, Layout, delivered, make_tape, run_json, toml_value

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s, Int64s

Capsys = pytest.CaptureFixture[str]

SCHEMA = json.loads(resources.files("assembler.record").joinpath("assembly.schema.json").read_text("utf-8"))

LOW, HIGH = 96_500, 98_000
"""A place of the tape that no pass has right: from within frame 01:00:02:00 to within frame 01:00:02:01."""
LATER = (
    '\n[[pass]]\nname = "A3"\nreel = "A"\naudio = "captures/A3/*.wav"\ntimecode = { start = "01:00:00:00" }\n'
)
UNTELLABLE = 7
"""So small a difference, in steps, of one stretch of sound that nothing tells which version is right."""


def accepted(**changed: object) -> str:
    """Return an accepted place over the flaw of the tape; a key changed to None is left out."""
    values: dict[str, object] = {
        "reel": "A",
        "start": "01:00:02:00",
        "end": "01:00:02:02",
        "reason": "it is on the tape",
        "by": "M. Weir",
        **changed,
    }
    rows = [f"{key} = {toml_value(value)}" for key, value in values.items() if value is not None]
    return "\n".join(["", "[[accepted]]", *rows, ""])


def stretch(kind: str, start: str, end: str, **more: object) -> str:
    """Return a table of a stretch of reel A."""
    rows = [
        f"{key} = {toml_value(value)}"
        for key, value in {"reel": "A", "start": start, "end": end, **more}.items()
    ]
    return "\n".join(["", f"[[{kind}]]", *rows, ""])


def with_hole(tape: Int32s, low: int = LOW, high: int = HIGH, value: int | Int64s = 0) -> Int32s:
    """Return a pass that has something else in a place of the second track."""
    held = tape.copy()
    held[low:high, 1] = value
    return held


def session(folder: Path, *passes: Int32s, more: str = "", later: Int32s | None = None) -> Path:
    """Write a reel of two tracks in passes A1, A2 and so on; ``later`` is A3, which stands in ``more``."""
    layout = Layout(folder)
    layout.add_reel("A", ["One", "Two"])
    for number, samples in enumerate(passes, 1):
        layout.add_pass(f"A{number}", "A", samples, "01:00:00:00")
    if later is not None:
        layout.add_pass("A3", "A", later, "01:00:00:00")
        layout.passes.pop()
    layout.more = more
    return layout.write()


@pytest.fixture(scope="module")
def tape() -> Int32s:
    """Return four seconds of two tracks."""
    return make_tape(4, 2)


def notes_with(record: Any, words: str) -> list[str]:  # noqa: ANN401 - JSON
    """Return the texts of notes that hold some words."""
    return [note["text"] for note in record["notes"] if words in note["text"]]


def asking(record: Any) -> list[str]:  # noqa: ANN401 - JSON
    """Return the kinds of notes that ask for a person."""
    return [note["kind"] for note in record["notes"] if note["needs_a_person"]]


def test_an_accepted_place_asks_for_nobody_and_stays_told(
    tmp_path: Path, capsys: Capsys, tape: Int32s
) -> None:
    """Status 0; record, page, markers, timeline and terminal keep the place with its verdict, who, and why."""
    holed = with_hole(tape)
    status, record = run_json(capsys, "check", session(tmp_path / "open", holed, holed))
    assert (status, record["sound"], len(record["uncured"])) == (1, False, 1)
    assert (record["accepted"], record["unrecorded"]) == ([], [])

    sheet = session(tmp_path / "signed", holed, holed, more=accepted())
    target = tmp_path / "set"
    status, record = run_json(capsys, "build", sheet, "-o", target)
    assert (status, record["sound"], asking(record)) == (0, True, [])
    (place,) = record["uncured"]
    assert (place["kind"], place["start"], place["end"]) == ("mute", LOW, HIGH)
    assert place["accepted"] == {"by": "M. Weir", "reason": "it is on the tape"}
    assert [flaw["cured"] for one in record["passes"] for flaw in one["flaws"]] == [False, False]
    (said,) = record["accepted"]
    assert (said["start"], said["end"], said["tracks"]) == (96_000, 99_200, [0, 1])
    assert (said["take"], said["passes"], said["void"]) == (None, ["A1", "A2"], [])
    (note,) = notes_with(record, "accepted by M. Weir: it is on the tape")
    assert note.startswith("reel A, 01:00:02:00 to 01:00:02:02, One, Two: ")
    assert [error.message for error in Draft202012Validator(SCHEMA).iter_errors(record)] == []

    page = ReadPage((target / "data" / "report.html").read_text(encoding="utf-8"))
    assert page.verdict.startswith("In order. ")
    assert "a person has accepted it as it is" in page.verdict
    assert not any("Uncured" in heading for heading in page.tables)
    rows = next(rows for heading, rows in page.tables.items() if heading.startswith("Accepted"))
    assert rows[1][-2:] == ["M. Weir", "it is on the tape"]
    with WaveFile(target / "data" / "tracks" / "02_Two.wav") as file:
        (marker,) = decode_markers(file.read_chunk("cue ") or b"", file.read_chunk("LIST", "adtl") or b"")
    assert (marker.sample, marker.length) == (LOW, HIGH - LOW)
    assert marker.label == "Uncured mute, accepted by M. Weir"
    assert marker.note.endswith("; it is on the tape")
    assert "uncured mute, accepted by M. Weir" in (target / "data" / "timeline.otio").read_text(
        encoding="utf-8"
    )
    result = verify_set(target, against=sheet)
    assert (result.problems, result.proved_samples) == ((), 2 * tape.shape[0])
    assert run(["check", str(sheet)]) == 0
    printed = capsys.readouterr().out
    assert "\nAccepted:\n  01:00:02:00+500 to 01:00:02:01+400, reel A, Two: mute, 1500 samples" in printed
    assert "\nUncured" not in printed
    assert check_session(sheet).uncured()[0]["accepted_by"] == "M. Weir"


@pytest.mark.parametrize(
    ("changed", "is_closed"),
    [
        ({"tracks": ["Two"]}, True),
        ({"tracks": ["One"]}, False),
        ({"start": "01:00:02:01", "end": "01:00:02:02"}, True),
        ({"end": "01:00:02:01"}, True),
        ({"start": "01:00:02:02", "end": "01:00:03:00"}, False),
        ({"start": "01:00:00:00", "end": "01:00:02:00"}, False),
        ({"start": "00:59:00:00", "end": "01:30:00:00"}, True),
        ({"take": "A2", "tracks": ["Two"]}, True),
    ],
)
def test_a_place_is_closed_where_the_acceptance_lies(
    tmp_path: Path,
    capsys: Capsys,
    tape: Int32s,
    changed: dict[str, object],
    is_closed: bool,  # noqa: FBT001 - a column of the table
) -> None:
    """On its tracks and in its frames, give or take what is less than a frame; one that fits nothing is told so."""
    holed = with_hole(tape)
    status, record = run_json(capsys, "check", session(tmp_path, holed, holed, more=accepted(**changed)))
    assert status == int(not is_closed)
    assert ["accepted" in place for place in record["uncured"]] == [is_closed]
    assert len(notes_with(record, "it fits no place that is open")) == int(not is_closed)


@pytest.mark.parametrize("what", ["mute", "undecided", "gap", "chain", "two tracks"])
def test_the_tables_that_a_check_prints_close_all_that_is_open(
    tmp_path: Path, capsys: Capsys, tape: Int32s, what: str
) -> None:
    """Pasted as they are they are refused for want of a name; with reason and name the session is in order."""
    holed, other = with_hole(tape), tape.copy()
    other[LOW:HIGH, 1] += UNTELLABLE
    both = holed.copy()
    both[LOW + 40_000 : LOW + 42_000, 0] = 0
    passes = {
        "mute": (holed, holed),
        "undecided": (tape, other),
        "gap": (with_hole(tape, 96_000, 116_000), with_hole(tape, 96_000, 116_000)),
        "chain": (tape, np.round(tape * 0.9).astype(np.int32)),
        "two tracks": (both, both),
    }[what]
    sheet = session(tmp_path, *passes)
    text = sheet.read_text()
    assert run(["check", str(sheet)]) == 1
    assert "--tables prints how" in capsys.readouterr().out
    assert run(["check", str(sheet), "--tables"]) == 1
    printed = capsys.readouterr().out
    tables = printed[printed.index("[[accepted]]") :]
    assert tables.count("[[accepted]]") == (2 if what == "two tracks" else 1)
    assert ("tracks = " in tables) == (what != "chain")
    sheet.write_text(f"{text}\n{tables}")
    assert run(["check", str(sheet)]) == 2
    assert "accepted[1].reason: found nothing" in capsys.readouterr().err
    signed = tables.replace('reason = ""', 'reason = "heard"').replace('by = ""', 'by = "M. Weir"')
    sheet.write_text(f"{text}\n{signed}")
    assert run(["check", str(sheet), "--tables"]) == 0
    assert "[[accepted]]" not in capsys.readouterr().out
    assert run(["check", str(sheet), "--tables", "--json"]) == 2
    assert "allowed: one of them" in capsys.readouterr().err


def test_what_sticks_out_of_an_acceptance_stays_open(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A place that is longer by frames is told in two parts, of which one asks."""
    holed = with_hole(tape, 96_000, 116_000)
    status, record = run_json(capsys, "check", session(tmp_path, holed, holed, more=accepted()))
    assert status == 1
    parts = [(one["start"], one["end"], "accepted" in one) for one in record["uncured"]]
    assert parts == [(96_000, 99_200, True), (99_200, 116_000, False)]


def test_an_undecided_place_is_decided_by_who_accepts_it(
    tmp_path: Path, capsys: Capsys, tape: Int32s
) -> None:
    """With a take the set has that pass there, as by a punch; without one what the program takes."""
    other = tape.copy()
    other[LOW:HIGH, 1] += UNTELLABLE
    status, record = run_json(capsys, "check", session(tmp_path / "open", tape, other))
    assert (status, asking(record)) == (1, ["undecided"])
    status, record = run_json(capsys, "check", session(tmp_path / "any", tape, other, more=accepted()))
    assert (status, asking(record), record["sound"]) == (0, [], True)
    (text,) = notes_with(record, "A1 and A2 differ")
    assert text.endswith("; accepted by M. Weir: it is on the tape")

    sheet = session(tmp_path / "take", tape, other, more=accepted(take="A2"))
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert (status, asking(record)) == (0, [])
    assert "A2 is taken, as it was accepted" in notes_with(record, "A1 and A2 differ")[0]
    assert [note["accepted"] for note in record["notes"] if "accepted" in note] == [
        {"by": "M. Weir", "reason": "it is on the tape"}
    ]
    assert [error.message for error in Draft202012Validator(SCHEMA).iter_errors(record)] == []
    with WaveFile(tmp_path / "set" / "data" / "tracks" / "02_Two.wav") as file:
        markers = decode_markers(file.read_chunk("cue ") or b"", file.read_chunk("LIST", "adtl") or b"")
    (marker,) = [one for one in markers if one.label == "Undecided, accepted by M. Weir"]
    assert (marker.sample, marker.length) == (LOW, HIGH - LOW)
    assert marker.note.endswith("; it is on the tape")
    timeline = (tmp_path / "set" / "data" / "timeline.otio").read_text(encoding="utf-8")
    assert "undecided, accepted by M. Weir" in timeline
    page = ReadPage((tmp_path / "set" / "data" / "report.html").read_text(encoding="utf-8"))
    assert any("accepted by M. Weir" in cell for rows in page.tables.values() for row in rows for cell in row)
    assert np.array_equal(delivered(tmp_path / "set")[LOW:HIGH], other[LOW:HIGH])
    assert verify_set(tmp_path / "set", against=sheet).problems == ()


def test_plans_keep_what_was_accepted(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """The program's own plan has the take; a person's without it leaves the place open, and tells why."""
    other = tape.copy()
    other[LOW:HIGH, 1] += UNTELLABLE
    sheet = session(tmp_path, tape, other, more=accepted(take="A2"))
    plan = tmp_path / "plan.toml"
    assert run(["plan", str(sheet), "-o", str(plan)]) == 0
    capsys.readouterr()
    _, own = run_json(capsys, "build", sheet, "-o", tmp_path / "own")
    status, hand = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "hand")
    assert (status, own["tracks"]) == (0, hand["tracks"])
    assert own["tracks"][1]["spans"][1]["pass"] == "A2"
    take = '[[track]]\nname = "{}"\ntake = [{{ at = "01:00:00:00", pass = "A1" }}]\n'
    plan.write_text("format = 1\n" + take.format("One") + take.format("Two"), encoding="utf-8")
    status, record = run_json(capsys, "check", sheet)
    assert status == 0
    status, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "other")
    assert (status, asking(record)) == (1, ["undecided"])
    assert notes_with(record, "but the plan has something else than A2 taken on")


@pytest.mark.parametrize("take", [None, "A2"])
def test_a_new_pass_that_changes_what_is_there_voids_an_acceptance(
    tmp_path: Path, capsys: Capsys, tape: Int32s, take: str | None
) -> None:
    """A pass listed behind it that has something else there: the place asks again; told, with how to keep it."""
    holed = with_hole(tape)
    noise = np.random.default_rng(3).integers(-20_000, 20_000, HIGH - LOW)
    third = with_hole(tape, value=noise)
    signed = accepted(take=take)
    sheet = session(tmp_path / "new", holed, holed, more=signed + LATER, later=third)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert (status, record["sound"]) == (1, False)
    assert not any("accepted" in place for place in record["uncured"])
    (text,) = notes_with(record, "void on Two: A3, which M. Weir did not judge by, has something else there")
    assert 'write passes = ["A1", "A2", "A3"] into it' in text
    assert record["accepted"][0]["void"] == [{"track": 1, "passes": ["A3"]}]
    assert [error.message for error in Draft202012Validator(SCHEMA).iter_errors(record)] == []
    # Who has signed it looks for their word where the place asks.
    assert run(["check", str(sheet), "--quiet"]) == 1
    (place,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  01:00:02:00+")]
    assert place.endswith("; accepted by M. Weir, and void for A3, see the notes")

    named = accepted(take=take, passes=["A1", "A2", "A3"])
    status, record = run_json(
        capsys, "check", session(tmp_path / "named", holed, holed, more=named + LATER, later=third)
    )
    assert (status, notes_with(record, "void")) == (0, [])
    status, record = run_json(capsys, "check", session(tmp_path / "above", holed, holed, third, more=signed))
    assert (status, notes_with(record, "void")) == (0, [])
    fewer = accepted(take=take, passes=["A1", "A2"])
    status, record = run_json(capsys, "check", session(tmp_path / "fewer", holed, holed, third, more=fewer))
    assert status == 1
    assert notes_with(record, "void on Two")


def test_a_new_pass_that_changes_nothing_there_voids_nothing(
    tmp_path: Path, capsys: Capsys, tape: Int32s
) -> None:
    """The same once more, a flaw elsewhere, or nothing there at all."""
    holed = with_hole(tape)
    wide = {"start": "01:00:00:00", "end": "01:00:03:00"}
    for name, third, changed in (
        ("same", holed, {}),
        ("elsewhere", with_hole(holed, 40_000, 41_000), wide),
        ("beside the take", with_hole(holed, 40_000, 41_000), {**wide, "take": "A2"}),
        ("ends", holed[:90_000], {}),
    ):
        sheet = session(tmp_path / name, holed, holed, more=accepted(**changed) + LATER, later=third)
        status, record = run_json(capsys, "check", sheet)
        assert (name, status, notes_with(record, "void")) == (name, 0, [])


def test_a_take_that_its_pass_does_not_hold_asks_for_a_person(
    tmp_path: Path, capsys: Capsys, tape: Int32s
) -> None:
    """A pass that ends within the place is no take of all of it: told, and the place stays open."""
    holed = with_hole(tape)
    sheet = session(tmp_path, holed, holed[:97_000], more=accepted(take="A2"))
    status, record = run_json(capsys, "check", sheet)
    assert (status, set(asking(record))) == (1, {"retake_refused"})
    assert notes_with(record, "accepted place 01:00:02:00 to 01:00:02:02, reel A: A2 does not hold all of it")
    assert notes_with(record, "but A2 does not hold all of it on One, Two, so that what is open there asks")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (accepted(tracks=["Drum"]), 'accepted[1].tracks: found the unknown track "Drum"'),
        (accepted(end="01:00:01:00"), "accepted[1].end: found"),
        (accepted(by=None), "accepted[1].by: missing"),
        (accepted(take="A1") + accepted(take="A2"), "accepted[2].start: found"),
        (
            stretch("unrecorded", "01:00:01:00", "01:00:02:00", tracks=[]),
            "unrecorded[1].tracks: found an empty",
        ),
    ],
)
def test_a_mistake_in_what_is_signed_writes_nothing(
    tmp_path: Path, capsys: Capsys, tape: Int32s, more: str, words: str
) -> None:
    """Status 2, one line with file, line and key, no set."""
    sheet = session(tmp_path, tape[:RATE], tape[:RATE], more=more)
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.strip().splitlines())) == ("", 1)
    assert "session.toml: line " in err
    assert words in err
    assert not (tmp_path / "set").exists()


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ("03:00:02:00", "03:00:02:02", "it lies outside of the set"),
        ("01:00:02:00", "02:00:02:02", "it reaches beyond the set"),
        ("00:59:00:00", "01:00:02:02", "it reaches beyond the set"),
        ("01:00:02:00", "01:00:02:02", ""),
    ],
)
def test_what_is_signed_beyond_the_set_is_reported(
    tmp_path: Path, capsys: Capsys, tape: Int32s, start: str, end: str, words: str
) -> None:
    """A mistyped hour closes more than is meant, or nothing: both kinds of stretches say where they end."""
    holed = with_hole(tape)
    for name, more in (
        ("accepted", accepted(start=start, end=end)),
        ("unrecorded", stretch("unrecorded", start, end, tracks=["Two"])),
    ):
        sheet = session(tmp_path / name, holed, holed, more=more)
        _, record = run_json(capsys, "check", sheet)
        assert bool(notes_with(record, "of the set") + notes_with(record, "beyond the set")) is bool(words)
        assert not words or notes_with(record, words)


def test_a_cure_makes_an_acceptance_needless(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A new pass has the place right: it is taken, also against a take that did not know it; told, nobody is asked."""
    holed = with_hole(tape)
    for take in (None, "A2"):
        sheet = session(
            tmp_path / f"cured {take}", holed, holed, more=accepted(take=take) + LATER, later=tape
        )
        target = tmp_path / f"set {take}"
        status, record = run_json(capsys, "build", sheet, "-o", target)
        assert (status, record["uncured"]) == (0, [])
        assert np.array_equal(delivered(target), tape)
        assert notes_with(record, "void on Two" if take else "it fits no place that is open")


def test_a_take_stands_where_all_passes_were_known(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A place that the program would cure by itself: who takes the other pass all the same gets it, and is told."""
    noise = np.random.default_rng(3).integers(-20_000, 20_000, HIGH - LOW)
    flawed = with_hole(tape, value=noise)
    sheet = session(tmp_path, tape, flawed, tape, more=accepted(take="A2", tracks=["Two"]))
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set")[LOW:HIGH], flawed[LOW:HIGH])
    assert all(place["accepted"]["by"] == "M. Weir" for place in record["uncured"])
    assert notes_with(record, "taken from A2")


def test_nothing_is_taken_where_nothing_is_repaired(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """Mode "off" makes no take, as it makes no punch: the place stays open, and the acceptance tells why."""
    other = tape.copy()
    other[LOW:HIGH, 1] += UNTELLABLE
    more = accepted(take="A2") + '[repair]\nmode = "off"\n'
    status, record = run_json(capsys, "check", session(tmp_path, tape, other, more=more))
    assert (status, asking(record)) == (1, ["undecided"])
    assert notes_with(record, 'but mode = "off"')


def test_a_whole_pass_may_be_accepted(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A pass that is nowhere identical asks for a person all along; so it is closed by who accepts all of it."""
    louder = np.round(tape * 0.9).astype(np.int32)
    sheet = session(tmp_path / "open", tape, louder)
    status, record = run_json(capsys, "check", sheet)
    assert (status, len(asking(record))) == (1, 1)
    part = accepted(start="01:00:00:00", end="01:00:02:00")
    status, record = run_json(capsys, "check", session(tmp_path / "part", tape, louder, more=part))
    assert status == 1
    whole = accepted(start="01:00:00:00", end="01:00:04:00", reason="gain on the way in")
    status, record = run_json(capsys, "check", session(tmp_path / "whole", tape, louder, more=whole))
    assert (status, asking(record)) == (0, [])
    assert len(notes_with(record, "; accepted by M. Weir: gain on the way in")) == 1
    assert notes_with(record, "it fits no place") == []
    target = tmp_path / "set"
    sheet = tmp_path / "whole" / sheet.name
    run_json(capsys, "build", sheet, "-o", target)
    paths = sorted((target / "data" / "tracks").iterdir())
    assert paths
    for path in paths:
        with WaveFile(path) as file:
            markers = decode_markers(file.read_chunk("cue ") or b"", file.read_chunk("LIST", "adtl") or b"")
        words = [one.label for one in markers if "accepted by" in one.label]
        assert words == ["Pass as it is, accepted by M. Weir"]
    assert verify_set(target, against=sheet).problems == ()


def test_silence_that_was_never_recorded_is_no_flaw(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A mute of all passes between borders within frames: told as a flaw, until the sheet says what it is."""
    holed = with_hole(tape, 96_500, 140_300)
    status, record = run_json(capsys, "check", session(tmp_path / "open", holed, holed))
    assert (status, len(record["uncured"])) == (1, 1)
    for name, start, end in (
        ("inside", "01:00:02:01", "01:00:02:27"),
        ("outside", "01:00:02:00", "01:00:02:28"),
    ):
        more = stretch("unrecorded", start, end, tracks=["Two"])
        sheet = session(tmp_path / name, holed, holed, more=more)
        status, record = run_json(capsys, "build", sheet, "-o", tmp_path / f"set {name}")
        assert (status, record["uncured"], record["sound"]) == (0, [], True)
        assert [one["flaws"] for one in record["passes"]] == [[], []]
        (said,) = record["unrecorded"]
        assert (said["reel"], said["tracks"]) == ("A", [1])
        assert (said["timecode"], said["timecode_end"]) == (start, end)
        assert notes_with(record, "never recorded, as the sheet says: Two")
        assert notes_with(record, "sounds there") == []
        assert [error.message for error in Draft202012Validator(SCHEMA).iter_errors(record)] == []
        assert verify_set(tmp_path / f"set {name}", against=sheet).problems == ()
    more = stretch("unrecorded", "01:00:02:01", "01:00:02:27", tracks=["One"])
    status, record = run_json(capsys, "check", session(tmp_path / "other", holed, holed, more=more))
    assert status == 1
    assert notes_with(record, "the sheet says that it was never recorded, yet A1 sounds there on One")


def test_a_gap_that_was_never_recorded_is_not_missing(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """Two captures with nothing between them: missing, unless nothing was ever there."""
    for name, more, is_open in (
        ("open", "", True),
        ("said", stretch("unrecorded", "01:00:01:00", "01:00:03:00"), False),
    ):
        layout = Layout(tmp_path / name, more=more)
        layout.add_reel("A", ["One", "Two"])
        layout.add_pass("A1", "A", tape[:RATE], "01:00:00:00")
        layout.add_pass("A2", "A", tape[3 * RATE :], "01:00:03:00")
        status, record = run_json(capsys, "check", layout.write())
        assert status == int(is_open)
        assert bool(record["uncured"]) is is_open


def test_silence_is_taken_where_nothing_was_recorded(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """One pass has noise of the machine there, the other silence: silence, nobody is asked, and the noise is told."""
    noise = np.random.default_rng(3).integers(-20_000, 20_000, HIGH - LOW)
    silent = with_hole(tape, 90_000, 110_000)
    long = silent, with_hole(silent, value=noise)
    more = stretch("unrecorded", "01:00:01:26", "01:00:02:09", tracks=["Two"])
    for name, passes in (("first", long), ("second", long[::-1])):
        sheet = session(tmp_path / name, *passes, more=more)
        status, record = run_json(capsys, "build", sheet, "-o", tmp_path / f"set {name}")
        assert (status, record["uncured"]) == (0, [])
        sounding = "A2" if name == "first" else "A1"
        assert notes_with(
            record, f"never recorded, yet {sounding} sounds there on Two, from 01:00:02:00+500 on"
        )
        assert not delivered(tmp_path / f"set {name}")[LOW:HIGH, 1].any()


def test_a_punch_may_take_some_tracks(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """Only these have the pass there; a plan and a proof of the set agree."""
    other = tape.copy()
    other[LOW:HIGH] += UNTELLABLE
    punch = stretch("punch", "01:00:02:00", "01:00:02:02", tracks=["One"], **{"pass": "A2"})
    sheet = session(tmp_path, tape, other, more=punch)
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    held = delivered(tmp_path / "set")
    assert np.array_equal(held[LOW:HIGH, 0], other[LOW:HIGH, 0])
    assert np.array_equal(held[:, 1], tape[:, 1])
    (text,) = notes_with(record, "A2 is taken, by a punch")
    assert ", One: " in text
    assert verify_set(tmp_path / "set", against=sheet).problems == ()
    assert run(["plan", str(sheet), "-o", str(tmp_path / "plan.toml")]) == 1
    capsys.readouterr()
    _, hand = run_json(capsys, "build", sheet, "--plan", tmp_path / "plan.toml", "-o", tmp_path / "hand")
    assert hand["tracks"] == record["tracks"]


def test_a_word_that_nobody_gave_is_found(tmp_path: Path, capsys: Capsys, tape: Int32s) -> None:
    """A record with another name or reason, or that is sound with an open place, contradicts itself or its sheet."""
    holed = with_hole(tape)
    assert (
        run(["build", str(session(tmp_path, holed, holed, more=accepted())), "-o", str(tmp_path / "set")])
        == 0
    )
    capsys.readouterr()
    path = tmp_path / "set" / "data" / "assembly.json"
    whole = json.loads(path.read_text(encoding="utf-8"))

    def problems(**changed: object) -> str:
        """Return what verifying tells of a record in which some keys are changed."""
        path.write_text(
            json.dumps({**whole, **changed}, ensure_ascii=False, indent=1) + "\n", encoding="utf-8"
        )
        return "\n".join(f"{one.path}: {one.text}" for one in verify_set(tmp_path / "set").problems)

    place = {key: value for key, value in whole["uncured"][0].items() if key != "accepted"}
    assert "uncured places that nobody has accepted" in problems(uncured=[place])
    forged = {**place, "accepted": {"by": "N. Body", "reason": "none"}}
    assert "on Two has the word of 'N. Body', who gave none" in problems(uncured=[forged])
    said = [{**whole["accepted"][0], "by": "N. Body"}]
    note = {
        "kind": "accepted",
        "text": "x",
        "needs_a_person": False,
        "pass": "A1",
        "accepted": forged["accepted"],
    }
    note |= {"tracks": [1], "start": LOW, "end": HIGH}
    assert "a note on 'A1' has the word of 'N. Body'" in problems(notes=[*whole["notes"], note])
    told = problems(uncured=[forged], accepted=said)
    assert "data/session.toml: accepted places is" in told


def test_a_take_that_begins_just_inside_its_place_closes_all_of_it(
    tmp_path: Path, capsys: Capsys, tape: Int32s
) -> None:
    """The hole begins 500 samples before the frame that is signed: that is meant, too, whoever it is taken from."""
    sheet = session(
        tmp_path,
        with_hole(tape, LOW - 1000),
        with_hole(tape, LOW - 1000),
        more=accepted(take="A2", passes=["A1", "A2"]),
    )
    _, record = run_json(capsys, "check", sheet)
    (place,) = record["uncured"]
    assert (place["start"], place["end"]) == (LOW - 1000, HIGH)
    assert place["accepted"]["by"] == "M. Weir"
    assert [one["taken"] for one in place["passes"]] == [True, True]
