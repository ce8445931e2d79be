"""The passes of one reel put on the timeline: by timecode first, then to the sample by their audio.

The most trusted pass keeps the place that its timecode gives it; every other pass that shares audio with a
placed one is moved to where the samples are identical. A change of shift between two passes is a slip of one
of them; which one is settled by a third pass, else by the timecode logs, else by the order of trust (and told).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assembler.aligner.relating import ANCHOR_SAMPLES, Relation, relate
from assembler.aligner.searching import LEVEL_TOLD_DB, Likeness, find_anywhere, find_likeness
from assembler.aligner.timemap import Slip, TimeMap, map_with_slips
from assembler.importer import search_doubt
from assembler.importer.notes import Note

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from assembler.aligner.relating import TrackReader
    from assembler.arrays import Int32s
    from assembler.importer import CoarseSlip, Position

SEARCH_SECONDS = (0.02, 0.2, 1.0)
"""How far around timecode's place a pass is looked for, tried in this order. Logs come through an interface with
a delay of its own, so that even an exact fit is off by some milliseconds; more than a second is another place."""

LOG_DELAY_SECONDS = 0.025
"""A fixed delay of a timecode interface stays below this (common practice, no source)."""

SLIP_PLACE_SECONDS = 1.0
SLIP_SIZE_SAMPLES = 4

PURE_GAIN_CORRELATION = 0.9999
"""Two pieces as alike as this differ by nothing but their level."""


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


@dataclass(frozen=True)
class PlacedReel:
    """The passes of a reel on the timeline.

    Args:
        maps: time map of each pass that is used.
        groups: number of the group of passes proved to hold the same samples that each belongs to.
        refused: passes that are not used.
        notes: corrections and findings.
    """

    maps: Mapping[str, TimeMap]
    groups: Mapping[str, int]
    refused: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass
class _Work:
    maps: dict[str, TimeMap] = field(default_factory=dict)
    groups: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


def place_reel(
    passes: Sequence[PassToPlace], sample_rate: int, advance: Callable[[float], None] = lambda _: None
) -> PlacedReel:
    """Return where every pass of a reel lies on the timeline.

    Args:
        passes: in the order of trust; not empty.
        sample_rate: of the session, in samples per second.
        advance: called with the share of the work done.
    """
    work = _Work()
    reference = next((p for p in passes if p.position.source != "audio"), None)
    if reference is None:
        for one in passes:
            _refuse(work, one, "none of the reel's passes has a position of its own")
        return PlacedReel({}, {}, tuple(work.refused), tuple(work.notes))
    others = [p for p in passes if p is not reference]
    relations = {}
    for count, one in enumerate(others):
        relations[one.name] = _relation(reference, one, sample_rate)
        advance((count + 1) / (len(others) + 1))
    _place_reference(work, reference, others, relations, sample_rate)
    for one in others:
        relation = relations[one.name]
        if relation is not None:
            third = [r for name, r in relations.items() if r is not None and name != one.name]
            _place_related(work, reference, one, relation, sample_rate, third)
    for one in others:
        if one.name not in work.maps:
            _place_unrelated(work, one, passes, reference, sample_rate)
    advance(1.0)
    return PlacedReel(work.maps, work.groups, tuple(work.refused), tuple(work.notes))


def coarse_map(one: PassToPlace) -> TimeMap:
    """Return the time map that a pass has by its log alone."""
    slips = [slip for logged in one.position.slips for slip in _logged_slips(logged)]
    length = one.audio.length
    return map_with_slips(length, round(one.position.shift), _apart(slips, length))


def _logged_slips(logged: CoarseSlip) -> list[Slip]:
    """Return a slip of the log as slips of a time map: what a pass holds while its tape stood still is left out.

    Where the tape was played again, the second play takes over before the first one's end, whose place is in doubt.
    """
    still = logged.still_samples
    unsure = logged.pass_sample - logged.doubt[0]
    sure = logged.pass_sample - max(logged.margin_samples, unsure)
    if sure >= 0 and logged.samples <= sure - max(logged.pass_sample + still, logged.doubt[1]):
        return [Slip(sure, logged.samples)]
    if still == 0 or logged.samples <= -still:
        return [Slip(logged.pass_sample, logged.samples, logged.doubt)] if logged.samples else []
    return [
        Slip(logged.pass_sample, -still, logged.doubt),
        Slip(logged.pass_sample + still, logged.samples + still),
    ]


def expected_overlap(reference: PassToPlace, one: PassToPlace) -> tuple[int, int] | None:
    """Return the range of ``one`` that by the logs lies inside the reference, or None where there is none."""
    shift = one.position.shift_at(0) - reference.position.shift_at(0)
    start, end = max(0, -shift), min(one.audio.length, reference.audio.length - shift)
    return (start, end) if end - start >= ANCHOR_SAMPLES else None


def _relation(reference: PassToPlace, one: PassToPlace, sample_rate: int) -> Relation | None:
    if one.position.source == "audio":
        shift = find_anywhere(reference.audio, one.audio)
        if shift is None:
            return None
        overlap = (max(0, -shift), min(one.audio.length, reference.audio.length - shift))
        return relate(reference.audio, one.audio, lambda _: shift, overlap, round(0.5 * sample_rate))
    overlap_by_log = expected_overlap(reference, one)
    if overlap_by_log is None:
        return None
    doubt = search_doubt(reference.position, one.position)

    def expected(at: int) -> int:
        by_log = one.position.shift_at(at)
        return by_log - reference.position.shift_at(at + by_log - reference.position.shift_at(0))

    for seconds in SEARCH_SECONDS:
        radius = round(seconds * sample_rate + doubt)
        found = relate(reference.audio, one.audio, expected, overlap_by_log, radius)
        if found is not None:
            return _stretched(found, one.audio.length, reference.audio.length)
    return None


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


@dataclass(frozen=True)
class _RelativeSlip:
    at_reference: int
    at_probe: int
    change: int
    doubt_reference: tuple[int, int]
    doubt_probe: tuple[int, int]

    def lies_at(self, start: int, end: int) -> bool:
        """Return whether the slip may lie in (or close by) a range of the reference."""
        low, high = self.doubt_reference
        low, high = min(low, self.at_reference), max(high, self.at_reference)
        return low < end + ANCHOR_SAMPLES and start < high + ANCHOR_SAMPLES

    def is_same(self, other: _RelativeSlip) -> bool:
        """Return whether two passes may bear witness to one slip of the reference."""
        low, high = other.doubt_reference
        return self.change == other.change and self.lies_at(
            min(low, other.at_reference), max(high, other.at_reference)
        )


def _relative_slips(relation: Relation) -> list[_RelativeSlip]:
    return [
        _RelativeSlip(
            a.end + a.shift,
            a.end,
            b.shift - a.shift,
            (b.doubt[0] + a.shift, b.doubt[1] + b.shift),
            b.doubt,
        )
        for a, b in pairwise(relation.stretches)
    ]


def _is_logged(position: Position, at: int, samples: int, sample_rate: int) -> bool:
    """Return whether the log of a pass shows this slip near this place."""
    return any(
        abs(slip.pass_sample - at) < SLIP_PLACE_SECONDS * sample_rate
        and abs(slip.samples - samples) <= max(SLIP_SIZE_SAMPLES, slip.error_samples)
        for slip in position.slips
    )


def _place_reference(
    work: _Work,
    reference: PassToPlace,
    others: Sequence[PassToPlace],
    relations: Mapping[str, Relation | None],
    sample_rate: int,
) -> None:
    """Give the reference its map: its log's place, and the slips that are its own by the evidence of the others."""
    seen: list[list[tuple[str, _RelativeSlip]]] = []
    for one in others:
        relation = relations[one.name]
        for slip in _relative_slips(relation) if relation else ():
            same = next((group for group in seen if any(slip.is_same(known) for _, known in group)), None)
            if same is None:
                seen.append([(one.name, slip)])
            else:
                same.append((one.name, slip))
    own: list[Slip] = []
    for group in seen:
        names = {name for name, _ in group}
        # The witness without a flaw there knows the place best.
        best = min(
            (slip for _, slip in group), key=lambda slip: slip.doubt_reference[1] - slip.doubt_reference[0]
        )
        witnesses = [o for o in others if _looks_across(relations[o.name], best.at_reference)]
        outnumbered = len(names) > 1 and len(names) == len(witnesses)
        logged = _is_logged(reference.position, best.at_reference, -best.change, sample_rate)
        contradicted = any(o.name not in names for o in witnesses)
        if outnumbered or (logged and not contradicted):
            own.append(Slip(best.at_reference, -best.change, best.doubt_reference))
    covered = [(s.start + s.shift, s.end + s.shift) for r in relations.values() if r for s in r.stretches]
    # What only the log shows, where no other pass can confirm or deny it.
    own += [
        slip
        for logged in reference.position.slips
        if not any(start <= logged.pass_sample < end for start, end in covered)
        for slip in _logged_slips(logged)
    ]
    own.sort(key=lambda slip: slip.pass_sample)
    work.maps[reference.name] = map_with_slips(
        reference.audio.length, round(reference.position.shift), _apart(own, reference.audio.length)
    )
    work.groups[reference.name] = 0


