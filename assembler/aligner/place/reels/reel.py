"""The passes of one reel put on the timeline: by timecode first, then to the sample by their audio.

The most trusted pass keeps the place that its timecode gives it; every other pass that shares audio with a
placed one is moved to where the samples are identical, or, where they are nowhere, as alike as the rest of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING

from assembler.aligner.place.limits import ANCHOR_SAMPLES
from assembler.aligner.place.meeting import (
    expected_shift,
    find_likeness,
    find_relation,
    shares_sound,
    told_within,
)
from assembler.aligner.place.reels.words import blame_note, contradiction_note, log_question, unlike_note
from assembler.aligner.place.search import find_anywhere
from assembler.aligner.place.slips.blame import (
    probe_slips,
    proved_ranges,
    reference_slips,
    unproved_slips,
)
from assembler.aligner.place.slips.doubled import doubled_slips
from assembler.aligner.place.slips.logged import is_denied
from assembler.aligner.place.slips.pinning import MappedPass, in_parts, pin_slips
from assembler.aligner.records.timemap import map_with_slips
from assembler.aligner.sound.limits import LEVEL_TOLD_DB
from assembler.known import NOTHING
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from assembler.aligner.place.along.alike import Alike
    from assembler.aligner.place.meeting import PassToPlace
    from assembler.aligner.place.relation import Relation
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.timemap import Slip, TimeMap
    from assembler.known import Known


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
    known: Known
    sample_rate: int
    strayed: Mapping[str, Sequence[Range]]
    maps: dict[str, TimeMap] = field(default_factory=dict)
    groups: dict[str, int] = field(default_factory=dict)
    slips: dict[str, list[Slip]] = field(default_factory=dict)
    alike: dict[tuple[str, str], Alike | None] = field(default_factory=dict)
    seen: dict[str, Relation | None] = field(default_factory=dict)
    """How the other passes lie in the reference, if they do."""
    refused: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def relation(self, reference: PassToPlace, one: PassToPlace) -> Relation | None:
        """Return how a pass lies against another one."""
        strayed = self.strayed.get(one.name, ())
        asked = self.sample_rate, tuple(strayed), *((each.audio, each.position) for each in (reference, one))
        find = partial(find_relation, reference, one, self.sample_rate, strayed)
        return self.known.recall("relation", asked, find)

    def likeness(self, reference: PassToPlace, one: PassToPlace) -> Alike | None:
        """Return how a pass runs along with another one that it shares no numbers with."""
        pair = reference.name, one.name
        if pair not in self.alike:
            asked = self.sample_rate, *((each.audio, each.position) for each in (reference, one))
            find = partial(find_likeness, reference, one, self.sample_rate)
            self.alike[pair] = self.known.recall("likeness", asked, find)
        return self.alike[pair]

    def doubled(self, one: PassToPlace, proved: Sequence[Range]) -> list[Slip]:
        """Return what came twice in a pass where no other bears witness, and its log says nothing against it."""
        asked = one.audio, tuple(proved)
        found = self.known.recall("doubled", asked, partial(doubled_slips, one.audio, proved))
        return [slip for slip in found if not is_denied(one.position, slip, self.sample_rate)]


def place_reel(
    passes: Sequence[PassToPlace],
    sample_rate: int,
    advance: Callable[[float], None] = lambda _: None,
    known: Known = NOTHING,
    strayed: Mapping[str, Sequence[Range]] = MappingProxyType({}),
) -> PlacedReel:
    """Return where every pass of a reel lies; ``strayed`` is where each may lie at another shift (see there)."""
    work = _Work(known, sample_rate, strayed)
    reference = next((p for p in passes if p.position.source != "audio"), None)
    if reference is None:
        for one in passes:
            _refuse(work, one, "none of the reel's passes has a position of its own")
        return PlacedReel({}, {}, tuple(work.refused), tuple(work.notes))
    others = [p for p in passes if p is not reference]
    relations: dict[str, Relation | None] = {}
    for count, one in enumerate(others):
        relations[one.name] = work.relation(reference, one)
        advance((count + 1) / (len(others) + 1))
    relations = in_parts(relations)
    along = {one.name: work.likeness(reference, one) for one in others if relations[one.name] is None}
    upright = {name: found.relation for name, found in along.items() if found and found.likeness > 0}
    work.seen = {name: found or upright.get(name) for name, found in relations.items()}
    doubled = work.doubled(reference, proved_ranges(work.seen))
    own = reference_slips(reference.position, work.seen, doubled, sample_rate)
    work.maps[reference.name] = map_with_slips(reference.audio.length, round(reference.position.shift), own)
    work.groups[reference.name] = 0
    for one in others:
        relation = relations[one.name]
        if relation is not None:
            _place_related(work, reference, one, relation, sample_rate)
    for one in others:
        if one.name not in work.maps:
            _place_unrelated(work, one, passes, reference, sample_rate)
    _pin_slips(work, passes)
    advance(1.0)
    return PlacedReel(work.maps, work.groups, tuple(work.refused), tuple(work.notes))


def _place_related(
    work: _Work,
    reference: PassToPlace,
    one: PassToPlace,
    relation: Relation,
    sample_rate: int,
) -> None:
    """Map a pass through the reference's map; a change of shift that is not the reference's is its own slip.

    Whose it is stays open, and is listed, where neither the sound nor its log shows it, nor any third pass runs on
    beside the reference.
    """
    base = work.maps[reference.name]
    first = relation.stretches[0]
    # Where it begins the reference may have lost what it holds: the middle of its first anchor is in both.
    known = relation.proved[0] + ANCHOR_SAMPLES // 2
    start_shift = _shift_of(base, known + first.shift) + first.shift
    off = start_shift - one.position.shift_at(first.start)
    if one.position.source != "audio" and abs(off) > told_within(reference, one, sample_rate):
        work.notes.append(contradiction_note(one, reference, off, sample_rate))
    # Of how passes lie in another one than the first nothing more is known.
    seen = {} if reference.name in work.seen else work.seen
    third = [other for name, other in seen.items() if other is not None and name != one.name]
    own = probe_slips(one.position, relation, base.slips(), third, sample_rate)
    work.notes += [blame_note(one, reference, found.slip) for found in own if not found.is_sure]
    doubled = work.doubled(one, [relation.proved])
    unproved = unproved_slips(one.position, relation, doubled, sample_rate)
    # The sound tells how the pass lies after what it alone, or its log, shows before that.
    start_shift -= sum(slip.samples for slip in unproved if slip.pass_sample < relation.proved[0])
    slips = [*unproved, *(found.slip for found in own)]
    work.slips[one.name] = sorted(slips, key=lambda slip: slip.pass_sample)
    work.maps[one.name] = map_with_slips(one.audio.length, start_shift, work.slips[one.name])
    work.groups[one.name] = work.groups[reference.name]


def _pin_slips(work: _Work, passes: Sequence[PassToPlace]) -> None:
    """Move slips that the pass related to leaves in doubt to where a third one shows them."""
    mapped = {one.name: MappedPass(one.audio, work.maps[one.name]) for one in passes if one.name in work.maps}
    for name, slips in work.slips.items():
        group = work.groups[name]
        others = [other for key, other in mapped.items() if key != name and work.groups[key] == group]
        pinned = pin_slips(slips, mapped[name], others)
        work.maps[name] = map_with_slips(
            mapped[name].audio.length, work.maps[name].stretches[0].shift, pinned
        )


def _shift_of(time_map: TimeMap, pass_sample: int) -> int:
    held = [s.shift for s in time_map.stretches if s.pass_start <= max(pass_sample, 0)]
    return held[-1] if held else time_map.stretches[0].shift


def _place_unrelated(
    work: _Work, one: PassToPlace, passes: Sequence[PassToPlace], reference: PassToPlace, sample_rate: int
) -> None:
    """Place a pass that the reference does not prove: by another placed pass, by its log, or not at all."""
    for other in (p for p in passes if p.name in work.maps and p is not reference and p is not one):
        relation = work.relation(other, one)
        if relation is not None:
            _place_related(work, other, one, relation, sample_rate)
            return
    if one.position.source == "audio":
        _refuse(work, one, "its sound is nowhere in another pass of the reel")
        return
    overlapping = [p for p in passes if p.name in work.maps and shares_sound(p, one)]
    if overlapping:
        _weigh_stranger(work, one, overlapping, sample_rate)
        return
    # By its log alone.
    slips = unproved_slips(one.position, None, work.doubled(one, []), sample_rate)
    work.maps[one.name] = map_with_slips(one.audio.length, round(one.position.shift), slips)
    work.groups[one.name] = max(work.groups.values(), default=-1) + 1


def _weigh_stranger(
    work: _Work, one: PassToPlace, overlapping: Iterable[PassToPlace], sample_rate: int
) -> None:
    """Refuse a pass that holds other sound than its neighbours; keep one that is only nowhere identical."""
    for other in overlapping:
        found = work.likeness(other, one)
        if found is None:
            continue
        if found.likeness < 0:
            level = f"{found.level_db:+.2f} dB" if abs(found.level_db) > LEVEL_TOLD_DB else "no gain"
            why = f"it is {other.name} in inverted polarity ({level}), and nowhere identical"
            _refuse(work, one, why)
            return
        _place_related(work, other, one, found.relation, sample_rate)
        work.groups[one.name] = max(work.groups.values()) + 1
        work.notes.append(unlike_note(one, other))
        return
    names = ", ".join(other.name for other in overlapping)
    why = f"its sound is not that of {names} where their timecode overlaps"
    for other in overlapping:
        place = find_anywhere(other.audio, one.audio)
        if place is not None:
            off = place - expected_shift(other, one)
            far = f"{abs(off) / sample_rate:.3f} s {'later' if off > 0 else 'earlier'}"
            why += f"; it is found in {other.name} {far}: {log_question(one, other, off)}"
            break
    _refuse(work, one, why)


def _refuse(work: _Work, one: PassToPlace, why: str) -> None:
    work.refused.append(one.name)
    work.notes.append(Note("retake_refused", f"{one.name} is not used: {why}", pass_name=one.name))
