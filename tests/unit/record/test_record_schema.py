"""The record against its JSON schema (draft 2020-12, read by the jsonschema library), and against its own reader."""

from __future__ import annotations

import copy
import json
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from assembler.consolidator import build_set, check_session
from assembler.record.record import record_text
from assembler.record.recorded.reading import read_record
from assembler.verdict.states import worst_of
from tests.support.sessions import HOUR, RATE, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SCHEMA = json.loads(resources.files("assembler.record").joinpath("assembly.schema.json").read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the sheet of a session with a slip, a fade between reels, silence, an uncured place and transfer notes."""
    folder = tmp_path_factory.mktemp("schema")
    tape, other = make_tape(4, 2, seed=5), make_tape(2, 1, seed=6)
    slipped = np.delete(tape, slice(50_000, 50_400), axis=0)
    tape[150_000:151_000, 1] = slipped[149_600:150_600, 1] = 0
    reel = '[[reel]]\nname = "B"\ntracks = ["One"]\nprepared = { baked_c = 54.4, at = 2024-03-09, cleaned = true }\n'
    layout = Layout(folder, more=reel)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", slipped, HOUR)
    layout.add_pass("A2", "A", tape[20_000:], HOUR + 20_000)
    layout.add_pass("B1", "B", other, HOUR + 3 * RATE + 20_000)
    return layout.write()


@pytest.fixture(scope="module")
def record(sheet: Path) -> Any:  # noqa: ANN401 - JSON
    """Return the record that a build of the session has written."""
    target = sheet.parent / "set"
    build_set(sheet, target)
    return json.loads((target / "data" / "assembly.json").read_text(encoding="utf-8"))


def test_the_schema_is_one() -> None:
    """The schema that ships holds to the draft it names."""
    Draft202012Validator.check_schema(SCHEMA)


def test_a_built_record_holds_to_the_schema(record: Any) -> None:  # noqa: ANN401
    """What a build writes is valid, and the session really has what the schema speaks of."""
    assert [error.message for error in VALIDATOR.iter_errors(record)] == []
    assert any("samples" in flaw for one in record["passes"] for flaw in one["flaws"])
    assert all("because" in flaw for one in record["passes"] for flaw in one["flaws"])
    assert any(join["fade"] for track in record["tracks"] for join in track["joins"])
    assert any(span["pass"] is None for track in record["tracks"] for span in track["spans"])
    assert {place["kind"] for place in record["uncured"]} >= {"mute"}
    assert record["reels"][1]["prepared"] == {"baked_c": 54.4, "at": "2024-03-09", "cleaned": True}


def test_the_clock_of_a_logged_pass_is_told_by_its_messages(record: Any) -> None:  # noqa: ANN401
    """Each pass has columns in order, at most 400, which the reader gives as they stand; older records have none."""
    read = read_record(record_text(record))
    for one, recorded in zip(read.passes, record["passes"], strict=True):
        columns = [vars(column) for column in one.clock.residuals]
        assert columns == recorded["clock"]["residuals"]
        assert 10 < len(columns) <= 400
        assert all(column["low"] <= column["high"] for column in columns)
        places = [column["sample"] for column in columns]
        assert places == sorted(places)
        assert [vars(stretch) for stretch in one.clock.stretches] == recorded["clock"]["stretches"]
    older = copy.deepcopy(record)
    for one in older["passes"]:
        del one["clock"]["residuals"]
    assert [error.message for error in VALIDATOR.iter_errors(older)] == []
    assert all(one.clock.residuals == () for one in read_record(record_text(older)).passes)
    older["passes"][0]["clock"]["residuals"] = [{"sample": 0, "low": 0.0, "high": 1.0}] * 401
    assert not VALIDATOR.is_valid(older)


def keys_of(schema: Any, value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:  # noqa: ANN401
    """Return the place of every key that the schema requires, in the first item of each list that has one."""
    if "$ref" in schema:
        schema = SCHEMA["$defs"][schema["$ref"].rsplit("/", 1)[1]]
    if isinstance(value, list):
        return keys_of(schema["items"], value[0], (*path, 0)) if value and "items" in schema else []
    found = [(*path, key) for key in schema.get("required", ())]
    for key, part in schema.get("properties", {}).items():
        if isinstance(value, dict) and key in value:
            found += keys_of(part, value[key], (*path, key))
    return found


def without(record: Any, path: tuple[str | int, ...]) -> Any:  # noqa: ANN401
    """Return a copy of a record without one key."""
    changed = copy.deepcopy(record)
    holder = changed
    for part in path[:-1]:
        holder = holder[part]
    del holder[path[-1]]
    return changed


def test_no_required_key_may_be_missing(record: Any) -> None:  # noqa: ANN401
    """A record that lacks any one of the keys it must have is refused by the schema."""
    paths = keys_of(SCHEMA, record)
    names = {str(path[-1]) for path in paths}
    fixed = {"format", "bit_depth", "polarity", "timeline_start", "rate_ratio", "cured", "pass_start"}
    assert names >= fixed | {"difference_peak", "uncured", "text"}
    assert [path for path in paths if VALIDATOR.is_valid(without(record, path))] == []


def stretches(record: Any) -> Any:  # noqa: ANN401
    """Return the stretches of the first track whose states are told."""
    return record["reels"][0]["states"][0]["stretches"]


WRONG: dict[str, Callable[[Any], object]] = {
    "another format": lambda r: r.update(format=3),
    "a length as text": lambda r: r.update(length="5"),
    "a negative place": lambda r: r["start"].update(sample=-1),
    "an unknown frame rate": lambda r: r["session"].update(frame_rate="60"),
    "an unknown bit depth": lambda r: r["session"].update(bit_depth=12),
    "a digest cut": lambda r: r["passes"][0]["files"][0].update(sha256="ab"),
    "a polarity of 0": lambda r: r["passes"][0].update(polarity=[0, 1]),
    "a channel of three numbers": lambda r: r["passes"][0].update(channels=[[0, 0, 0], [1, 0]]),
    "a place without its pass": lambda r: r["tracks"][0]["spans"][0].update({"pass": None}),
    "a pass without its place": lambda r: r["tracks"][0]["spans"][0].update(pass_start=None),
    "a correlation of 2": lambda r: r["tracks"][0]["joins"][0].update(correlation=2),
    "a file elsewhere": lambda r: r["tracks"][0].update(file="tracks/../../x.wav"),
    "no spans": lambda r: r["tracks"][0].update(spans=[]),
    "an unknown state": lambda r: stretches(r)[0].update(state="fine"),
    "a state from nowhere": lambda r: stretches(r)[0].update(start=-1),
    "states of no stretch": lambda r: r["reels"][0]["states"][0].update(stretches=[]),
}


@pytest.mark.parametrize("row", WRONG)
def test_wrong_values_are_refused_by_schema_and_reader(record: Any, row: str) -> None:  # noqa: ANN401
    """The schema and the program's own reader agree on what is no record, and the reader says so in one line."""
    wrong = copy.deepcopy(record)
    WRONG[row](wrong)
    assert not VALIDATOR.is_valid(wrong)
    with pytest.raises(ValueError, match=r"^[^\n]+$"):
        read_record(json.dumps(wrong).encode())


CONTRADICTING: dict[str, Callable[[Any], object]] = {
    "a gap between two states": lambda r: stretches(r)[1].update(start=stretches(r)[1]["start"] + 1),
    "a state that ends before it begins": lambda r: stretches(r)[0].update(end=stretches(r)[0]["start"]),
    "a track that ends before the others": lambda r: stretches(r)[-1].update(end=stretches(r)[-1]["end"] - 1),
    "states of a track that the tape has not": lambda r: r["reels"][0]["states"][0].update(track=2),
    "states of one track twice": lambda r: r["reels"][0]["states"][0].update(track=1),
}


@pytest.mark.parametrize("row", CONTRADICTING)
def test_states_that_contradict_themselves_are_refused(record: Any, row: str) -> None:  # noqa: ANN401
    """What a schema cannot say of the stretches of a tape the reader says, in one line."""
    wrong = copy.deepcopy(record)
    CONTRADICTING[row](wrong)
    with pytest.raises(ValueError, match=r"^reel A: states [^\n]+$"):
        read_record(json.dumps(wrong).encode())


def test_states_are_read_back_as_they_were_found(sheet: Path, record: Any) -> None:  # noqa: ANN401
    """Every stretch of every track, from the reel's first sample to its last; the worst of them for the reel."""
    edit = check_session(sheet).edit
    read = read_record(json.dumps(record).encode())
    for reel in read.reels:
        own = edit.states[reel.name]
        found = [(one.track, [(s.start, s.end, s.state) for s in one.stretches]) for one in reel.states]
        assert found == [(one.track, [(s.start, s.end, s.state) for s in one.stretches]) for one in own]
        assert reel.worst_states() == worst_of(own)
    assert {one.state for one in read.reels[0].worst_states()} >= {"proven", "seen_once", "flawed"}


SCHEMA_ONLY: dict[str, Callable[[Any], object]] = {
    "an unknown kind of flaw": lambda r: r["passes"][0]["flaws"][0].update(kind="noise"),
    "a slip without samples": lambda r: r["passes"][0]["flaws"].insert(
        0, {"kind": "slip", "start": 1, "end": 1, "tracks": [0], "cured": True}
    ),
    "an unknown kind of note": lambda r: r["notes"].insert(
        0, {"kind": "hint", "pass": None, "tracks": [], "start": None, "end": None, "text": "x"}
    ),
    "an unknown rule": lambda r: r["passes"][0]["flaws"][0]["because"].update(rule="guess"),
    "a lead as text": lambda r: r["passes"][0]["flaws"][0]["because"].update(nats="31.5"),
    "an identical join with a fade": lambda r: r["tracks"][1]["joins"][0].update(law="identical", fade=4),
    "an unknown law": lambda r: r["tracks"][0]["joins"][0].update(law="linear"),
}


@pytest.mark.parametrize("row", SCHEMA_ONLY)
def test_what_only_the_schema_looks_at(record: Any, row: str) -> None:  # noqa: ANN401
    """Keys that no sample depends on are held to their words by the schema."""
    wrong = copy.deepcopy(record)
    SCHEMA_ONLY[row](wrong)
    assert not VALIDATOR.is_valid(wrong)


def test_keys_may_be_added_anywhere(record: Any) -> None:  # noqa: ANN401
    """A later version's keys are no reason to refuse a record, for the schema and for the reader."""
    grown = copy.deepcopy(record)
    for holder in (
        grown,
        grown["session"],
        grown["passes"][0],
        grown["tracks"][0]["spans"][0],
        grown["start"],
    ):
        holder["later"] = {"any": [1, None]}
    assert VALIDATOR.is_valid(grown)
    assert read_record(json.dumps(grown).encode()) == read_record(json.dumps(record).encode())


def test_a_check_tells_the_record_that_a_build_writes(sheet: Path, record: Any) -> None:  # noqa: ANN401
    """Checking gives the same record but for what is known only once files are hashed and written."""
    told = json.loads(json.dumps(check_session(sheet).record))
    built = copy.deepcopy(record)
    for one in built["passes"]:
        for file in [*one["files"], *([one["log"]] if "log" in one else [])]:
            file["sha256"] = None
    for track in built["tracks"]:
        for key in ("file", "audio_sha256", "levels"):
            del track[key]
    assert told == built


def test_a_record_of_format_1_is_read(record: Any) -> None:  # noqa: ANN401
    """Notes that were named for more than is known are read by the names of format 2; nothing else differs."""
    old = copy.deepcopy(record)
    old["format"] = 1
    names = {"tape_suspected": "tape_damage", "machine_suspected": "machine_damage"}
    for note in old["notes"]:
        note["kind"] = names.get(note["kind"], note["kind"])
    assert {note["kind"] for note in old["notes"]} >= {"tape_damage"}
    read = read_record(record_text(old))
    assert read.format == 1
    assert read.model_copy(update={"format": 2}) == read_record(record_text(record))


def test_notes_of_the_sheet_are_told_before_a_build(tmp_path: Path) -> None:
    """A caution on baking and a name that ASCII cannot hold are notes, and no reason for status 1."""
    layout = Layout(tmp_path, more='[[reel]]\nname = "A"\ntracks = ["Krüge"]\nprepared = { baked_c = 80 }\n')
    layout.add_pass("A1", "A", make_tape(2, 1), "01:00:00:00")
    result = check_session(layout.write())
    (caution,) = [note.text for note in result.edit.notes if note.kind == "caution"]
    assert caution.startswith(
        "reel A: baked at 80 °C: outside what this program has seen; what was done, not advice; "
    )
    texts = [note.text for note in result.edit.notes if note.kind == "other"]
    assert "track 1 'Krüge' stands as 'Kruge' in bext, markers and INFO, which hold ASCII alone" in texts
    assert result.edit.is_sound
