"""What a set would hold by its record, and what the record tells as wrong: computed from ``assembly.json``
alone.

Nothing of the program is used here but the words of its record (docs/record.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from scripts.bench.medium_sessions import Session

FADED = -(1 << 31)
"""Stands for a sample that a fade computed between unlike sides: no capture holds it."""


@dataclass(frozen=True)
class Delivered:
    """A delivered track and where each sample comes from.

    Args:
        words: shape (n,), in steps of 24 bits; FADED inside fades of unlike sides.
        source: shape (n,), which pass, from 0; -1 for silence.
        index: shape (n,), which sample of it.
    """

    words: NDArray[np.int64]
    source: NDArray[np.int8]
    index: NDArray[np.int64]


def delivered(session: Session, record: Mapping[str, Any], track: Mapping[str, Any]) -> Delivered:
    """Return a track of the record as its spans and joins say."""
    length = int(record["length"])
    names = {one.name: place for place, one in enumerate(session.captures)}
    source, index = np.full(length, -1, np.int8), np.zeros(length, np.int64)
    for span in track["spans"]:
        if span["pass"] is None:
            continue
        part = np.arange(span["start"], span["end"])
        source[part], index[part] = names[span["pass"]], span["pass_start"] + np.arange(len(part))
        for filled in span.get("filled", ()):
            for first, step, count in filled["at"]:
                at = first + step * np.arange(count)
                # What is filled reaches as far as the fades around the span.
                at = at[(at >= 0) & (at < len(part))]
                source[part[at]], index[part[at]] = names[filled["pass"]], filled["pass_start"] + at
    words = _taken(session, record, track, source, index)
    for join, left, right in zip(track["joins"], track["spans"], track["spans"][1:], strict=False):
        if join["fade"] and join["law"] != "identical":
            first = join["at"] - join["fade"] // 2
            at = np.arange(max(0, first), min(length, first + join["fade"]))
            sides = [_side(session, record, track, span, at) for span in (left, right)]
            words[at] = np.where(sides[0] == sides[1], sides[0], FADED)
    return Delivered(words, source, index)


def _side(
    session: Session,
    record: Mapping[str, Any],
    track: Mapping[str, Any],
    span: Mapping[str, Any],
    at: NDArray[np.int64],
) -> NDArray[np.int64]:
    names = {one.name: place for place, one in enumerate(session.captures)}
    source = np.full(len(at), -1 if span["pass"] is None else names[span["pass"]], np.int8)
    index = at - span["start"] + (span["pass_start"] or 0)
    return _taken(session, record, track, source, index)


def _taken(
    session: Session,
    record: Mapping[str, Any],
    track: Mapping[str, Any],
    source: NDArray[np.int8],
    index: NDArray[np.int64],
) -> NDArray[np.int64]:
    row = track["number"] - 1
    words = np.zeros(len(source), np.int64)
    for place, one in enumerate(session.captures):
        mine = np.flatnonzero(source == place)
        inside = mine[(index[mine] >= 0) & (index[mine] < len(one.place))]
        told = next(other for other in record["passes"] if other["name"] == one.name)
        words[inside] = one.words[row, index[inside]].astype(np.int64) * told["polarity"][row]
    return words


def shift_of(session: Session, record: Mapping[str, Any]) -> int:
    """Return the tape's sample that the set begins with, by where most samples of the passes lie."""
    weights: dict[int, int] = {}
    for told in record["passes"]:
        one = next(other for other in session.captures if other.name == told["name"])
        for stretch in told["stretches"]:
            part = slice(stretch["pass_start"], stretch["pass_end"])
            due = stretch["timeline_start"] + np.arange(part.stop - part.start) - one.place[part]
            values, counts = np.unique(due, return_counts=True)
            for value, count in zip(values.tolist(), counts.tolist(), strict=True):
                weights[value] = weights.get(value, 0) + count
    if not weights:
        return 0
    best = max(weights, key=lambda value: weights[value])
    return int(record["start"]["sample"]) - best


def listed_places(record: Mapping[str, Any]) -> list[tuple[int, int, int]]:
    """Return what a record tells a person to look at: track from 0, start and end in the set."""
    rows = {track["name"]: track["number"] - 1 for track in record["tracks"]}
    start = record["start"]["sample"]
    found = [(rows[one["track"]], one["start"], one["end"]) for one in record["uncured"]]
    passes = {one["name"]: one for one in record["passes"]}
    for note in record["notes"]:
        if note["kind"] != "undecided" or note["start"] is None:
            continue
        begin, end = note["start"], note["end"]
        if note["pass"] is not None:
            begin, end = (_on_timeline(passes[note["pass"]], at) - start for at in (begin, end))
        # A note about no single track is about all of them.
        found += [(row, begin, end) for row in (note["tracks"] or rows.values())]
    return sorted(set(found))


def _on_timeline(told: Mapping[str, Any], at: int) -> int:
    """Return the timeline sample of a pass's sample, by the stretch that holds it or lies next to it."""
    best, shift = -1, 0
    for stretch in told["stretches"]:
        away = max(stretch["pass_start"] - at, at - stretch["pass_end"], 0)
        if best < 0 or away < best:
            best, shift = away, stretch["timeline_start"] - stretch["pass_start"]
    return at + shift
