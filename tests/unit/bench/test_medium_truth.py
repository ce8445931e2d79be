"""What the trials count, on records written by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made
from assembler.demo.medium.recorder import Capture
from scripts.bench.medium_delivered import FADED, delivered, listed_places
from scripts.bench.medium_sessions import Session
from scripts.bench.medium_truth import judge

LENGTH = 4000
ZERO = 50_000


def woven_session() -> Session:
    """Return one track in two passes; from 1000 to 2000 one lacks the even samples, the other the odd ones."""
    tape = np.random.default_rng(4).integers(-(1 << 20), 1 << 20, (1, LENGTH)).astype(np.int32)
    captures = []
    for name, parity in (("A1", 0), ("A2", 1)):
        words = tape.copy()
        made, causes = np.zeros(tape.shape, np.uint8), np.zeros(tape.shape, np.uint8)
        lost = np.arange(1000 + parity, 2000, 2)
        words[0, lost] = (tape[0, lost - 1] + tape[0, lost + 1]) >> 1
        made[0, lost], causes[0, lost] = Made.MEAN, Cause.CLOGGED
        captures.append(Capture(name, words, made, causes, np.arange(LENGTH), np.ones(LENGTH, np.bool_), 24))
    return Session("weave", 0, Path("session.toml"), tape, captures, 48000, ZERO, "")


def record_of(spans: list[dict[str, Any]], **more: Any) -> dict[str, Any]:  # noqa: ANN401 - JSON
    """Return a record of both passes in place, with these spans and one join between each two."""
    stretch = {"pass_start": 0, "pass_end": LENGTH, "timeline_start": ZERO}
    passes = [
        {"name": name, "polarity": [1], "stretches": [stretch], "flaws": more.get("flaws", {}).get(name, [])}
        for name in ("A1", "A2")
    ]
    joins = more.get("joins", [{"at": span["start"], "fade": 0, "law": "cut"} for span in spans[1:]])
    return {
        "start": {"sample": ZERO},
        "length": LENGTH,
        "passes": passes,
        "tracks": [{"number": 1, "name": "T1", "spans": spans, "joins": joins}],
        "uncured": more.get("uncured", []),
        "notes": more.get("notes", []),
    }


WHOLE: dict[str, Any] = {"start": 0, "end": LENGTH, "pass": "A1", "pass_start": 0}


def test_means_delivered_without_a_word_are_counted() -> None:
    """Every sample is right in some pass; the first pass alone has half of the patch wrong."""
    tally = judge(woven_session(), record_of([WHOLE]))
    assert tally["curable",] == LENGTH
    assert tally["curable unlisted",] == 500
    assert 995 <= tally["weave",] <= 1000
    assert tally["weave right",] + 500 in range(995, 1001)
    assert tally["delivered", "kind", "means"] == 1
    assert tally["delivered told", "kind", "means"] == 0
    assert (tally["flaws", "kind", "means"], tally["flaws told", "kind", "means"]) == (2, 0)
    assert tally["samples unlisted", "cause", "CLOGGED"] == 500


def test_a_place_listed_is_told() -> None:
    """What is listed and wrong is no silent fault, what is listed and right is needless."""
    uncured = [{"reel": "A", "track": "T1", "start": 900, "end": 2000, "kind": "means"}]
    tally = judge(woven_session(), record_of([WHOLE], uncured=uncured))
    assert (tally["curable unlisted",], tally["curable listed",], tally["needless",]) == (0, 500, 600)
    assert tally["delivered told", "kind", "means"] == 1
    assert tally["needless places",] == 0


def test_a_woven_span_is_read() -> None:
    """Samples filled from another pass, told as first, step and count from the span's start, make the patch whole."""
    span = {**WHOLE, "filled": [{"pass": "A2", "pass_start": 0, "at": [[1000, 2, 500]]}]}
    session = woven_session()
    tally = judge(session, record_of([span]))
    assert tally["curable right",] == LENGTH
    assert tally["weave",] == tally["weave right",]
    # The span may begin anywhere, and so may the other pass's samples.
    spans = [
        {"start": 0, "end": 900, "pass": "A2", "pass_start": 0},
        {
            "start": 900,
            "end": LENGTH,
            "pass": "A1",
            "pass_start": 900,
            "filled": [{"pass": "A2", "pass_start": 900, "at": [[100, 2, 400], [900, 2, 100]]}],
        },
    ]
    assert judge(session, record_of(spans))["curable right",] == LENGTH


def test_false_flaws_and_blamed_passes_are_told_apart() -> None:
    """A flaw where all is right is false; one of a pass that is right where the other is wrong is a wrong blame."""
    session = woven_session()
    session.captures[1].words[:] = session.tape
    flaws = [
        {"kind": "click", "start": 300, "end": 310, "tracks": [0]},
        {"kind": "means", "start": 1000, "end": 2000, "tracks": [0]},
    ]
    tally = judge(session, record_of([WHOLE], flaws={"A2": flaws}))
    assert (tally["false",], tally["blamed",], tally["true",]) == (1, 1, 0)
    assert judge(session, record_of([WHOLE], flaws={"A1": flaws[1:]}))["flaws told", "kind", "means"] == 1


def test_undecided_notes_are_places_of_their_pass() -> None:
    """Notes count from the pass's first sample, by the stretch that holds it."""
    note = {"kind": "undecided", "pass": "A2", "tracks": [0], "start": 40, "end": 90}
    record = record_of([WHOLE], notes=[note])
    record["passes"][1]["stretches"] = [{"pass_start": 0, "pass_end": 400, "timeline_start": ZERO + 7}]
    assert listed_places(record) == [(0, 47, 97)]


def test_inside_a_fade_of_unlike_sides_no_sample_is_the_tapes() -> None:
    """Where both sides hold the same number, the fade gives that number."""
    session = woven_session()
    spans = [{**WHOLE, "end": 1500}, {"start": 1500, "end": LENGTH, "pass": "A2", "pass_start": 1500}]
    joins = [{"at": 1500, "fade": 100, "law": "constant_power"}]
    record = record_of(spans, joins=joins)
    words = delivered(session, record, record["tracks"][0]).words
    assert np.flatnonzero(words == FADED).tolist() == list(range(1450, 1550))
    tally = judge(session, record)
    assert (tally["astray",], tally["curable unlisted",]) == (0, 500 + 50)
    moved = [{**WHOLE, "end": 500}, {"start": 500, "end": LENGTH, "pass": "A2", "pass_start": 500}]
    record = record_of(moved, joins=[{**joins[0], "at": 500}])
    assert not (delivered(session, record, record["tracks"][0]).words == FADED).any()
