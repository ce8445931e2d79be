"""Tables that say something of a stretch of a reel: what they hold, and what is told of a mistake in one."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.errors import SheetError
from assembler.sheet import Accepted, Sheet, Unrecorded, parse_sheet, sheet_error
from tests.support.sessions import toml_value

HEAD = """\
[session]
title = "Harvest supper"
sample_rate = 48000
bit_depth = 16
frame_rate = "30"
[[reel]]
name = "A"
tracks = ["Fiddle", "", "Bass"]
[[reel]]
name = "B"
tracks = ["Drum"]
[[pass]]
name = "A1"
reel = "A"
audio = "A1/*.wav"
[[pass]]
name = "A2"
reel = "A"
audio = "A2/*.wav"
[[pass]]
name = "B1"
reel = "B"
audio = "B1/*.wav"
"""
FIRST = HEAD.count("\n") + 1

ACCEPTED: dict[str, object] = {
    "reel": "A",
    "start": "01:00:10:00",
    "end": "01:00:11:00",
    "tracks": ["Bass"],
    "take": "A1",
    "reason": "it is on the tape",
    "by": "M. Weir",
}
PUNCH: dict[str, object] = {"reel": "A", "pass": "A1", "start": "01:00:10:00", "end": "01:00:11:00"}
UNRECORDED: dict[str, object] = {"reel": "A", "start": "01:00:10:00", "end": "01:00:11:00"}


def table(kind: str, values: dict[str, object], **changed: object) -> str:
    """Return a table as TOML; a key changed to None is left out."""
    rows = [
        f"{key} = {toml_value(value)}" for key, value in {**values, **changed}.items() if value is not None
    ]
    return "\n".join([f"[[{kind}]]", *rows, ""])


def parsed(text: str) -> Sheet:
    """Return the sheet of a text."""
    return parse_sheet(text.encode(), path=Path("session.toml"), folder=Path("session"))


def told(text: str) -> SheetError:
    """Return the error that a sheet raises."""
    with pytest.raises(SheetError) as caught:
        parsed(text)
    return caught.value


def test_tables_of_stretches_become_records() -> None:
    """Every key arrives; what is left out stands for all tracks, for the program's own take, for the passes above."""
    sheet = parsed(
        HEAD
        + table("accepted", ACCEPTED, passes=["A1"])
        + table("accepted", ACCEPTED, tracks=None, take=None)
        + table("unrecorded", UNRECORDED, tracks=["Fiddle", "Bass"])
        + table("unrecorded", UNRECORDED, reel="B")
        + table("punch", PUNCH, tracks=["Fiddle"])
    )
    words = {"reel": "A", "start": "01:00:10:00", "end": "01:00:11:00"}
    reason = {"reason": "it is on the tape", "by": "M. Weir"}
    assert sheet.accepted == (
        Accepted.model_validate({**words, **reason, "tracks": ["Bass"], "take": "A1", "passes": ["A1"]}),
        Accepted.model_validate({**words, **reason, "passes": ["A1", "A2"]}),
    )
    assert sheet.unrecorded == (
        Unrecorded.model_validate({**words, "tracks": ["Fiddle", "Bass"]}),
        Unrecorded.model_validate({**words, "reel": "B"}),
    )
    assert [(one.tracks, one.fade_ms) for one in sheet.punches] == [(("Fiddle",), None)]
    late = (
        sheet_error(sheet, sheet.accepted[1], "start", "x"),
        sheet_error(sheet, sheet.unrecorded[0], "end", "x"),
    )
    assert [str(error) for error in late] == [
        f"session.toml: line {FIRST + 11}: accepted[2].start: x",
        f"session.toml: line {FIRST + 18}: unrecorded[1].end: x",
    ]


def test_an_acceptance_knows_the_passes_above_it() -> None:
    """A pass listed behind it is newer; its own take is not; where none of the reel stands above, all are known."""
    later = '[[pass]]\nname = "A3"\nreel = "A"\naudio = "A3/*.wav"\n'
    plain = table("accepted", ACCEPTED, take=None)
    assert parsed(HEAD + plain + later).accepted[0].passes == ("A1", "A2")
    assert parsed(HEAD + later + plain).accepted[0].passes == ("A1", "A2", "A3")
    taken = table("accepted", ACCEPTED, take="A3")
    assert parsed(HEAD + taken + later).accepted[0].passes == ("A1", "A2", "A3")
    session, rest = HEAD.split("[[reel]]", 1)
    assert parsed(session + plain + "[[reel]]" + rest).accepted[0].passes == ("A1", "A2")
    assert parsed(session + taken + "[[reel]]" + rest + later).accepted[0].passes == ("A1", "A2", "A3")


