"""A record held against the truth: what was delivered right, what was told, and what was told for nothing."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from scripts.bench.medium_causes import Cause
from scripts.bench.medium_conceal import Made
from scripts.bench.medium_delivered import delivered, listed_places, shift_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from scripts.bench.medium_recorder import Capture
    from scripts.bench.medium_sessions import Session

    Mask = NDArray[np.bool_]
    Tally = Counter[tuple[str, ...]]

APART = 1440
"""Wrong samples of a track that lie closer are one stretch: two sweeps of 15 ms."""
CLOSE = 64
"""Wrong samples that lie closer leave nothing between them that one pass alone could be taken for."""
FEWEST_MEANS = 100
QUIET = 16 << 8
"""Sound below this (RMS, steps of 24 bits; 16 of 16 bits) counts as silence for what means can tell."""


def judge(session: Session, record: Mapping[str, Any]) -> Tally:
    """Return counts by name; those of a cause, or of a kind of flaw, have it as the second part of their name."""
    tally: Tally = Counter()
    first, astray = shift_of(session, record)
    tally["astray",] += astray
    length = record["length"]
    listed = np.zeros((len(session.tape), length), np.bool_)
    places = listed_places(record)
    for row, start, end in places:
        listed[row, max(0, start) : max(0, end)] = True
    wrong = [_wrong(session, one) for one in session.captures]
    right_places = Counter[str]()
    for track in record["tracks"]:
        row = track["number"] - 1
        got = delivered(session, record, track)
        at = np.arange(length) + first
        inside = (at >= 0) & (at < session.tape.shape[1])
        truth = np.zeros(length, np.int64)
        truth[inside] = session.tape[row, at[inside]]
        some, woven, covered = _witnesses(session, wrong, row)
        some, woven, covered = (_moved(mask, at, inside) for mask in (some, woven, covered))
        right = (got.words == truth) & covered
        _count(tally, right, listed[row], some, woven, covered)
        causes = _causes(session, row, got.source, got.index)
        for start, end in stretches(covered & ~right):
            kind = _kind(
                session, row, got.source[start:end], got.index[start:end], ~right[start:end], truth[start:end]
            )
            cause = _commonest(causes[start:end][~right[start:end] & covered[start:end]])
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
    tally["hours, millionths",] += round(1e6 * session.tape.shape[1] / session.rate / 3600)
    return tally


def stretches(wrong: Mask) -> list[tuple[int, int]]:
    """Return ranges of wrong samples that lie together."""
    index = np.flatnonzero(wrong)
    if not len(index):
        return []
    cuts = np.flatnonzero(np.diff(index) > APART)
    starts = index[np.concatenate([[0], cuts + 1])]
    ends = index[np.concatenate([cuts, [len(index) - 1]])] + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _wrong(session: Session, one: Capture) -> Mask:
    """Return which samples of a capture are not the tape's; a chain that is not transparent has none of them."""
    return np.asarray((one.words != session.tape[:, one.place]) | (one.causes == Cause.CHAIN))


def _witnesses(session: Session, wrong: list[Mask], row: int) -> tuple[Mask, Mask, Mask]:
    """Return by tape sample: some pass is right; only several passes together are; any is there."""
    length = session.tape.shape[1]
    some, covered = np.zeros(length, np.bool_), np.zeros(length, np.bool_)
    every = np.ones(length, np.bool_)
    for one, bad in zip(session.captures, wrong, strict=True):
        some[one.place[~bad[row]]] = True
        covered[one.place] = True
        # Where a pass is not, or lost samples, it bears no witness.
        good = np.zeros(length, np.bool_)
        good[one.place] = ~_closed(bad[row])
        every &= ~good
    return some, _long(some & every, CLOSE), covered


def _long(mask: Mask, least: int) -> Mask:
    """Return what belongs to longer runs: between two wrong samples of one pass there are none, it needs a second."""
    edges = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    out = np.zeros(len(mask), np.bool_)
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        out[start:end] = end - start > least
    return out


