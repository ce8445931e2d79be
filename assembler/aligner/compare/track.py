"""What the notes on one track say of each pass: differences judged, votes weighed, lone stretches looked at.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.beside import Beside
from assembler.aligner.compare.blocks import is_unlike
from assembler.aligner.compare.limits import (
    LONGEST_JUDGED,
    MOST_DIFFERENCES,
    SILENT_SAMPLES,
)
from assembler.aligner.compare.lone import flaws_alone, weigh_lines, weigh_runs
from assembler.aligner.compare.pieces import (
    is_flat,
    is_level,
    is_one_level,
    is_short_level,
    judge_pieces,
    surroundings_of,
)
from assembler.aligner.compare.places import (
    losses_without_witness,
    one_place_each,
    silence_around,
    unasked_losses,
    weak_rows,
)
from assembler.aligner.concealment.limits import FLAW_BRIDGE
from assembler.aligner.concealment.track import Comparison, concealed
from assembler.aligner.judge.limits import BRIDGE_SAMPLES
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided, joined_flaws
from assembler.aligner.records.limits import CHANCE_SAMPLES, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import (
    common,
    merged,
    range_around,
    ranges_of,
    total,
    without,
)
from assembler.aligner.sound.limits import LEAST_RUN
from assembler.aligner.sound.rests import SharedRests

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.compare.blocks import TrackNotes
    from assembler.aligner.concealment.marks import Machine
    from assembler.aligner.judge.stories import Verdict
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Weighed:
    """What one track says.

    Args:
        flaws: in order of place; where a place is undecided, of the passes that are not taken.
        undecided: places where nothing tells which pass is right.
        agreeing: flaws that every pass covering the place has.
        open_places: flaws of single passes unless they are how an instrument is played; other tracks may tell.
        habits: what looks like a flaw and is how the track is played, as it is there often, or proves too little.
        comparison: the passes that were compared sample by sample, and where they differ.
    """

    flaws: list[FoundFlaw]
    undecided: list[Undecided]
    agreeing: list[FoundFlaw]
    open_places: list[FoundFlaw]
    habits: list[FoundFlaw]
    comparison: Comparison


def weigh_track(
    passes: Sequence[PlacedPass],
    track: int,
    notes: TrackNotes,
    step: int,
    full_scale: int,
    machines: Sequence[Machine],
) -> Weighed:
    """Return what one track says of each pass.

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        notes: of that track.
        step: one step of the tape's word length, in sample values.
        full_scale: largest positive sample value.
        machines: how the machine of each pass conceals.
    """
    comparison = _comparison(passes, track, notes, step, full_scale, machines)
    hidden = concealed(comparison)
    notes = _left(notes, hidden.left, comparison.differing)
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    rests = SharedRests(track, step)
    contested = _contested(passes, track, notes)
    split = {members: without(merged(ranges), contested) for members, ranges in notes.split.items()}
    if contested:
        split.setdefault(tuple(range(len(passes))), []).extend(contested)
    for index, ranges in notes.outvoted.items():
        judged = merged(without(merged(ranges), contested), bridge=BRIDGE_SAMPLES)
        elsewhere = merged(place for places in split.values() for place in places)
        for place in one_place_each(judged, partial(is_level, passes[index], track)):
            found, open_places = _judge_outvoted(passes, track, index, place, elsewhere, step, rests)
            flaws += found
            undecided += open_places
    for members, ranges in split.items():
        if not is_unlike(notes, *members[:2]):
            found, open_places = _judge_split(passes, track, members, ranges, step, flaws)
            flaws += found
            undecided += open_places
    flaws += hidden.flaws
    # Where passes differ that has been asked already, sample by sample.
    asked = merged(comparison.differing, bridge=FLAW_BRIDGE)
    flaws += losses_without_witness(passes, track, notes, asked)
    undecided += hidden.undecided
    flaws += _doubted(passes, track, notes, flaws)
    flaws += _through_holes(passes, track, flaws)
    flawed = {p.name: merged((f.start, f.end) for f in flaws if f.pass_name == p.name) for p in passes}
    lone = flaws_alone(passes, track, step, flawed)
    # Silence beside noise thrown in looks cut off by nature.
    seen = [*flaws, *lone.told, *lone.open_places, *lone.natural]
    known = {p.name: merged((f.start, f.end) for f in seen if f.pass_name == p.name) for p in passes}
    doubted = merged((place.start, place.end) for place in undecided)
    alone, agreeing, played = weigh_runs(passes, track, notes, known, doubted, rests, step, full_scale)
    alone += _not_known(lone.told, flaws + alone)
    drawn = weigh_lines(passes, track, notes, step)
    return Weighed(
        joined_flaws([*flaws, *alone, *drawn]),
        undecided,
        [*agreeing, *drawn],
        lone.open_places,
        [
            *lone.natural,
            *played,
            *weak_rows(passes, track, notes, asked, flaws),
            *unasked_losses(passes, track, notes, flaws),
        ],
        comparison,
    )


def _comparison(
    passes: Sequence[PlacedPass],
    track: int,
    notes: TrackNotes,
    step: int,
    full_scale: int,
    machines: Sequence[Machine],
) -> Comparison:
    """Return the passes of a track that hold the same numbers as the most trusted one, and where they differ."""
    holding = [index for index, one in enumerate(passes) if one.covered(track)]
    alike = [index for index in holding if not is_unlike(notes, holding[0], index)]
    differing = [
        place
        for members, places in (
            *notes.split.items(),
            *(((index,), places) for index, places in notes.outvoted.items()),
        )
        if set(members) <= set(alike)
        for place in places
    ]
    bits = full_scale.bit_length() + 1 - (step.bit_length() - 1)
    return Comparison(
        [passes[index] for index in alike],
        track,
        step,
        bits,
        [machines[index] for index in alike],
        merged(differing, bridge=BRIDGE_SAMPLES) if len(alike) > 1 else [],
    )


def _left(notes: TrackNotes, left: Sequence[Range], looked_at: Sequence[Range]) -> TrackNotes:
    """Return the notes without the differences that concealment has explained.

    Args:
        notes: of a track.
        left: where captures differ for another reason.
        looked_at: where it was looked for; elsewhere notes stay.
    """

    def kept(places: Sequence[Range]) -> list[Range]:
        whole = merged(places)
        return merged([*common(whole, left), *without(whole, looked_at)])

    return replace(
        notes,
        outvoted={index: kept(places) for index, places in notes.outvoted.items()},
        split={members: kept(places) for members, places in notes.split.items()},
    )


def _contested(passes: Sequence[PlacedPass], track: int, notes: TrackNotes) -> list[Range]:
    """Return places in which no majority means anything: two passes agree within a longer flaw of one of them.

    So they do by chance on a few samples, or on a level that this flaw holds throughout.
    """
    losses = sorted(
        (start, end, index) for index, ranges in notes.outvoted.items() for start, end in merged(ranges)
    )
    if len({index for _, _, index in losses}) < 2 or len(losses) > MOST_DIFFERENCES:
        return []
    lost = {index: merged(ranges) for index, ranges in notes.outvoted.items()}
    bridged = {index: merged(ranges, bridge=BRIDGE_SAMPLES) for index, ranges in lost.items()}
    inside = [
        (start, end)
        for start, end, loser in losses
        if any(
            (end - start <= CHANCE_SAMPLES and range_around(bridged[other], (start, end)) is not None)
            or _holds_through(passes[other], track, lost[other], (start, end))
            for other in lost
            if other != loser
        )
    ]
    return [place for place in merged(inside) if not any(without([place], one.covered(track)) for one in passes)]


def _holds_through(one: PlacedPass, track: int, lost: Sequence[Range], place: Range) -> bool:
    """Return whether a pass holds one level through a place, as a flaw does, from where it stands alone or to there.

    Args:
        one: the pass.
        track: from 0 in tape order.
        lost: where it is outvoted, in order.
        place: where others have that level too.
    """
    around = range_around(lost, place)
    if around is not None:
        # Notes are bridged over a few samples that it has right.
        held = max(around[0], place[0] - LEAST_RUN), min(around[1], place[1] + LEAST_RUN)
        return held != place and is_level(one, track, held)
    number = bisect_left(lost, place)
    before = lost[number - 1][1] if number else -MOST_GAP_SAMPLES
    behind = lost[number][0] if number < len(lost) else place[1] + MOST_GAP_SAMPLES + 1
    comes_on = before <= place[0] <= before + MOST_GAP_SAMPLES and is_level(
        one, track, (before - 1, place[1])
    )
    goes_on = place[1] <= behind <= place[1] + MOST_GAP_SAMPLES and is_level(
        one, track, (place[0], behind + 1)
    )
    return comes_on or goes_on


def _judge_split(
    passes: Sequence[PlacedPass],
    track: int,
    members: tuple[int, ...],
    ranges: Sequence[Range],
    step: int,
    known: Sequence[FoundFlaw],
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Return the flaws and the undecided places where passes differ and none is outvoted.

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        members: indices of the passes that differ.
        ranges: where they do.
        step: one step of the tape's word length.
        known: flaws of the track that are known already.
    """
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    # Between differences all members hold the same.
    places = one_place_each(
        merged(ranges, bridge=BRIDGE_SAMPLES), partial(is_level, passes[members[0]], track)
    )
    if len(places) > MOST_DIFFERENCES:
        taken, *others = (passes[index].name for index in members)
        coarse = merged(ranges, bridge=LONGEST_JUDGED)
        because = Because(Rule.TOO_MANY)
        return [], [Undecided(track, *place, taken, tuple(others), because=because) for place in coarse]
    beside = Beside(passes, track, known)
    for place in places:
        names = [passes[index].name for index in members]
        parts = judge_pieces(
            passes,
            track,
            members,
            place,
            step,
            flawed_before=[beside.is_flawed_before(name, place) for name in names],
            flawed_behind=[beside.is_flawed_behind(name, place) for name in names],
        )
        silent = ""
        if not all(verdict.decided for _, verdict in parts):
            silent = _silent_pass(passes, track, members, place)
        for (start, end), verdict in parts:
            found = _flaws_of(passes, track, members, verdict, (start, end))
            flaws += found
            if verdict.decided:
                beside.add(found)
            if not verdict.decided:
                names = [passes[index].name for index in members]
                taken = names.pop(verdict.right)
                undecided.append(
                    Undecided(
                        track,
                        start,
                        end,
                        taken,
                        tuple(names),
                        verdict.is_doubtful,
                        silent,
                        place,
                        because=verdict.because,
                    )
                )
    return flaws, undecided