# Kind, what is changed, the key that is told, its line counted from the table's own, and words of the error.
MISTAKES: list[tuple[str, dict[str, object], str, int, str]] = [
    ("accepted", {"reel": "C"}, "reel", 1, 'found the unknown reel "C"; allowed: "A", "B"'),
    ("accepted", {"take": "A9"}, "take", 5, 'found the unknown pass "A9"; allowed: "A1", "A2", "B1"'),
    ("accepted", {"take": "B1"}, "take", 5, 'a pass of reel "B"; allowed for reel "A": "A1", "A2"'),
    ("accepted", {"take": True}, "take", 5, "found true; allowed: the name of a pass"),
    (
        "accepted",
        {"tracks": ["Drum"]},
        "tracks",
        4,
        'unknown track "Drum"; allowed for reel "A": "Fiddle", "Bass"',
    ),
    ("accepted", {"tracks": [""]}, "tracks", 4, 'found "" as name 1 of the list; allowed: a name'),
    ("accepted", {"tracks": []}, "tracks", 4, "found an empty list; allowed: a list of 1 to 1024 names"),
    ("accepted", {"tracks": "Bass"}, "tracks", 4, 'found "Bass"; allowed: a list of 1 to 1024 names'),
    ("accepted", {"tracks": ["Bass", "Bass"]}, "tracks", 4, 'found "Bass" twice; allowed: each name once'),
    ("accepted", {"tracks": ["Bass", 3]}, "tracks", 4, "found 3 as name 2 of the list; allowed: a name"),
    ("accepted", {"passes": ["A1", "A9"]}, "passes", 8, 'found the unknown pass "A9"'),
    ("accepted", {"passes": ["B1"]}, "passes", 8, 'a pass of reel "B"'),
    ("accepted", {"passes": ["A2"]}, "take", 5, 'found "A1"; allowed: one of passes: "A2"'),
    ("accepted", {"end": "01:00:10:00"}, "end", 3, 'found "01:00:10:00"; allowed: a label after start'),
    ("accepted", {"end": "01:00:09:00"}, "end", 3, 'found "01:00:09:00"; allowed: a label after start'),
    ("accepted", {"start": "01:00:10:30"}, "start", 2, 'frames to 29 at frame_rate "30"'),
    ("accepted", {"reason": None}, "reason", 0, "missing; required: why the place may stand, a text"),
    ("accepted", {"reason": " "}, "reason", 6, "found nothing but spaces"),
    ("accepted", {"by": None}, "by", 0, "missing; required: who has decided, a text"),
    ("accepted", {"by": 3}, "by", 7, "found 3; allowed: who has decided, a text"),
    ("accepted", {"whom": "x"}, "whom", 8, "unknown key; allowed: reel, start, end, tracks, take"),
    ("unrecorded", {"reel": "C"}, "reel", 1, "found the unknown reel"),
    ("unrecorded", {"tracks": ["Drum"]}, "tracks", 4, 'unknown track "Drum"'),
    ("unrecorded", {"tracks": []}, "tracks", 4, "found an empty list"),
    ("unrecorded", {"end": "01:00:09:00"}, "end", 3, "allowed: a label after start"),
    ("unrecorded", {"pass": "A1"}, "pass", 4, "unknown key; allowed: reel, start, end, tracks"),
    ("unrecorded", {"start": None}, "start", 0, "missing; required: a timecode label"),
    ("punch", {"tracks": ["Drum"]}, "tracks", 5, 'unknown track "Drum"'),
    ("punch", {"tracks": []}, "tracks", 5, "found an empty list"),
    ("punch", {"track": ["Bass"]}, "track", 5, 'unknown key; did you mean "tracks"?'),
]


@pytest.mark.parametrize(("kind", "changed", "key", "row", "words"), MISTAKES)
def test_a_mistake_in_a_stretch_is_told_with_line_and_key(
    kind: str, changed: dict[str, object], key: str, row: int, words: str
) -> None:
    """One mistake, one plain line: file, line, key, what was found and what is allowed."""
    values = {"accepted": ACCEPTED, "unrecorded": UNRECORDED, "punch": PUNCH}[kind]
    error = told(HEAD + table(kind, values, **changed))
    assert words in error.problem
    assert str(error).startswith(f"session.toml: line {FIRST + row}: {kind}[1].{key}: ")
    assert "\n" not in str(error)
    assert "more in this sheet" not in str(error)


