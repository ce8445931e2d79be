"""Where two passes of a reel meet: expected by their logs, then found to the sample by their sound."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from assembler.aligner.place.agreement import belongs
from assembler.aligner.place.along.alike import find_alike
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LOG_DELAY_SECONDS, SEARCH_SECONDS
from assembler.aligner.place.relation import relate
from assembler.aligner.place.search import find_anywhere
from assembler.importer import search_doubt

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.place.along.alike import Alike
    from assembler.aligner.place.relation import Relation
    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.importer import Position


class PassToPlace(Protocol):
    """What is needed of an imported pass."""

    @property
    def name(self) -> str:
        """Name of the pass."""

    @property
    def audio(self) -> TrackReader:
        """Its tape tracks."""

    @property
    def position(self) -> Position:
        """Where its log puts it."""


def expected_shift(reference: PassToPlace, one: PassToPlace) -> int:
    """Return how much later the first sample of ``one`` lies in the reference, in samples, by the logs."""
    return one.position.shift_at(0) - reference.position.shift_at(0)


def expected_shifts(reference: PassToPlace, one: PassToPlace) -> Callable[[int], int]:
    """Return what tells how much later each sample of ``one`` lies in the reference, by the logs, slips and all."""

    def expected(at: int) -> int:
        by_log = one.position.shift_at(at)
        return by_log - reference.position.shift_at(at + by_log - reference.position.shift_at(0))

    return expected


def expected_overlap(reference: PassToPlace, one: PassToPlace) -> tuple[int, int] | None:
    """Return the range of ``one`` that by the logs lies inside the reference, or None where there is none."""
    shift = expected_shift(reference, one)
    start, end = max(0, -shift), min(one.audio.length, reference.audio.length - shift)
    return (start, end) if end - start >= ANCHOR_SAMPLES else None


def told_within(reference: PassToPlace, one: PassToPlace, sample_rate: int) -> float:
    """Return how far from the shift by their logs two passes may lie without contradicting these, in samples."""
    return LOG_DELAY_SECONDS * sample_rate + search_doubt(reference.position, one.position)


class Meeting(NamedTuple):
    """Where a pass may lie in another one.

    Args:
        overlap: range of its samples that may lie inside the other pass.
        expected: shift expected at one of its samples.
        radii: how far around that to look, in samples; tried in order.
        slack: how far from it the pass may lie without contradicting the logs; None where no log tells.
    """

    overlap: tuple[int, int]
    expected: Callable[[int], int]
    radii: list[int]
    slack: float | None


def expected_meeting(reference: PassToPlace, one: PassToPlace, sample_rate: int) -> Meeting | None:
    """Return where a pass may lie in another one, by its log, or else by its sound; None where it lies nowhere."""
    if one.position.source == "audio":
        shift = find_anywhere(reference.audio, one.audio)
        if shift is None:
            return None
        overlap = (max(0, -shift), min(one.audio.length, reference.audio.length - shift))
        return Meeting(overlap, lambda _: shift, [round(SEARCH_SECONDS[-1] * sample_rate)], None)
    overlap_by_log = expected_overlap(reference, one)
    if overlap_by_log is None:
        return None
    doubt = search_doubt(reference.position, one.position)
    radii = [round(seconds * sample_rate + doubt) for seconds in SEARCH_SECONDS]
    slack = told_within(reference, one, sample_rate)
    return Meeting(overlap_by_log, expected_shifts(reference, one), radii, slack)


def find_relation(
    reference: PassToPlace, one: PassToPlace, sample_rate: int, strayed: Sequence[Range] = ()
) -> Relation | None:
    """Return how a pass lies against another one of its reel, or None where its sound proves no place.

    What one track alone proves against most of the others is no place: see ``agreement``.
    """
    where = expected_meeting(reference, one, sample_rate)
    if where is None:
        return None
    for radius in where.radii:
        found = relate(reference.audio, one.audio, where.expected, where.overlap, radius, strayed)
        if found is not None and belongs(
            reference.audio, one.audio, found.places, where.expected, where.slack
        ):
            return _stretched(found, one.audio.length, reference.audio.length)
    return None


def find_likeness(reference: PassToPlace, one: PassToPlace, sample_rate: int) -> Alike | None:
    """Return how a pass runs along with another one that it shares no numbers with, or None where it does not.

    That is asked only where its log says that both sound at once: a tune may come again anywhere.
    """
    overlap = expected_overlap(reference, one)
    if overlap is None or one.position.source == "audio" or not shares_sound(reference, one):
        return None
    radius = round(SEARCH_SECONDS[1] * sample_rate)
    found = find_alike(reference.audio, one.audio, overlap, expected_shift(reference, one), radius)
    lengths = one.audio.length, reference.audio.length
    return found and replace(found, relation=_stretched(found.relation, *lengths))


def _stretched(relation: Relation, length: int, reference_length: int) -> Relation:
    """Widen the outer stretches to all that the measured shift shows to lie in both passes."""
    first, last = relation.stretches[0], relation.stretches[-1]
    start = min(first.end - 1, max(0, -first.shift))
    end = max(last.start + 1, min(length, reference_length - last.shift))
    stretches = list(relation.stretches)
    stretches[0] = replace(first, start=start)
    last = stretches[-1]
    stretches[-1] = replace(last, end=end)
    return replace(relation, stretches=tuple(stretches))


def shares_sound(first: PassToPlace, second: PassToPlace) -> bool:
    """Return whether two passes overlap by their logs and neither is silent there."""
    overlap = expected_overlap(first, second)
    if overlap is None:
        return False
    shift = expected_shift(first, second)
    return _has_sound(second.audio, overlap) and _has_sound(
        first.audio, (overlap[0] + shift, overlap[1] + shift)
    )


def _has_sound(reader: TrackReader, where: tuple[int, int]) -> bool:
    step = max(ANCHOR_SAMPLES, (where[1] - where[0]) // 64)
    places = range(where[0], where[1], step)
    # One value that never changes is the same in every pass, and proves no place.
    return any(
        np.ptp(reader.read(track, at, min(64, where[1] - at)))
        for at in places
        for track in range(reader.tracks)
    )
