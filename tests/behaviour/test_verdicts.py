"""One decision on what needs a person: exit status, terminal, page, record and JSON say the same."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources
from typing import TYPE_CHECKING, Any, get_args

import pytest

from assembler.aligner import align_session
from assembler.cli.commands import run
from assembler.verdict.notes import NEED_A_PERSON, Note, NoteKind
from tests.support.pages import ReadPage
from tests.support.sessions import Layout, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.aligner import Edit

ASKING = {"undecided", "retake_refused", "track_left_out", "not_clocked", "not_transparent", "level_differs"}
"""Kinds of note that only a person can settle."""

SCHEMA = json.loads(resources.files("assembler.record").joinpath("assembly.schema.json").read_text("utf-8"))
KINDS = sorted(SCHEMA["properties"]["notes"]["items"]["properties"]["kind"]["enum"])


def test_notes_have_the_kinds_of_the_schema() -> None:
    """What the program may write and what the published schema allows is one list."""
    assert sorted(get_args(NoteKind)) == KINDS
    assert set(NEED_A_PERSON) == ASKING


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the sheet of a session of one sound pass."""
    layout = Layout(tmp_path_factory.mktemp("verdict"))
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(0.5, 1), "01:00:00:00")
    return layout.write()


@pytest.mark.parametrize("kind", KINDS)
def test_all_verdicts_follow_one_decision(
    sheet: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    kind: NoteKind,
) -> None:
    """A note alone, of each kind, with no uncured place: a question is told as such everywhere, all else nowhere."""
    align = align_session

    def align_and_note(*arguments: Any, **options: Any) -> Edit:  # noqa: ANN401
        edit = align(*arguments, **options)
        return replace(edit, notes=(*edit.notes, Note(kind, "found so", "A1")))

    monkeypatch.setattr("assembler.consolidator.building.align_session", align_and_note)
    monkeypatch.setattr("assembler.consolidator.checking.align_session", align_and_note)
    is_asking = kind in ASKING
    verdicts = ["Needs a person", "In order"] if is_asking else ["In order", "Needs a person"]
    for command in (["check", sheet], ["build", sheet, "-o", tmp_path / "set"]):
        assert run([str(one) for one in command]) == int(is_asking)
        out, err = capsys.readouterr()
        assert ("found so" if kind == "caution" else f"{kind.replace('_', ' ')}: found so") in out
        assert f"\n{verdicts[0]}" in out
        assert verdicts[1] not in out
        assert ("Needs a person: found so" in err) is (is_asking and command[0] == "build")
    assert run(["plan", str(sheet)]) == int(is_asking)
    page = ReadPage((tmp_path / "set" / "data" / "report.html").read_text(encoding="utf-8"))
    assert page.verdict.startswith(verdicts[0])
    assert verdicts[1] not in page.text
    capsys.readouterr()
    status, told = run_json(capsys, "check", sheet)
    record = json.loads((tmp_path / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    assert (status, told["sound"], record["sound"]) == (int(is_asking), not is_asking, not is_asking)


def test_an_uncured_place_alone_needs_a_person(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A mute that a lone pass has, with no note that asks: the same verdict everywhere."""
    tape = make_tape(4, 1)
    tape[90000:92000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    assert run(["build", str(layout.write()), "-o", str(tmp_path / "set")]) == 1
    assert "\nNeeds a person" in capsys.readouterr().out
    record = json.loads((tmp_path / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    assert record["uncured"]
    assert not any(note["needs_a_person"] for note in record["notes"])
    assert record["sound"] is False
    page = ReadPage((tmp_path / "set" / "data" / "report.html").read_text(encoding="utf-8"))
    assert page.verdict.startswith("Needs a person. 1 uncured place. Everything else")
