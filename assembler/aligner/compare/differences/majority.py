"""A pass that stands against several which agree: its flaw, or theirs.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.differences.pieces import is_short_level, judge_pieces, surroundings_of
from assembler.aligner.compare.places import silence_around
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.ranges import ranges_of, total, without

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.rests import SharedRests


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
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    # One that lost samples nearby shows nothing of the sound there.
    around = surroundings_of(place, place)
    shown = min(others, key=lambda i: total(without(around, passes[i].covered(track))))
    judged = judge_pieces(passes, track, (shown, index), place, step, (len(others), 1))
    for part, verdict in judged:
        agreed, alone = verdict.kinds
        is_decided = verdict.decided
        is_rest = agreed == "mute" and _is_played([passes[i] for i in others], track, part, rests)
        # Only one of three may have heard what was played in a rest that the others have alike; and a level too short
        # to be told from the sound's own may be held in two.
        is_doubtful = alone == "disagreement" and is_short_level(passes[shown], track, part)
        if is_decided and (is_doubtful or (is_rest and not alone)):
            first, because = passes[others[0]].name, Because(Rule.OUTVOTED)
            undecided.append(Undecided(track, *part, first, (passes[index].name,), because=because))
        if is_rest:
            agreed = ""
        if is_decided and _is_built(agreed, alone):
            held = passes[shown].samples(track, *part)
            alike = [passes[i] for i in others if np.array_equal(passes[i].samples(track, *part), held)]
            because = replace(verdict.because, rule=Rule.AGREED)
            flaws += [FoundFlaw(one.name, track, agreed, *part, because=because) for one in alike]
            if not alone:
                continue
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