def _apart(slips: Sequence[Slip], length: int) -> tuple[Slip, ...]:
    """Return the slips that leave a stretch between them."""
    kept: list[Slip] = []
    floor = 0
    for slip in slips:
        # After what a tape at rest left, the next one may follow at once.
        if (floor < slip.pass_sample or (kept and floor == slip.pass_sample)) and slip.pass_sample + max(
            0, -slip.samples
        ) < length:
            kept.append(slip)
            floor = slip.pass_sample + max(0, -slip.samples)
    return tuple(kept)


def _looks_across(relation: Relation | None, at: int) -> bool:
    """Return whether a pass is proved to hold the reference's samples on both sides of ``at``."""
    if relation is None:
        return False
    first, last = relation.stretches[0], relation.stretches[-1]
    start, end = relation.proved[0] + first.shift, relation.proved[1] + last.shift
    return start < at - ANCHOR_SAMPLES and end > at + ANCHOR_SAMPLES


def _place_related(
    work: _Work,
    reference: PassToPlace,
    one: PassToPlace,
    relation: Relation,
    sample_rate: int,
    third: Sequence[Relation] = (),
) -> None:
    """Map a pass through the reference's map; a change of shift that is not the reference's is its own slip.

    Whose it is stays open, and is told, where neither its log shows it nor any third pass runs on beside the reference.
    """
    base = work.maps[reference.name]
    slips = []
    reference_slips = base.slips()
    first = relation.stretches[0]
    # Where it begins the reference may have lost what it holds: the middle of its first anchor is in both.
    known = relation.proved[0] + ANCHOR_SAMPLES // 2
    start_shift = _shift_of(base, known + first.shift) + first.shift
    _tell_contradiction(work, reference, one, start_shift - one.position.shift_at(first.start), sample_rate)
    for slip in _relative_slips(relation):
        theirs = [r for r in reference_slips if slip.lies_at(r.pass_sample, r.pass_sample)]
        rest = slip.change + sum(r.samples for r in theirs)
        if rest:
            slips.append(Slip(slip.at_probe, rest, slip.doubt_probe))
            is_sure = _is_logged(one.position, slip.at_probe, rest, sample_rate) or any(
                _looks_across(other, slip.at_reference)
                and not any(known.is_same(slip) for known in _relative_slips(other))
                for other in third
            )
            if not theirs and not is_sure:
                work.notes.append(_blame_note(one, reference, slip.at_probe, rest))
    work.maps[one.name] = map_with_slips(one.audio.length, start_shift, _apart(slips, one.audio.length))
    work.groups[one.name] = work.groups[reference.name]


