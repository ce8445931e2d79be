"""What a program does with the package, in the calls that its public face shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import assembler
from tests.support.sessions import HOUR, Layout, make_tape


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the sheet of a session with a mute that a second pass cures and one that none does, as text."""
    tape = make_tape(3, 2, seed=7)
    tape[100_000:101_000, 1] = 0
    flawed = tape.copy()
    flawed[60_000:60_500, 0] = 0
    layout = Layout(tmp_path_factory.mktemp("use"))
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", flawed, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    return str(layout.write())


def test_a_result_is_told_in_five_lines_and_plain_rows(sheet: str) -> None:
    """Rows hold texts and numbers only, and as many as the record has."""
    result = assembler.check_session(sheet)
    assert len(repr(result).splitlines()) == 5
    record: Any = result.record
    counts = [len(result.flaws()), len(result.joins()), len(result.uncured())]
    assert counts == [
        sum(len(one["flaws"]) for one in record["passes"]),
        sum(len(one["joins"]) for one in record["tracks"]),
        len(record["uncured"]),
    ]
    assert all(counts)
    rows = result.flaws() + result.joins() + result.uncured()
    assert {type(value) for row in rows for value in row.values()} <= {str, int, float, bool, type(None)}
    assert {"pass": "A1", "kind": "mute", "start": 60_000, "end": 60_500, "tracks": "1", "cured": True} in [
        {key: row[key] for key in ("pass", "kind", "start", "end", "tracks", "cured")}
        for row in result.flaws()
    ]


def test_what_is_shown_by_accident_is_short(sheet: str, tmp_path: Path) -> None:
    """An edit or a record at the end of a cell of a notebook is one line, and not the thousands that it holds."""
    result = assembler.build_set(sheet, tmp_path / "set")
    record = assembler.read_record((tmp_path / "set/data/assembly.json").read_bytes())
    for shown in (repr(result.edit), repr(record)):
        assert len(shown.splitlines()) == 1
        assert len(shown) < 200
        assert "2 tracks" in shown


def test_public_names_are_found_by_their_first_letters() -> None:
    """A shell that completes names asks for them before any is loaded."""
    assert set(assembler.__all__) <= set(dir(assembler))


@pytest.mark.parametrize("data", [b"", b"{}", b"[" * 100_000, b'{"format": 9}'])
def test_what_is_no_record_is_an_error_of_the_package(data: bytes) -> None:
    """One handler for all that is raised on purpose holds for records from anywhere, too."""
    with pytest.raises(assembler.AssemblerError, match="record of a set"):
        assembler.read_record(data)


def test_an_open_session_reads_what_a_set_would_hold(sheet: str, tmp_path: Path) -> None:
    """The samples that are read are those of the set's files, decoded by libsndfile."""
    built = assembler.build_set(sheet, str(tmp_path / "set"), page=assembler.report_page)
    assert assembler.verify_set(str(tmp_path / "set"), against=sheet).is_sound
    recorded = assembler.read_record((tmp_path / "set/data/assembly.json").read_bytes())
    # A page maker that is handed over gets the record and no views.
    assert assembler.report_page(recorded) == (tmp_path / "set/data/report.html").read_bytes()
    with assembler.open_session(sheet) as session:
        with pytest.raises(ValueError, match="not aligned yet"):
            session.read("One", 0, 1)
        edit = session.align()
        assert assembler.write_plan(session.sheet, edit) == assembler.write_plan(built.sheet, built.edit)
        assert edit.notes == built.edit.notes
        for track in recorded.tracks:
            written, _ = soundfile.read(tmp_path / "set/data" / track.file, dtype="int32")
            shift = 32 - recorded.session.word_length
            assert np.array_equal(session.read(track.name, 0, edit.length), written >> shift)
            assert np.array_equal(session.read(track.name, 59_000, 61_000), written[59_000:61_000] >> shift)
        with pytest.raises(ValueError, match="no track 'Three'; allowed: One, Two"):
            session.read("Three", 0, 1)
        with pytest.raises(ValueError, match="allowed: a range within 0 to"):
            session.read("One", 0, edit.length + 1)


def test_rows_of_passes_states_spans_and_notes_are_those_of_the_record(sheet: str) -> None:
    """Plain values; spans follow one another from the set's first sample to its last."""
    result = assembler.check_session(sheet)
    record: Any = result.record
    passes, states, spans, notes = result.passes(), result.states(), result.spans(), result.notes()
    assert [(row["pass"], row["start"]) for row in passes] == [
        (one["name"], one["stretches"][0]["timeline_start"] - record["start"]["sample"])
        for one in record["passes"]
    ]
    assert [(row["track"], row["start"], row["end"], row["pass"], row["pass_start"]) for row in spans] == [
        (track["name"], span["start"], span["end"], span["pass"], span["pass_start"] if span["pass"] else 0)
        for track in record["tracks"]
        for span in track["spans"]
    ]
    assert [(row["kind"], row["needs_a_person"]) for row in notes] == [
        (one["kind"], one["needs_a_person"]) for one in record["notes"]
    ]
    assert [row["start"] for row in states[1:]] == [row["end"] for row in states[:-1]]
    assert {row["state"] for row in states} == {"proven", "seen_once", "flawed"}
    rows = passes + states + spans + notes
    assert {type(value) for row in rows for value in row.values()} <= {str, int, float, bool, type(None)}


def test_captured_samples_are_those_of_the_files(sheet: str) -> None:
    """As libsndfile decodes them, zero before and behind; what is not there is told with what is."""
    folder = Path(sheet).parent / "captures"
    with assembler.open_session(sheet) as session:
        with pytest.raises(ValueError, match="not aligned yet"):
            _ = session.result
        for name in ("A1", "A2"):
            for number, track in enumerate(("One", "Two"), 1):
                samples, _ = soundfile.read(folder / name / f"{number:02d}.wav", dtype="int16")
                found = session.read_pass(name, track, -10, samples.size + 10)
                assert np.array_equal(found[10:-10], samples)
                assert not found[:10].any()
                assert not found[-10:].any()
        for wrong, words in (
            (("A3", "One", 0, 1), "no pass 'A3'; allowed: A1, A2"),
            (("A1", "Three", 0, 1), "no track 'Three'; allowed: One, Two"),
            (("A1", "", 0, 1), "no track ''"),
            (("A1", "One", 2, 1), "end is not before its start"),
        ):
            with pytest.raises(ValueError, match=words):
                session.read_pass(*wrong)
        session.align()
    assert session.result.flaws() == assembler.check_session(sheet).flaws()
    with pytest.raises(ValueError, match="the session is closed"):
        session.read_pass("A1", "One", 0, 1)


def test_reading_after_the_end_blames_no_file(sheet: str) -> None:
    """A session that is closed says so, and so does a capture that somebody still holds."""
    with assembler.open_session(sheet) as session:
        edit = session.align()
    with pytest.raises(ValueError, match="the session is closed"):
        session.read("One", 0, 1)
    with pytest.raises(ValueError, match="after its session was closed"):
        edit.passes[0].imported.audio.read(0, 0, 1)


def test_errors_are_named_on_the_face(tmp_path: Path) -> None:
    """A program catches what it gets without knowing the rooms."""
    with pytest.raises(assembler.SheetError):
        assembler.load_sheet(str(tmp_path / "none.toml"))
    assert issubclass(assembler.WaveError, assembler.CaptureError)
