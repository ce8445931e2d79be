"""A record held against the truth: what was delivered right, what was told, and what was told for nothing."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from assembler.demo.medium.causes import Cause
from scripts.bench.medium_delivered import FADED, delivered, listed_places, shift_of
from scripts.bench.medium_masks import (
    APART,
    commonest,
    hurt,
    looked_up,
    moved,
    named,
    stretches,
    witnesses,
    wrong_samples,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from assembler.demo.medium.recorder import Capture
    from scripts.bench.medium_sessions import Session

    Mask = NDArray[np.bool_]
    Tally = Counter[tuple[str, ...]]


def judge(session: Session, record: Mapping[str, Any]) -> Tally:
    """Return counts by name; those of a cause, or of a kind of flaw, have it as the second part of their name."""
    tally: Tally = Counter()
    first = shift_of(session, record)
    length = record["length"]
    listed = np.zeros((len(session.tape), length), np.bool_)
    places = listed_places(record)
    for row, start, end in places:
        listed[row, max(0, start) : max(0, end)] = True
    wrong = [wrong_samples(session, one) for one in session.captures]
    right_places = Counter[str]()
    for track in record["tracks"]:
        row = track["number"] - 1
        got = delivered(session, record, track)
        at = np.arange(length) + first
        inside = (at >= 0) & (at < session.tape.shape[1])
        truth = np.zeros(length, np.int64)
        truth[inside] = session.tape[row, at[inside]]
        some, woven, covered = witnesses(session, wrong, row)
        some, woven, covered = (moved(mask, at, inside) for mask in (some, woven, covered))
        right = (got.words == truth) & covered
        spoilt = looked_up([bad[row].astype(np.uint8) for bad in wrong], got.source, got.index) > 0
        # The pass has this sample right, and the set has it at another's place.
        astray = covered & ~right & ~spoilt & (got.source >= 0) & (got.words != FADED)
        tally["astray",] += int(astray.sum())
        tally["astray unlisted",] += int((astray & ~listed[row]).sum())
        _count(tally, right, astray, listed[row], some, woven, covered)
        causes = _causes(session, row, got.source, got.index)
        for start, end in stretches(covered & ~right):
            kind = _kind(
                session, row, got.source[start:end], got.index[start:end], ~right[start:end], truth[start:end]
            )
            cause = commonest(causes[start:end][~right[start:end] & covered[start:end]])
            told = bool(listed[row, start:end].any())
            for name in (("kind", kind), ("cause", Cause(cause).name)):
                tally["delivered", *name] += 1
                tally["delivered told", *name] += told
        for where, begin, end in places:
            part = slice(max(0, begin), max(0, end))
            if where == row and covered[part].any() and right[part][covered[part]].all():
                right_places["all right"] += 1
        _count_causes(
            tally, session, wrong, row, at[inside], right[inside], listed[row][inside], some[inside]
        )
    tally["needless places",] += right_places["all right"]
    _count_passes(tally, session, record, wrong, listed, first)
    return tally


def _count(
    tally: Tally, right: Mask, astray: Mask, listed: Mask, some: Mask, woven: Mask, covered: Mask
) -> None:
    for name, mask in (("curable", some), ("lost", covered & ~some), ("weave", woven)):
        tally[name,] += int(mask.sum())
        tally[f"{name} right",] += int((mask & right).sum())
        tally[f"{name} unlisted",] += int((mask & ~right & ~listed & ~astray).sum())
        tally[f"{name} listed",] += int((mask & ~right & listed & ~astray).sum())
    tally["needless",] += int((right & listed).sum())


def _causes(
    session: Session, row: int, source: NDArray[np.int8], index: NDArray[np.int64]
) -> NDArray[np.uint8]:
    return looked_up([one.causes[row] for one in session.captures], source, index)


def _kind(
    session: Session,
    row: int,
    source: NDArray[np.int8],
    index: NDArray[np.int64],
    wrong: Mask,
    truth: NDArray[np.int64],
) -> str:
    made = looked_up([one.made[row] for one in session.captures], source, index)[wrong]
    return named(made, truth)


def _count_causes(
    tally: Tally,
    session: Session,
    wrong: list[Mask],
    row: int,
    at: NDArray[np.int64],
    right: Mask,
    listed: Mask,
    some: Mask,
) -> None:
    """Count what became of wrong samples by their cause; a place that two passes have wrong counts twice."""
    if not len(at):
        return
    for one, bad in zip(session.captures, wrong, strict=True):
        index = np.flatnonzero(bad[row] & (one.place >= at[0]) & (one.place <= at[-1]))
        where = one.place[index] - at[0]
        for cause in np.unique(one.causes[row, index]).tolist():
            mine = where[one.causes[row, index] == cause]
            if cause == Cause.CHAIN:
                continue
            name = Cause(cause).name
            tally["samples", "cause", name] += len(mine)
            tally["samples curable", "cause", name] += int(some[mine].sum())
            tally["samples right", "cause", name] += int(right[mine].sum())
            tally["samples unlisted", "cause", name] += int((~right[mine] & ~listed[mine]).sum())
            tally["samples listed", "cause", name] += int((~right[mine] & listed[mine]).sum())


def _count_passes(
    tally: Tally, session: Session, record: Mapping[str, Any], wrong: list[Mask], listed: Mask, first: int
) -> None:
    """Count flawed stretches of every pass and those told, as a flaw or as a place to look at; and false flaws."""
    harmed = hurt(session, wrong)
    tally["hours, millionths",] += round(
        1e6 * float(np.mean(~harmed)) * harmed.shape[1] / session.rate / 3600
    )
    for one, bad in zip(session.captures, wrong, strict=True):
        told = next(other for other in record["passes"] if other["name"] == one.name)
        flagged = np.zeros(bad.shape, np.bool_)
        for flaw in told["flaws"]:
            flagged[
                np.array(flaw["tracks"], np.int64), flaw["start"] : max(flaw["end"], flaw["start"] + 1)
            ] = True
            tally[_verdict(flaw, one, bad, harmed),] += 1
        for row, start, end in _flawed(one, bad):
            truth = session.tape[row, one.place[start:end]].astype(np.int64)
            inside = bad[row, start:end]
            kind = named(one.made[row, start:end][inside], truth)
            cause = Cause(commonest(one.causes[row, start:end][inside])).name
            where = one.place[[start, end - 1]] - first
            known = (
                flagged[row, start:end].any() or listed[row, max(0, where[0]) : max(0, where[1] + 1)].any()
            )
            for name in (("kind", kind), ("cause", cause)):
                tally["flaws", *name] += 1
                tally["flaws told", *name] += bool(known)


def _flawed(one: Capture, bad: Mask) -> Iterator[tuple[int, int, int]]:
    for row in range(len(bad)):
        # What a chain changes all along is told once, by a note, and is no flaw of a place.
        for start, end in stretches(bad[row] & (one.causes[row] != Cause.CHAIN)):
            yield row, start, end


def _verdict(flaw: Mapping[str, Any], one: Capture, bad: Mask, harmed: Mask) -> str:
    """Return whether a flaw that is told is one, is another pass's ("blamed"), or is none ("false")."""
    tracks = np.array(flaw["tracks"], np.int64)
    around = slice(max(0, flaw["start"] - 1), flaw["end"] + 1)
    if flaw["kind"] == "missing" or any(abs(at - flaw["start"]) < APART for at in one.slips):
        return "true"
    if flaw["kind"] != "slip" and bad[tracks, around].any():
        return "true"
    places = one.place[around]
    is_hurt = len(places) and harmed[tracks, places[0] : places[-1] + 1].any()
    return "blamed" if is_hurt else "false"