def _tell_contradiction(
    work: _Work, reference: PassToPlace, one: PassToPlace, off: float, sample_rate: int
) -> None:
    """Tell where sound and logs disagree by more than an interface's delay: one of the two logs is wrong."""
    if one.position.source == "audio":
        return
    doubt = search_doubt(reference.position, one.position)
    if abs(off) <= LOG_DELAY_SECONDS * sample_rate + doubt:
        return
    way = "later" if off > 0 else "earlier"
    text = (
        f"{one.name} lies {abs(off) / sample_rate:.3f} s {way} by its sound in {reference.name} than by its log; its "
        f"sound is followed, but one of the two logs is wrong (exchanged?), and with it perhaps the reel's place"
    )
    work.notes.append(Note("undecided", text, pass_name=one.name))


def _blame_note(one: PassToPlace, reference: PassToPlace, at: int, samples: int) -> Note:
    lost = f"{abs(samples)} samples {'lost' if samples > 0 else 'repeated'}"
    return Note(
        "undecided",
        f"{one.name}: {lost}, or {reference.name} the other way round; "
        f"no third pass and no log tells, taken as a slip of {one.name}",
        pass_name=one.name,
        start=at,
        end=at,
    )


def _shift_of(time_map: TimeMap, pass_sample: int) -> int:
    held = [s.shift for s in time_map.stretches if s.pass_start <= max(pass_sample, 0)]
    return held[-1] if held else time_map.stretches[0].shift


