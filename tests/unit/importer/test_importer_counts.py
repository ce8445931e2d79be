"""Questions of drop frame that one log leaves open and another answers."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.importer.places.counts import CountedPass, settle_counts
from assembler.importer.places.position import Position
from assembler.importer.places.settling import LoggedClock
from assembler.timecode import (
    FRAME_RATES,
    Finding,
    MidiLog,
    decode_quarter_frames,
    draft_clock,
    encode_quarter_stream,
    parse_label,
)

SHEET = FRAME_RATES["29.97"]
DROP = FRAME_RATES["29.97df"]
OVER_A_MINUTE, WITHIN_ONE = "01:00:58:00", "01:00:10:00"


def count(
    name: str, reel: str, label: str, *, code: int = 2, drops: bool = False, source: str = "mtc"
) -> CountedPass:
    """Return a pass of four seconds from a label on, logged with a rate code, under a sheet without drop frame."""
    rate = DROP if drops else SHEET
    first = parse_label(label, rate)
    data = encode_quarter_stream(4 * first, 480, rate, code, first_reading=first)
    log = MidiLog(np.arange(480) / (4 * float(rate.exact)), data, (), 0, ())
    draft = draft_clock(decode_quarter_frames(log, SHEET), SHEET, 48000)
    return CountedPass(name, reel, LoggedClock(source, draft, 0))


def told(passes: list[CountedPass]) -> list[Finding | None]:
    """Return what is told of each pass's count once all are settled; None where nothing is."""
    found = []
    for one in settle_counts(passes, SHEET):
        assert isinstance(one, LoggedClock)
        kinds = ("count", "count_open", "rate_code")
        found.append(next((finding for finding in one.draft.findings if finding.kind in kinds), None))
    return found


@pytest.mark.parametrize("code", [2, 3])
@pytest.mark.parametrize("source", ["mtc", "ltc"])
@pytest.mark.parametrize("is_first", [True, False])
def test_a_pass_of_the_same_reel_answers(code: int, source: str, *, is_first: bool) -> None:
    """Labels stand on the tape: a pass over a minute answers for a short one, whatever its code, log and order."""
    passes = [count("A1", "A", OVER_A_MINUTE, code=code, source=source), count("A2", "A", WITHIN_ONE)]
    findings = told(passes if is_first else passes[::-1])
    answered = findings[1 if is_first else 0]
    assert answered is not None
    assert answered.kind == "rate_code"
    assert answered.text == (
        "the log's rate code is 2 (30 drop frame), the sheet's frame_rate is 29.97: the sheet is followed; "
        "A1 of the same reel bears it out, at the start of 1 minute"
    )


def test_a_pass_of_the_same_reel_tells_that_the_sheet_is_wrong() -> None:
    """A pass that proves drop frame says so for the short ones of its reel: a person is asked, with what to set."""
    passes = [count("A1", "A", OVER_A_MINUTE, drops=True), count("A2", "A", WITHIN_ONE, drops=True)]
    answered = told(passes)[1]
    assert answered is not None
    assert answered.kind == "count"
    assert (
        "A1 of the same reel proves it wrong: the sheet's frame_rate 29.97 should be 29.97df" in answered.text
    )


def test_passes_that_contradict_each_other_answer_nothing() -> None:
    """Where two passes of a reel count differently, a third stays a question."""
    passes = [
        count("A1", "A", OVER_A_MINUTE),
        count("A2", "A", OVER_A_MINUTE, drops=True),
        count("A3", "A", WITHIN_ONE),
    ]
    answered = told(passes)[2]
    assert answered is not None
    assert answered.kind == "count_open"


def test_the_same_word_through_the_same_form_of_log_answers_for_another_reel() -> None:
    """A code of drop frame that another reel's labels disprove is the interface's habit, and no doubt here."""
    answered = told([count("A1", "A", OVER_A_MINUTE), count("B1", "B", WITHIN_ONE)])[1]
    assert answered is not None
    assert answered.kind == "rate_code"
    assert answered.text.endswith("; A1 of reel A bears it out, at the start of 1 minute")


@pytest.mark.parametrize(
    "other",
    [
        count("A1", "A", OVER_A_MINUTE, code=3),
        count("A1", "A", OVER_A_MINUTE, source="ltc"),
        count("A1", "A", OVER_A_MINUTE, drops=True),
        count("A1", "A", WITHIN_ONE),
    ],
    ids=["another word", "another form", "wrong itself", "no proof"],
)
def test_what_says_nothing_of_another_reel(other: CountedPass) -> None:
    """Another code, another form of log, a reel that counts otherwise, or one as open leave another reel's question."""
    answered = told([other, count("B1", "B", WITHIN_ONE)])[1]
    assert answered is not None
    assert answered.kind == "count_open"


def test_other_passes_stay_as_they_are() -> None:
    """A pass without a log, and logs that leave no question, are handed on untouched."""
    by_hand = CountedPass("A0", "A", Position("start", 1.0, 800.0))
    plain, proved = count("A1", "A", WITHIN_ONE, code=3), count("A2", "A", OVER_A_MINUTE)
    settled = settle_counts([by_hand, plain, proved], SHEET)
    assert [one is before.found for one, before in zip(settled, (by_hand, plain, proved), strict=True)] == [
        True
    ] * 3
