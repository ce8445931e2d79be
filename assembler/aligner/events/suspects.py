"""Places to listen to: what looks like a flaw without a witness, with the odds for it.

What an instrument does it does often; a machine fails seldom, and on several tracks at once. So a look-alike that is
one of many of its build on its track says little, a single one more, and each other track that shows something between
the same samples adds how unlikely that is by chance. Neighbours are one place. Nats throughout; nought is as likely a
flaw as not.

All positions are timeline samples.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import combinations
from math import ceil, expm1, log
from operator import attrgetter
from typing import TYPE_CHECKING

from numpy import logaddexp

from assembler.aligner.events.limits import LEAST_ODDS, MOST_AN_HOUR, NEARBY_NATS, NEARBY_SAMPLES, SINGLE_NATS
from assembler.aligner.records.findings import ranges_by_track
from assembler.aligner.records.limits import CHANCE_SAMPLES, SEARCHED_NATS
from assembler.aligner.records.passes import covered_by
from assembler.aligner.records.ranges import common, merged, total
from assembler.verdict.states import Suspect

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel


def suspects_of(
    reel: str, lookalikes: Sequence[FoundFlaw], told: Sequence[FoundFlaw], length: int
) -> list[Suspect]:
    """Return the places of a reel to listen to, likeliest first; those of one moment on several tracks are one.

    Look-alikes are also what is so often there that it is how a track is played; the length is that of each track, in
    samples.
    """
    flawed = {of: merged(own) for of, own in ranges_by_track(told).items()}
    near = merged((flaw.start - NEARBY_SAMPLES, flaw.end + NEARBY_SAMPLES) for flaw in told)
    habits = Counter(map(_habit, lookalikes))
    moments: list[list[FoundFlaw]] = []
    for one in sorted(set(lookalikes), key=attrgetter("start", "end", "track", "pass_name")):
        if common(flawed.get((one.pass_name, one.track), []), [(one.start, one.end)]):
            continue
        if moments and _is_at(moments[-1][0], one):
            moments[-1].append(one)
        else:
            moments.append([one])
    # That another track shows something just there by chance is as likely as look-alikes are dense.
    chance = min(1.0, max(1, len(lookalikes)) * CHANCE_SAMPLES / max(1, length))
    together = Counter(pair for moment in moments for pair in combinations(_tracks(moment), 2))
    found = [_weighed(reel, moment, habits, (-log(chance), together), near) for moment in moments]
    likely = pooled(one for one in found if one.odds >= LEAST_ODDS)
    return sorted(likely, key=lambda one: (-one.odds, one.start))


def pooled(suspects: Iterable[Suspect]) -> list[Suspect]:
    """Return suspects of a reel with those that are neighbours as one place to listen to, in order of time.

    Its odds are those for any of them to be a flaw, its kind that of the likeliest.
    """
    places: list[list[Suspect]] = []
    reached = 0
    for one in sorted(suspects, key=lambda one: (one.start, one.end)):
        if not places or one.start - reached >= NEARBY_SAMPLES:
            places.append([])
            reached = one.end
        places[-1].append(one)
        reached = max(reached, one.end)
    return [_as_one(members) for members in places]


def _as_one(members: Sequence[Suspect]) -> Suspect:
    if len(members) == 1:
        return members[0]
    likeliest = max(members, key=lambda one: one.odds)
    # The chance that none is a flaw, in nats: that of each together.
    none = -sum(float(logaddexp(0.0, one.odds)) for one in members)
    return replace(
        likeliest,
        start=members[0].start,
        end=max(one.end for one in members),
        tracks=tuple(sorted({track for one in members for track in one.tracks})),
        odds=round(log(-expm1(none)) - none, 2),
    )


def places_to_listen_to(reels: Sequence[ExaminedReel], rate: int) -> tuple[Suspect, ...]:
    """Return the likeliest suspects of all reels, likeliest first, so many for each hour of tape."""
    lengths = [
        max(total(covered_by(reel.passes, track)) for track in range(len(reel.reel.tracks))) for reel in reels
    ]
    found = [
        suspect
        for reel, length in zip(reels, lengths, strict=True)
        for suspect in suspects_of(reel.name, reel.findings.lookalikes, reel.findings.flaws, length)
    ]
    return ranked(found, ceil(MOST_AN_HOUR * sum(lengths) / (3600 * rate)))


def ranked(suspects: Iterable[Suspect], most: int) -> tuple[Suspect, ...]:
    """Return the likeliest of several reels' suspects, likeliest first."""
    return tuple(sorted(suspects, key=lambda one: (-one.odds, one.reel, one.start))[:most])


def _weighed(
    reel: str,
    moment: Sequence[FoundFlaw],
    habits: Mapping[tuple[str, int, str], int],
    coincidence: tuple[float, Mapping[tuple[int, int], int]],
    near: Sequence[Range],
) -> Suspect:
    """Return what one moment shows as one suspect.

    Coincidence is nats of two tracks that show something at once, and how often every two do: what a sequencer plays on
    both stops on both again and again. Near are places beside flaws.
    """
    tracks = _tracks(moment)
    start, end = min(one.start for one in moment), max(one.end for one in moment)
    first = max(moment, key=lambda one: (_own_odds(one, habits), -one.track))
    nats, together = coincidence
    others = [track for track in tracks if track != first.track]
    odds = _own_odds(first, habits) + sum(
        max(0.0, nats - log(together[min(first.track, track), max(first.track, track)])) for track in others
    )
    if common(near, [(start, end)]):
        odds += NEARBY_NATS
    kind = Counter(one.kind for one in moment).most_common(1)[0][0]
    return Suspect(reel, start, end, tracks, kind, round(odds, 2))


def _tracks(moment: Sequence[FoundFlaw]) -> tuple[int, ...]:
    return tuple(sorted({one.track for one in moment}))


def _own_odds(one: FoundFlaw, habits: Mapping[tuple[str, int, str], int]) -> float:
    """Return the odds of a look-alike by itself: one of many is a habit of its track; what is counted was sought."""
    by_itself = SINGLE_NATS if one.because.nats is None else one.because.nats - SEARCHED_NATS
    return by_itself - log(habits[_habit(one)])


def _habit(one: FoundFlaw) -> tuple[str, int, str]:
    return one.pass_name, one.track, one.because.rule.value + one.kind


def _is_at(first: FoundFlaw, second: FoundFlaw) -> bool:
    return abs(first.start - second.start) <= CHANCE_SAMPLES and abs(first.end - second.end) <= CHANCE_SAMPLES
