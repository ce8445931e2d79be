"""What the plan leaves: which flaws of each pass are cured, what stays uncured, and who was taken where.

Positions are timeline samples unless said otherwise.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from itertools import islice, takewhile
from typing import TYPE_CHECKING

from assembler.aligner.records.edit import Uncured
from assembler.aligner.records.limits import VISIT_SAMPLES
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.tell.asked.accepted import closing_of, cut_at
from assembler.aligner.tell.holdings import placed_flaws
from assembler.aligner.tell.limits import COARSE_SAMPLES, MOST_LISTED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.plan.weaving import Weaving
    from assembler.aligner.records.edit import TrackEdit
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.holdings import Holdings
    from assembler.verdict.signed import Acceptance


@dataclass(frozen=True)
class Outcome:
    """What was decided about the tracks.

    Args:
        start: timeline sample of the set's first one.
        edits: of each delivered track.
        punches: of the sheet, and takes of its accepted places, as far as they count.
        has_plan: whether the takes are a person's.
        accepted: what a person lets stand.
    """

    start: int
    edits: tuple[TrackEdit, ...]
    punches: tuple[Forced, ...] = ()
    has_plan: bool = False
    accepted: tuple[Acceptance, ...] = ()

    @property
    def extent(self) -> Range:
        """First sample of the set, and the first one after it, on the timeline."""
        return self.start, self.start + self.edits[0].spans[-1].end

    def taken(self, reel: str, tape_track: int, place: Range) -> list[str] | None:
        """Return the passes that the set has a place from, in order; None where it is in no track of the set."""
        here = place[0] - self.start, place[1] - self.start
        found: dict[str, None] = {}
        is_delivered = False
        for edit in self.edits:
            if edit.track.tape_tracks.get(reel) != tape_track:
                continue
            first = max(0, bisect_right(edit.spans, here[0], key=lambda span: span.start) - 1)
            for span in takewhile(lambda span: span.start < here[1], islice(edit.spans, first, None)):
                if here[0] < span.end:
                    is_delivered = True
                    if span.pass_name is not None:
                        found[span.pass_name] = None
        return list(found) if is_delivered else None

    def punch_at(self, name: str, place: Range, track: str) -> Forced | None:
        """Return what asks for a pass at a place of a delivered track: a punch, or the take of an accepted place."""
        return next(
            (
                p
                for p in self.punches
                if p.name == name and p.is_on(track) and p.start < place[1] and place[0] < p.end
            ),
            None,
        )


def find_uncured(
    reels: Sequence[ExaminedReel],
    edit: TrackEdit,
    start: int,
    holdings: Mapping[str, Holdings],
    weavings: Mapping[str, Weaving],
    accepted: Sequence[Acceptance] = (),
) -> list[Uncured]:
    """Return the places of a track that no pass has right, with what each pass has there.

    Positions of the edit count from the set's first sample, which is at ``start``. A place of which a part is accepted
    is told in parts.
    """
    found: list[Uncured] = []
    for reel in reels:
        tape_track = edit.track.tape_tracks.get(reel.name)
        if tape_track is None:
            continue
        for place, bad in _visits(bad_places(reel, edit, start, weavings)):
            for low, high in cut_at(accepted, reel.name, tape_track, place):
                held = holdings[reel.name].at(tape_track, (low, high), _taken(bad, (low, high)))
                # What sticks out of an acceptance by less than its margin is meant, too, whoever it is taken from.
                meant = [one for one in accepted if one.reel == reel.name and one.covers(low, high)]
                inner = [(max(low, one.start), min(high, one.end)) for one in meant] or [(low, high)]
                taken = _taken(bad, inner[0])
                closing = closing_of(accepted, reel.name, (tape_track,), (low, high), taken)
                kind = bad[0].kind
                found.append(Uncured(reel.name, edit.track, low - start, high - start, kind, held, closing))
    return sorted(found, key=lambda place: (place.start, place.end, place.kind))


@dataclass(frozen=True)
class Bad:
    """A stretch of the timeline that is flawed in what the set takes; from no pass where that is silence."""

    start: int
    end: int
    kind: str
    pass_name: str | None


def bad_places(reel: ExaminedReel, edit: TrackEdit, start: int, weavings: Mapping[str, Weaving]) -> list[Bad]:
    """Return what of a reel is flawed or missing in a track of the set; nothing where it was never recorded.

    All as for ``find_uncured``, for a reel that holds the track.
    """
    tape_track = edit.track.tape_tracks[reel.name]
    flaws = placed_flaws(flaw for flaw in reel.findings.flaws if flaw.track == tape_track)
    bad: list[Bad] = []
    for span, (low, high) in zip(edit.spans, _heard(edit), strict=True):
        here = (low + start, high + start)
        if span.pass_name is None:
            bad += [Bad(first, last, kind, None) for first, last, kind in _missing(reel, tape_track, here)]
        elif (span.pass_name, tape_track) in flaws:
            bad += [
                Bad(low, high, flaw.kind, flaw.pass_name)
                for flaw in flaws[span.pass_name, tape_track].within(here)
                for low, high in weavings[reel.name].unwoven(
                    span.pass_name, tape_track, (flaw.start, flaw.end)
                )
            ]
    return [
        replace(one, start=low, end=high)
        for one in bad
        for low, high in reel.recorded(tape_track, one.start, one.end)
    ]


def _visits(places: Sequence[Bad]) -> list[tuple[Range, list[Bad]]]:
    """Return the places as a person goes to them, and what is bad there: of one kind, and close together."""
    bridge = VISIT_SAMPLES if len(places) <= MOST_LISTED else COARSE_SAMPLES
    visits: list[tuple[Range, list[Bad]]] = []
    for place in sorted(places, key=lambda one: (one.kind, one.start, one.end)):
        (start, end), beside = visits[-1] if visits else ((0, 0), [])
        if beside and beside[0].kind == place.kind and place.start <= end + bridge:
            beside.append(place)
            visits[-1] = (start, max(end, place.end)), beside
        else:
            visits.append(((place.start, place.end), [place]))
    return visits


def _taken(places: Sequence[Bad], inside: Range) -> list[str]:
    """Return the passes that the set has some places from, as far as these lie inside, in order."""
    here = (one for one in places if one.start < inside[1] and inside[0] < one.end)
    return list(dict.fromkeys(one.pass_name for one in here if one.pass_name is not None))


def _heard(edit: TrackEdit) -> list[Range]:
    """Return for each span of a track from where to where it is heard, with the fades that reach out of it."""
    before = [join.fade // 2 for join in edit.joins]
    behind = [join.fade - join.fade // 2 for join in edit.joins]
    return [
        (span.start - early, span.end + late)
        for span, early, late in zip(edit.spans, [0, *before], [*behind, 0], strict=True)
    ]


def _missing(reel: ExaminedReel, tape_track: int, silence: Range) -> list[tuple[int, int, str]]:
    """Return where a track is silent between the reel's first and last sample: lost in a slip, or held by no pass."""
    held = merged(piece for one in reel.passes for t in range(one.reader.tracks) for piece in one.covered(t))
    outer = [(held[0][0], held[-1][1])] if held else []
    slipped = common([silence], merged(lost for one in reel.passes for lost in one.maps[tape_track].lost()))
    absent = common(without([silence], slipped), outer)
    return [(a, b, "slip") for a, b in slipped] + [(a, b, "missing") for a, b in absent]
