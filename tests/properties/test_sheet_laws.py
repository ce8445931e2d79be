"""Laws of names, of places in TOML and of drafts."""

from __future__ import annotations

import json
import tomllib
import unicodedata
from pathlib import Path

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from assembler.drafting.found import Draft, DraftPass
from assembler.drafting.writing import write_draft
from assembler.sheet import file_name, natural_key, parse_sheet
from assembler.sheet.text.places import KeyPath, find_places

names = (
    st.text(max_size=60)
    | st.text("aA.- _2/\u00e9\u0301", max_size=8)
    | st.sampled_from(["CON", "nul.x", "x" * 200])
)


@settings(deadline=None)
@given(names)
@example("\u0958")  # grows when it is normalised: composition excluded (Unicode, CompositionExclusions.txt)
@example("con ." + "x" * 99)
def test_a_file_name_is_safe_and_final(name: str) -> None:
    """Whatever the name: short, composed, no separators or escapes, no dots or spaces at the ends,
    idempotent.
    """
    result = file_name(name)
    assert 0 < len(result.encode()) <= 100
    assert unicodedata.is_normalized("NFC", result)
    assert not set(result) & set('/\\:*?"<>|%\r\n\0')
    assert result == result.strip(" .")
    assert result.split(".")[0].rstrip().lower() not in {"con", "prn", "aux", "nul", "com1", "lpt9"}
    assert file_name(result) == result


@settings(deadline=None)
@given(st.lists(st.text("aA1209. ", max_size=6), max_size=8))
def test_natural_order_does_not_depend_on_the_order_before(many: list[str]) -> None:
    """Any names can be compared, and their order is settled."""
    backwards = list(reversed(many))
    assert sorted(many, key=natural_key) == sorted(backwards, key=natural_key)


@settings(deadline=None)
@given(st.integers(0, 10**12), st.integers(0, 10**12), st.text("abc_", max_size=3))
def test_natural_order_of_numbers_is_their_order(first: int, second: int, text: str) -> None:
    """Two names that differ in a number come in the order of the numbers."""
    assume(first != second)
    assert (natural_key(f"{text}{first}.wav") < natural_key(f"{text}{second}.wav")) == (first < second)


bare_keys = st.text("ab1-_", min_size=1, max_size=2)
quoted_keys = st.text('ab.]["=#\u00e9\n\\', max_size=3).map(json.dumps)
literal_keys = st.text('ab.]["=#\\', max_size=3).map(lambda text: f"'{text}'")
dotted_keys = st.lists(bare_keys | quoted_keys | literal_keys, min_size=1, max_size=3).map(" . ".join)
values = st.sampled_from(
    [
        "1",
        "1995-09-02",
        '"text with # and [ and \\" and ="',
        "'literal \\'",
        '"""\nlines\nx = 1\n[[not.a.table]]\n"quoted" \\"""\n"""',
        '""""a""""',
        "'''\n[no] = 'x'\n'''''",
        "[1, [2, 3], # comment ] with bracket\n 4]",
        "[\"a]\", 'b[',\n]",
        '{ x = 1, y = { z = "}" } }',
        '[{ a = 1 },\n { a = "]" }]',
    ]
)
statements = st.one_of(
    st.builds("{} = {}".format, dotted_keys, values),
    st.builds("  {}={} # comment \" ' [".format, bare_keys, values),
    st.builds("[{}]".format, dotted_keys),
    st.builds("[[ {} ]] # comment".format, dotted_keys),
    st.sampled_from(["", "# comment = [", "   ", '\t# """']),
)


@st.composite
def documents(draw: st.DrawFn) -> list[str]:
    """Statements that tomllib takes together, one after another; those it refuses are left out."""
    kept: list[str] = []
    for statement in draw(st.lists(statements, max_size=12)):
        try:
            tomllib.loads("\n".join([*kept, statement]))
        except tomllib.TOMLDecodeError:
            continue
        kept.append(statement)
    return kept


def has(text: str, keys: KeyPath) -> bool:
    """Whether tomllib finds something at a key path."""
    value: object = tomllib.loads(text)
    for key in keys:
        if isinstance(value, list) and isinstance(key, int):
            value = value[key] if key < len(value) else None
        else:
            value = value.get(str(key)) if isinstance(value, dict) else None
    return value is not None


def keys_outside_values(text: str) -> set[KeyPath]:
    """The paths of top-level keys, which must all have a place."""
    return {(key,) for key in tomllib.loads(text)}


@settings(deadline=None)
@given(documents(), st.sampled_from(["\n", "\r\n"]))
def test_each_place_is_where_tomllib_first_sees_the_key(kept: list[str], line_end: str) -> None:
    """Cut before the statement on its line, tomllib does not have the key yet; cut after it, it does."""
    text = line_end.join(statement.replace("\n", line_end) for statement in kept)
    starts = [1]
    for statement in kept:
        starts.append(starts[-1] + statement.count("\n") + 1)
    places = find_places(text)
    assert keys_outside_values(text) <= places.keys()
    for keys, line in places.items():
        number = starts.index(line)
        assert not has("\n".join(kept[:number]), keys)
        assert has("\n".join(kept[: number + 1]), keys)


@settings(deadline=None)
@given(st.text("a.=[]{}\"'#\\\n \t", max_size=200))
def test_places_are_looked_for_in_any_text(text: str) -> None:
    """The scanner ends on any text, with lines that the text has."""
    assert all(1 <= line <= text.count("\n") + 1 for line in find_places(text).values())


file_names = st.text(
    st.characters(exclude_characters="/\ufffe\uffff", exclude_categories=["Cs", "Cc"]),
    min_size=1,
    max_size=12,
)
draft_passes = st.builds(
    DraftPass,
    name=file_names,
    files=st.lists(file_names.map("c/{}.wav".format), min_size=1, max_size=4, unique=True).map(tuple),
    tracks=st.integers(1, 8),
    sample_rate=st.sampled_from([None, 44_100, 48_000]),
    bit_depth=st.sampled_from([None, 16, 24]),
    log=st.none() | file_names.map("c/{}.mid".format),
    frame_rate=st.sampled_from([None, "24", "29.97df"]),
    notes=st.lists(st.text(max_size=20), max_size=2).map(tuple),
)


@settings(deadline=None, max_examples=30)
@given(st.text(max_size=20), st.lists(draft_passes, min_size=1, max_size=4))
@example("", [DraftPass("0", ("c/0.wav",), 1), DraftPass("\xa0", ("c/1.wav",), 1)])
def test_every_draft_parses(title: str, found: list[DraftPass]) -> None:
    """Whatever the names of folders and files: the draft is a sheet with a pass for each capture."""
    sheet = parse_sheet(write_draft(Draft(title, tuple(found))).encode(), path=None, folder=Path("x"))
    assert len(sheet.passes) == len(found)
    assert {each.timecode.value for each in sheet.passes} == {each.log for each in found}