@pytest.mark.parametrize("kind", ["accepted", "unrecorded"])
def test_stretches_are_several_tables(kind: str) -> None:
    """A single table where several are meant is told."""
    error = told(HEAD + f'[{kind}]\nreel = "A"\n')
    assert error.line == FIRST
    assert f"allowed: tables that each begin with [[{kind}]]" in error.problem


PAIRS: list[tuple[str, dict[str, object], str, dict[str, object], bool]] = [
    ("accepted", {}, "accepted", {"take": "A2"}, False),
    ("accepted", {}, "accepted", {"take": "A2", "tracks": None}, False),
    ("accepted", {}, "accepted", {"take": "A2", "tracks": ["Fiddle", "Bass"]}, False),
    ("accepted", {}, "accepted", {"take": "A2", "start": "23:00:00:00", "end": "01:00:10:01"}, False),
    ("accepted", {}, "accepted", {"take": "A2", "tracks": ["Fiddle"]}, True),
    ("accepted", {}, "accepted", {"take": "A2", "start": "01:00:11:00", "end": "01:00:12:00"}, True),
    ("accepted", {}, "accepted", {"take": None}, True),
    ("accepted", {}, "accepted", {"by": "another"}, True),
    ("punch", {"pass": "A2"}, "accepted", {}, False),
    ("punch", {"pass": "A2", "tracks": ["Fiddle"]}, "accepted", {}, True),
    ("punch", {"pass": "A1"}, "accepted", {}, True),
    ("punch", {}, "punch", {"pass": "A2"}, False),
    ("punch", {"tracks": ["Fiddle"]}, "punch", {"pass": "A2"}, False),
    ("punch", {"tracks": ["Fiddle"]}, "punch", {"pass": "A2", "tracks": ["Bass"]}, True),
]


@pytest.mark.parametrize(("first", "one", "second", "other", "is_good"), PAIRS)
def test_two_passes_for_one_place_of_a_track_are_refused(
    first: str,
    one: dict[str, object],
    second: str,
    other: dict[str, object],
    is_good: bool,  # noqa: FBT001 - a column of the table
) -> None:
    """Punches and takes of accepted places that ask for different passes meet on no track; both lines are told."""
    values = {"accepted": ACCEPTED, "punch": PUNCH}
    top = HEAD + table(first, values[first], **one)
    text = top + table(second, values[second], **other)
    if is_good:
        assert parsed(text).accepted or parsed(text).punches
        return
    error = told(text)
    number = 2 if first == second else 1
    start = top.count("\n") + (3 if second == "punch" else 2) + 1
    assert str(error).startswith(f"session.toml: line {start}: {second}[{number}].start: ")
    line = FIRST + (3 if first == "punch" else 2)
    assert f"of which {first}[1] (line {line}) takes a part from" in error.problem


labels = st.from_regex(r"0[0-3]:0[0-9]:[0-6][0-9]:[0-3][0-9]", fullmatch=True) | st.text(max_size=8)
odd = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.text(max_size=5)
    | st.lists(st.text(max_size=3), max_size=3)
)
names = st.sampled_from(["A", "B", "A1", "A2", "B1", "Fiddle", "Drum"])


@settings(deadline=None, max_examples=200)
@given(
    st.sampled_from(["punch", "accepted", "unrecorded"]),
    st.dictionaries(
        st.sampled_from(["reel", "pass", "take", "passes", "tracks", "reason", "by", "fade_ms", "x"]),
        odd | names | st.lists(names, max_size=3),
    ),
    labels,
    labels,
)
def test_any_table_is_read_or_refused_in_a_line(
    kind: str, values: dict[str, object], start: str, end: str
) -> None:
    """Whatever a table holds: a sheet, or one line that names the sheet's line and the table; never anything else."""
    text = HEAD + table(kind, values, start=start, end=end)
    problem: SheetError | None = None
    try:
        sheet = parsed(text)
        assert len([*sheet.punches, *sheet.accepted, *sheet.unrecorded]) == 1
    except SheetError as error:
        problem = error
    assert problem is None or (problem.line is not None and "\n" not in str(problem))
