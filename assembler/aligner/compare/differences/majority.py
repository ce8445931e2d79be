"""A pass that stands against several which agree: its flaw, or theirs, or none, where they agree by chance.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.differences.pieces import (
    is_level,
    is_short_level,
    judge_pieces,
    surroundings_of,
)
from assembler.aligner.compare.places import silence_around
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.limits import BRIDGE_SAMPLES, CHANCE_SAMPLES, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import merged, range_around, ranges_of, total, without
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.compare.notes import TrackNotes
    from assembler.aligner.judge.stories.verdict import Verdict
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.rests import SharedRests


def contested(passes: Sequence[PlacedPass], track: int, notes: TrackNotes) -> list[Range]:
    """Return places in which no majority means anything: two passes agree within a longer flaw of one of them.

    So they do by chance on a few samples, or on a level that this flaw holds throughout.
    """
    losses = sorted(
        (start, end, index) for index, ranges in notes.outvoted.items() for start, end in merged(ranges)
    )
    if len({index for _, _, index in losses}) < 2:
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
    return [
        place for place in merged(inside) if not any(without([place], one.covered(track)) for one in passes)
    ]


def _holds_through(one: PlacedPass, track: int, lost: Sequence[Range], place: Range) -> bool:
    """Return whether a pass holds one level through a place, as a flaw does, from where it stands alone or to there.

    Others have that level there, too; ``lost`` is where the pass is outvoted, in order.
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


def judge_outvoted(
    passes: Sequence[PlacedPass],
    track: int,
    index: int,
    place: Range,
    elsewhere: Sequence[Range],
    step: int,
    rests: SharedRests,
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Name the flaw of a pass that stands against several; or theirs, when what they agree on is one.

    Two passes may be muted at the same place and agree on zeros. The place is bridged over what may lie between. Places
    ``elsewhere``, where passes differ in another way, are judged by themselves, so that what stays open here says
    nothing of them.
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
        if is_decided and _is_built(agreed, alone):
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
        flaws += [outvoted(*p) for p in without(_outvoted_in(passes, track, index, others, part), elsewhere)]
    return flaws, undecided


def _is_built(agreed: str, alone: str) -> bool:
    """Return whether what several passes agree on is what a machine makes by itself: their flaw, not the tape's."""
    # A block that stands twice may be the tape's own where the lone pass is flawed.
    return agreed in ("mute", "hold", "straight") or (agreed == "repeat" and not alone)


def _is_lost(shown: PlacedPass, track: int, part: Range, verdict: Verdict) -> bool:
    """Return whether the pass that stands alone is wrong in a part, and the others are not.

    Where the verdict is open, a majority that holds no one level there is believed.
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