def _closed(wrong: Mask) -> Mask:
    index = np.flatnonzero(wrong)
    out = wrong.copy()
    for place in np.flatnonzero((np.diff(index) > 1) & (np.diff(index) <= CLOSE)).tolist():
        out[index[place] : index[place + 1]] = True
    return out


def _moved(mask: Mask, at: NDArray[np.int64], inside: Mask) -> Mask:
    out = np.zeros(len(at), np.bool_)
    out[inside] = mask[at[inside]]
    return out


def _count(tally: Tally, right: Mask, listed: Mask, some: Mask, woven: Mask, covered: Mask) -> None:
    for name, mask in (("curable", some), ("lost", covered & ~some), ("weave", woven)):
        tally[name,] += int(mask.sum())
        tally[f"{name} right",] += int((mask & right).sum())
        tally[f"{name} unlisted",] += int((mask & ~right & ~listed).sum())
        tally[f"{name} listed",] += int((mask & ~right & listed).sum())
    tally["needless",] += int((right & listed).sum())


def _causes(
    session: Session, row: int, source: NDArray[np.int8], index: NDArray[np.int64]
) -> NDArray[np.uint8]:
    return _looked_up([one.causes[row] for one in session.captures], source, index)


def _looked_up(
    rows: list[NDArray[np.uint8]], source: NDArray[np.int8], index: NDArray[np.int64]
) -> NDArray[np.uint8]:
    out = np.zeros(len(source), np.uint8)
    for place, values in enumerate(rows):
        mine = np.flatnonzero((source == place) & (index >= 0) & (index < len(values)))
        out[mine] = values[index[mine]]
    return out


def _kind(
    session: Session,
    row: int,
    source: NDArray[np.int8],
    index: NDArray[np.int64],
    wrong: Mask,
    truth: NDArray[np.int64],
) -> str:
    made = _looked_up([one.made[row] for one in session.captures], source, index)[wrong]
    return _named(made, truth)


def _named(made: NDArray[np.uint8], truth: NDArray[np.int64]) -> str:
    """Return the kind of a flawed stretch: means are told apart by number and by whether there is sound."""
    kind = Made(_commonest(made))
    if kind == Made.TAPE:
        return "elsewhere"
    if kind != Made.MEAN:
        return kind.name.lower()
    if np.sqrt(np.mean(truth.astype(np.float64) ** 2)) < QUIET:
        return "means, quiet"
    return "means" if int((made == Made.MEAN).sum()) >= FEWEST_MEANS else "means, few"


def _commonest(values: NDArray[np.uint8]) -> int:
    return int(np.argmax(np.bincount(values))) if len(values) else 0


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
    for one, bad in zip(session.captures, wrong, strict=True):
        told = next(other for other in record["passes"] if other["name"] == one.name)
        flagged = np.zeros(bad.shape, np.bool_)
        for flaw in told["flaws"]:
            flagged[
                np.array(flaw["tracks"], np.int64), flaw["start"] : max(flaw["end"], flaw["start"] + 1)
            ] = True
            tally["false",] += _is_false(flaw, one, bad)
        for row, start, end in _flawed(one, bad):
            truth = session.tape[row, one.place[start:end]].astype(np.int64)
            inside = bad[row, start:end]
            kind = _named(one.made[row, start:end][inside], truth)
            cause = Cause(_commonest(one.causes[row, start:end][inside])).name
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


def _is_false(flaw: Mapping[str, Any], one: Capture, bad: Mask) -> bool:
    if flaw["kind"] == "missing":
        return False
    if flaw["kind"] == "slip":
        return not any(abs(at - flaw["start"]) < APART for at in one.slips)
    around = slice(max(0, flaw["start"] - 1), flaw["end"] + 1)
    return not bad[np.array(flaw["tracks"], np.int64), around].any()