def _silent_pass(passes: Sequence[PlacedPass], track: int, members: tuple[int, ...], place: Range) -> str:
    """Return the pass that holds nothing but zeros in a place and beside it; "" where none does."""
    beside = place[0] - SILENT_SAMPLES, place[1] + SILENT_SAMPLES
    if place[1] - place[0] > LONGEST_JUDGED:
        return ""
    silent = [
        passes[index].name
        for index in members
        if not without([beside], passes[index].covered(track))
        and not passes[index].samples(track, *beside).any()
    ]
    return silent[0] if len(silent) == 1 else ""


def _doubted(
    passes: Sequence[PlacedPass], track: int, notes: TrackNotes, flaws: Sequence[FoundFlaw]
) -> list[FoundFlaw]:
    """Return what lies beside a slip whose place nothing tells, where no other pass bears it out.

    Samples there may stand as far off as the slip is long; those that another pass has too are in place. Where the
    slip lost samples they may be others than it seems, so that what a single other pass has in their place is not
    borne out either.
    """
    found: list[FoundFlaw] = []
    told = partial(FoundFlaw, because=Because(Rule.BESIDE_SLIP))
    for index, one in enumerate(passes):
        differing = merged(place for who, places in notes.split.items() if index in who for place in places)
        others = [other for other in passes if other is not one]
        covered = merged(piece for other in others for piece in other.covered(track))
        for doubt, lost in one.maps[track].doubts():
            open_places = [*common(doubt, differing), *without(doubt, covered)]
            found += [told(one.name, track, "disagreement", *place) for place in open_places]
            holders = [other for other in others if common(other.covered(track), lost)]
            if common(doubt, differing) and len(holders) == 1:
                places = common(holders[0].covered(track), lost)
                found += [told(holders[0].name, track, "disagreement", *place) for place in places]
    return _not_known(found, flaws)


