"""What the tables of stretches of a reel must say about reels, passes, tracks, and each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.sheet.checks.labels import stretch_frames
from assembler.sheet.checks.named import listed
from assembler.sheet.faults import Problem
from assembler.sheet.model.stretches import Accepted, Punch
from assembler.sheet.model.values import shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from assembler.sheet.checks.named import Known, Tables
    from assembler.sheet.model.stretches import ReelStretch
    from assembler.sheet.text.places import KeyPath


def stretch_problems(tables: Tables, known: Known) -> Iterator[Problem]:
    """Give the reels, passes and tracks that stretches name and that are not there, or not of the reel."""
    for table, index, stretch in tables.stretches():
        if stretch.reel not in known.reels:
            words = f"found the unknown reel {shown(stretch.reel)}; allowed: {listed(known.reels)}"
            yield Problem((table, index, "reel"), words)
            continue
        yield from _track_problems((table, index), stretch, known)
        if isinstance(stretch, Punch):
            yield from _pass_problem((table, index, "pass"), stretch.pass_name, stretch.reel, known)
        if isinstance(stretch, Accepted):
            yield from _accepted_problems((table, index), stretch, known)


def _track_problems(table: KeyPath, stretch: ReelStretch, known: Known) -> Iterator[Problem]:
    reel = known.reels[stretch.reel]
    if reel is None or stretch.tracks is None:
        return
    held = dict.fromkeys(name for name in reel.tracks if name)
    strange = [name for name in stretch.tracks if name not in held]
    if strange:
        words = f"found the unknown track {shown(strange[0])}; allowed for reel {shown(reel.name)}: {listed(held)}"
        yield Problem((*table, "tracks"), words)


def _accepted_problems(table: KeyPath, accepted: Accepted, known: Known) -> Iterator[Problem]:
    if accepted.take is not None:
        yield from _pass_problem((*table, "take"), accepted.take, accepted.reel, known)
    if accepted.passes is None:
        return
    for name in accepted.passes:
        found = list(_pass_problem((*table, "passes"), name, accepted.reel, known))
        if found:
            yield from found
            return  # one problem a key is enough
    if accepted.take is not None and accepted.take not in accepted.passes:
        words = f"found {shown(accepted.take)}; allowed: one of passes: {listed(accepted.passes)}"
        yield Problem((*table, "take"), words)


def _pass_problem(keys: KeyPath, name: str, reel: str, known: Known) -> Iterator[Problem]:
    if name not in known.passes:
        yield Problem(keys, f"found the unknown pass {shown(name)}; allowed: {listed(known.passes)}")
        return
    chosen = known.passes[name]
    if chosen is not None and chosen.reel != reel:
        own = listed(known.passes_of_reel.get(reel, ()))
        found = f"found {shown(chosen.name)}, a pass of reel {shown(chosen.reel)}"
        words = f"{found}; allowed for reel {shown(reel)}: {own}"
        yield Problem(keys, words)


@dataclass(frozen=True)
class _Taking:
    """A stretch that is to be taken from a pass: by a punch, or as it was accepted."""

    table: str
    index: int
    stretch: ReelStretch
    pass_name: str
    tracks: frozenset[str] | None


def _taking(table: str, index: int, one: ReelStretch, pass_name: str) -> _Taking:
    return _Taking(table, index, one, pass_name, None if one.tracks is None else frozenset(one.tracks))


def contradictions(tables: Tables, frame_rate: str, places: Mapping[KeyPath, int]) -> Iterator[Problem]:
    """Give each stretch that takes another pass than an earlier one over the same samples: which is meant?"""
    day = stretch_frames("00:00:00:00", "00:00:00:00", frame_rate)[1]
    takings = [
        *(_taking("punch", index, one, one.pass_name) for index, one in tables.punches.items()),
        *(
            _taking("accepted", i, one, one.take)
            for i, one in tables.accepted.items()
            if one.take is not None
        ),
    ]
    told: set[int] = set()
    for track in dict.fromkeys(name for reel in tables.reels.values() for name in reel.tracks if name):
        reels = {reel.name for reel in tables.reels.values() if track in reel.tracks}
        stretches = []
        for number, taking in enumerate(takings):
            one = taking.stretch
            if one.reel in reels and (taking.tracks is None or track in taking.tracks):
                start, end = stretch_frames(one.start, one.end, frame_rate)
                # Once more a day later, so that one that runs past midnight meets what follows it.
                stretches += [(start, end, number), (start + day, end + day, number)]
        reached: dict[str, tuple[int, int]] = {}
        for start, end, number in sorted(stretches):
            own = takings[number].pass_name
            for name, (other_end, other) in reached.items():
                later = max(number, other)
                if name != own and other_end > start and later not in told:
                    told.add(later)
                    yield _contradiction(takings[min(number, other)], takings[later], places)
            reached[own] = max(reached.get(own, (0, 0)), (end, number))


def _contradiction(first: _Taking, second: _Taking, places: Mapping[KeyPath, int]) -> Problem:
    line = places.get((first.table, first.index, "start"))
    named = f"{first.table}[{first.index + 1}]" + (f" (line {line})" if line else "")
    words = (
        f"found {shown(second.stretch.start)} to {shown(second.stretch.end)} from {shown(second.pass_name)}, of which "
        f"{named} takes a part from {shown(first.pass_name)}; allowed: one pass for each place"
    )
    return Problem((second.table, second.index, "start"), words)