def _place_unrelated(
    work: _Work,
    one: PassToPlace,
    passes: Sequence[PassToPlace],
    reference: PassToPlace,
    sample_rate: int,
) -> None:
    """Place a pass that the reference does not prove: by another placed pass, by its log, or not at all."""
    for other in (p for p in passes if p.name in work.maps and p is not reference and p is not one):
        relation = _relation(other, one, sample_rate)
        if relation is not None:
            _place_related(work, other, one, relation, sample_rate)
            return
    if one.position.source == "audio":
        _refuse(work, one, "its sound is nowhere in another pass of the reel")
        return
    overlapping = [p for p in passes if p.name in work.maps and _shares_sound(p, one)]
    if overlapping:
        _weigh_stranger(work, one, overlapping, sample_rate)
        return
    work.maps[one.name] = coarse_map(one)
    work.groups[one.name] = max(work.groups.values(), default=-1) + 1


def _shares_sound(first: PassToPlace, second: PassToPlace) -> bool:
    """Return whether two passes overlap by their logs and neither is silent there."""
    overlap = expected_overlap(first, second)
    if overlap is None:
        return False
    shift = second.position.shift_at(0) - first.position.shift_at(0)
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


def _weigh_stranger(
    work: _Work, one: PassToPlace, overlapping: Iterable[PassToPlace], sample_rate: int
) -> None:
    """Refuse a pass that holds other sound than its neighbours; keep one that is only nowhere identical."""
    for other in overlapping:
        overlap = expected_overlap(other, one)
        if overlap is None:
            continue
        shift = one.position.shift_at(0) - other.position.shift_at(0)
        radius = round(SEARCH_SECONDS[1] * sample_rate)
        likeness = find_likeness(other.audio, one.audio, overlap, shift, radius)
        if likeness is None:
            inverted = find_likeness(other.audio, _Inverted(one.audio), overlap, shift, radius)
            if inverted is not None:
                why = f"it is {other.name} in inverted polarity, and nowhere identical: {inverted.cause}"
                _refuse(work, one, why)
                return
        else:
            work.maps[one.name] = map_with_slips(
                one.audio.length, _shift_of(work.maps[other.name], 0) + likeness.shift, ()
            )
            work.groups[one.name] = max(work.groups.values()) + 1
            work.notes.append(_unlike_note(one, other, likeness))
            return
    names = ", ".join(other.name for other in overlapping)
    why = f"its sound is not that of {names} where their timecode overlaps"
    for other in overlapping:
        place = find_anywhere(other.audio, one.audio)
        if place is not None:
            off = place - (one.position.shift_at(0) - other.position.shift_at(0))
            way = "later" if off > 0 else "earlier"
            why += f"; it is found in {other.name} {abs(off) / sample_rate:.3f} s {way}: are their logs exchanged?"
            break
    _refuse(work, one, why)


class _Inverted:
    """Tracks in opposite polarity."""

    def __init__(self, audio: TrackReader) -> None:
        self.tracks, self.length = audio.tracks, audio.length
        self._audio = audio

    def read(self, track: int, start: int, count: int) -> Int32s:
        return np.negative(self._audio.read(track, start, count))


def _unlike_note(one: PassToPlace, other: PassToPlace, likeness: Likeness) -> Note:
    is_gain = abs(likeness.level_db) > LEVEL_TOLD_DB and likeness.correlation > PURE_GAIN_CORRELATION
    return Note(
        "level_differs" if is_gain else "not_transparent",
        f"{one.name} runs along with {other.name} but is nowhere identical: the capture chain is not "
        f"bit-transparent: {likeness.cause}; correlation {likeness.correlation:.4f}, largest difference "
        f"{likeness.largest_difference} steps, {likeness.difference_db:.1f} dB",
        pass_name=one.name,
    )


def _refuse(work: _Work, one: PassToPlace, why: str) -> None:
    work.refused.append(one.name)
    work.notes.append(Note("retake_refused", f"{one.name} is not used: {why}", pass_name=one.name))