def _through_holes(passes: Sequence[PlacedPass], track: int, flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return what lies between two flaws of a pass where every other pass lost samples: the flaw goes on there.

    Unless that is for longer than what is known of it.
    """
    found: list[FoundFlaw] = []
    for one in passes:
        covered = merged(piece for other in passes if other is not one for piece in other.covered(track))
        own = [flaw for flaw in flaws if flaw.pass_name == one.name]
        whole = merged(((flaw.start, flaw.end) for flaw in own), bridge=BRIDGE_SAMPLES)
        for held in one.covered(track):
            for start, end in without([held], covered):
                # Before the others begin and behind their end there is no hole, nor is there one in a lone pass.
                if not covered or end <= covered[0][0] or covered[-1][1] <= start:
                    continue
                before = [flaw for flaw in own if flaw.start < start <= flaw.end + BRIDGE_SAMPLES]
                behind = [flaw for flaw in own if flaw.start - BRIDGE_SAMPLES <= end < flaw.end]
                known = total(
                    (low, high)
                    for low, high in whole
                    if low < start <= high + BRIDGE_SAMPLES or low - BRIDGE_SAMPLES <= end < high
                )
                if before and behind and end - start <= known:
                    kind, because = before[-1].kind, Because(Rule.GOES_ON)
                    found.append(FoundFlaw(one.name, track, kind, start, end, because=because))
    return _not_known(found, flaws)


def _not_known(found: Iterable[FoundFlaw], flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return the parts of found flaws that no other flaw of the same pass names already."""
    fresh: list[FoundFlaw] = []
    for flaw in found:
        known = merged((one.start, one.end) for one in (*flaws, *fresh) if one.pass_name == flaw.pass_name)
        fresh += [
            replace(flaw, start=start, end=end) for start, end in without([(flaw.start, flaw.end)], known)
        ]
    return fresh


def _flaws_of(
    passes: Sequence[PlacedPass], track: int, members: tuple[int, ...], verdict: Verdict, place: Range
) -> list[FoundFlaw]:
    return [
        FoundFlaw(passes[index].name, track, kind, *place, because=verdict.because)
        for index, kind in zip(members, verdict.kinds, strict=True)
        if kind
    ]


def _judge_outvoted(
    passes: Sequence[PlacedPass],
    track: int,
    index: int,
    place: Range,
    elsewhere: Sequence[Range],
    step: int,
    rests: SharedRests,
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Name the flaw of a pass that stands against several; or theirs, when what they agree on is one.

    Two passes may be muted at the same place and agree on zeros. Where they agree on one level and nothing tells
    whether it is the tape's, the majority stands and the place is told.

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        index: of the pass that stands alone.
        place: where it does, bridged over what may lie between.
        elsewhere: places of the track where passes differ in another way. They are judged by themselves, so that
            what stays open here says nothing of them.
        step: one step of the tape's word length.
        rests: of the track.
    """
    others = [i for i, p in enumerate(passes) if i != index and not without([place], p.covered(track))]
    outvoted = partial(FoundFlaw, passes[index].name, track, "disagreement", because=Because(Rule.OUTVOTED))
    if not others:
        return [outvoted(*place)], []
    stands = partial(
        Undecided,
        track,
        taken=passes[others[0]].name,
        others=(passes[index].name,),
        because=Because(Rule.OUTVOTED),
    )
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    # One that lost samples nearby shows nothing of the sound there.
    around = surroundings_of(place, place)
    shown = min(others, key=lambda i: total(without(around, passes[i].covered(track))))
    judged = judge_pieces(passes, track, (shown, index), place, step, (len(others), 1))
    lost = [part for part, verdict in judged if _is_lost(passes[shown], track, part, verdict)]
    for part, verdict in judged:
        agreed, alone = verdict.kinds
        is_decided = verdict.decided
        is_rest = agreed == "mute" and _is_played([passes[i] for i in others], track, part, rests)
        # Only one of three may have heard what was played in a rest that the others have alike; and a level too short
        # to be told from the sound's own may be held in two.
        is_disputed = is_decided and (
            (is_rest and not alone)
            or (alone == "disagreement" and is_short_level(passes[shown], track, part))
        )
        if is_rest or _is_between(part, lost):
            agreed = ""
        if is_decided and _is_built(passes[shown], track, part, agreed, alone):
            held = passes[shown].samples(track, *part)
            alike = [passes[i] for i in others if np.array_equal(passes[i].samples(track, *part), held)]
            because = replace(verdict.because, rule=Rule.AGREED)
            flaws += [FoundFlaw(one.name, track, agreed, *part, because=because) for one in alike]
            if not alone:
                continue
        if is_disputed:
            undecided.append(stands(*part))
        if is_decided:
            name, because = passes[index].name, verdict.because
            flaws.append(FoundFlaw(name, track, alone, *part, because=because) if alone else outvoted(*part))
            continue
        for piece in without(_outvoted_in(passes, track, index, others, part), elsewhere):
            flaws.append(outvoted(*piece))
            if is_one_level(passes[others[0]], track, part):
                undecided.append(stands(*piece))
    return flaws, undecided


def _is_built(shown: PlacedPass, track: int, part: Range, agreed: str, alone: str) -> bool:
    """Return whether what several passes agree on is what a machine makes by itself: their flaw, not the tape's."""
    if agreed in ("mute", "hold", "straight"):
        return True
    # A block that stands twice, or a level between others, may be the tape's own where the lone pass is flawed.
    return not alone and (agreed == "repeat" or bool(agreed and is_flat(shown, track, part)))


def _is_lost(shown: PlacedPass, track: int, part: Range, verdict: Verdict) -> bool:
    """Return whether the pass that stands alone is wrong in a part, and the others are not.

    Args:
        shown: one of those that agree.
        track: from 0 in tape order.
        part: of a place.
        verdict: on it. Where it is open, a majority that holds no one level there is believed.
    """
    agreed, alone = verdict.kinds
    if verdict.decided:
        return bool(alone) and not agreed
    return agreed != "straight" and bool(np.diff(shown.samples(track, *part)).any())


def _is_between(part: Range, sides: Sequence[Range]) -> bool:
    """Return whether a part lies between others that are, before it and behind it, as long as itself in sum."""
    size = part[1] - part[0]
    before = sum(end - start for start, end in sides if end <= part[0])
    behind = sum(end - start for start, end in sides if start >= part[1])
    return min(before, behind) >= size


def _is_played(passes: Sequence[PlacedPass], track: int, part: Range, rests: SharedRests) -> bool:
    """Return whether the silence in which several passes agree is a rest: mutes hardly begin and end alike."""
    silences = {silence_around(one, track, part) for one in passes}
    return len(silences) == 1 and rests.holds(passes[0], silences.pop())


def _outvoted_in(
    passes: Sequence[PlacedPass], track: int, index: int, others: Sequence[int], part: Range
) -> list[Range]:
    """Return where, in a part, others agree against a pass; what chance has alike between is bridged."""
    own = passes[index].samples(track, *part)
    held = np.sort(np.stack([passes[i].samples(track, *part) for i in others]), axis=0)
    paired = held[1:] == held[:-1] if len(others) > 1 else np.ones(held.shape, np.bool_)
    against = np.any(paired & (held[-len(paired) :] != own), axis=0)
    return [
        (part[0] + start + low, part[0] + start + high)
        for start, end in ranges_of(np.any(paired, axis=0))
        for low, high in ranges_of(against[start:end], bridge=end - start)
    ]
