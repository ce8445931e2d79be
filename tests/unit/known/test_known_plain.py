"""Values as JSON and back."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest

from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings
from assembler.aligner.records.timemap import Stretch, TimeMap
from assembler.known.plain import UnknowableError, from_plain, to_plain
from assembler.verdict.notes import Note
from assembler.verdict.states import State

FLAW = FoundFlaw("A1", 3, "mute", 10, 20, because=Because(Rule.STORY, 12.345678901234567))


@pytest.mark.parametrize(
    "value",
    [
        None,
        (True, 1, 1.5, math.inf, "a\u0000\ud800", ((), ((),))),
        [1, (2, [3])],
        {("A", "B"): frozenset({1, 2}), 3: {}},
        FLAW,
        ReelFindings((FLAW,), unlike={("A1", "A2"): 0.1}, witnesses=frozenset({("A1", 2)})),
        TimeMap((Stretch(0, 5, 7),), ((1, 2),)),
        Note("other", "words", tracks=(1,)),
        State.PROVEN,
    ],
)
def test_a_value_comes_back_as_it_was(value: object) -> None:
    """What was written as JSON and read again is equal, of the same kinds all the way down."""
    found = from_plain(json.loads(json.dumps(to_plain(value))))
    assert found == value
    assert repr(found) == repr(value)


def test_an_array_comes_back_as_it_was() -> None:
    """Numbers, shape and kind of number."""
    array = np.arange(6, dtype=np.float32).reshape(2, 3) / 7
    found = from_plain(json.loads(json.dumps(to_plain(array))))
    assert isinstance(found, np.ndarray)
    assert found.dtype == array.dtype
    np.testing.assert_array_equal(found, array)


@pytest.mark.parametrize("value", [object(), {1: open}, np.array([object()]), bytearray(b"a")])
def test_anything_else_is_not_kept(value: object) -> None:
    """No object is guessed at."""
    with pytest.raises(UnknowableError):
        to_plain(value)


@pytest.mark.parametrize(
    "planted",
    [
        {"record": [".known.store:Store", "x", 1]},
        {"record": [".aligner.place.reels.reel:_Work", 1, 2, 3, 4, 5]},
        {"record": ["os:system", "true"]},
        {"record": ["..os:system", "true"]},
        {"record": [".known.program:Path", "/"]},
        {"record": [".notes:Note", "other"]},
        {"record": [".no.such:Thing"]},
        {"enum": [".aligner.records.findings:FoundFlaw", "A"]},
        {"enum": [".aligner.records.because:Rule", "NO_SUCH"]},
        {"array": ["|O", [1], "AAAAAAAAAAA="]},
        {"array": ["<i4", [1 << 40], ""]},
        {"call": ["os.system", "true"]},
        {"list": 3},
        {"outside": ["pass", "A1"]},
        {"record": [".aligner.records.timemap:Stretch", 1, 2], "more": 1},
        {},
        {"record": [".aligner.records.timemap:TimeMap", [{"list": []}], 7]},
    ],
)
def test_a_planted_entry_makes_nothing(planted: Any) -> None:  # noqa: ANN401 - whatever JSON holds
    """Only frozen records and enumerations of this program come of an entry, whole ones; nothing is called."""
    with pytest.raises(UnknowableError):
        from_plain(planted)
