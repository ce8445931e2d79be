"""What a pass shows where no other one bears witness, and what all that cover a place agree on: mutes, holds and more.

All positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.limits import LONE_MARGIN
from assembler.aligner.compare.runs import kind_of_run
from assembler.aligner.flaws.alone import is_drawn_line, shown_alone
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import INSTANT_SAMPLES, LEAST_TELLING, READ_SAMPLES, WINDOW_SAMPLES
from assembler.aligner.records.passes import covered_by
from assembler.aligner.records.ranges import common, merged, pieces_of, range_around, total, without
from assembler.aligner.sound.levels import is_peak
from assembler.aligner.sound.limits import LONGEST_PAUSE, MOST_ALIKE
from assembler.aligner.sound.rests import find_rests

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.compare.notes import TrackNotes
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.rests import SharedRests


def weigh_runs(
    passes: Sequence[PlacedPass],
    track: int,
    notes: TrackNotes,
    known: Mapping[str, list[Range]],
    doubted: Sequence[Range],
    rests: SharedRests,
    step: int,
    full_scale: int,
) -> tuple[list[FoundFlaw], list[FoundFlaw], list[FoundFlaw]]:
    """Return the mutes and holds that comparison has not shown: of lone stretches, of the tape itself, and rests."""
    alone: list[FoundFlaw] = []
    agreeing: list[FoundFlaw] = []
    played: list[FoundFlaw] = []
    runs_of = {index: runs.kept() for index, runs in notes.runs.items()}
    for index, runs in runs_of.items():
        for start, end in runs:
            kind = kind_of_run(passes[index], track, (start, end), step, full_scale)
            # Beside another flaw of the same pass silence looks cut off by nature.
            if not kind or (kind == "mute" and common(_beside((start, end)), known[passes[index].name])):
                continue
            # A pass that differs everywhere is no witness: it holds other numbers, right or wrong.
            others = [
                i
                for i, p in enumerate(passes)
                if i != index and common(p.covered(track), [(start, end)]) and not notes.are_unlike(i, index)
            ]
            covered = covered_by((passes[i] for i in others), track)
            wrong = merged(piece for i in others for piece in known[passes[i].name])
            # What has been judged already is left out; so is a level that two captures agree on, or against
            # which another one has been found wrong: it is the sound itself.
            for low, high in without([(start, end)], merged([*known[passes[index].name], *wrong])):
                shared = total(common([(low, high)], covered)) > 0
                around = [(passes[i], range_around(runs_of.get(i, []), (low, high))) for i in others]
                held = [(one, run) for one, run in around if run and not without([run], one.covered(track))]
                # One that is known to be muted before or behind is no witness: its own mute goes on.
                muted = [one for one, run in held if without(common([run], known[one.name]), doubted)]
                witnesses = [(one, run) for one, run in held if one not in muted]
                # What looks cut off may be a rest beside a flaw: another pass shows sound dying away there.
                if any(not kind_of_run(one, track, run, step, full_scale) for one, run in witnesses):
                    continue
                if shared and _is_natural(passes[index], kind, (start, end), held, rests):
                    played.append(_cut_off(passes[index], track, kind, (low, high)))
                    continue
                flaws = [_cut_off(one, track, kind, (low, high)) for one in (passes[index], *muted)]
                alone += [flaw for flaw in flaws if flaw not in alone]
                if shared:
                    agreeing += [flaw for flaw in flaws if flaw not in agreeing]
    peaks = [flaw for flaw in alone if flaw.kind == "hold" and _is_clipped(passes, flaw)]
    if len(peaks) > MOST_ALIKE:
        alone = [flaw for flaw in alone if flaw not in peaks]
    if len(agreeing) > MOST_ALIKE * len(passes):
        # Gated sound stops and sets in like that by nature, in every pass.
        return [flaw for flaw in alone if flaw not in agreeing], [], _rests_of_all([*agreeing, *played])
    return alone, agreeing, _rests_of_all(played)


def _rests_of_all(alike: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return the silences that passes have alike and that pass for played, each of one of the passes."""
    return list({(flaw.start, flaw.end): flaw for flaw in alike if flaw.kind == "mute"}.values())


def _cut_off(one: PlacedPass, track: int, kind: str, place: Range) -> FoundFlaw:
    return FoundFlaw(one.name, track, kind, *place, because=Because(Rule.CUT_OFF))


def weigh_lines(passes: Sequence[PlacedPass], track: int, notes: TrackNotes, step: int) -> list[FoundFlaw]:
    """Return the straight lines that all passes covering a place have: a tape that could not be read there.

    What passes differ in has been judged already, and what one pass alone covers is looked at by itself.
    """
    found: list[FoundFlaw] = []
    for index, places in notes.lines.items():
        for start, end in places.kept():
            wide = start - WINDOW_SAMPLES, end + WINDOW_SAMPLES
            holders = [one for one in passes if common(one.covered(track), [wide])]
            if len(holders) < 2 or holders[0] is not passes[index]:
                continue
            samples = [one.samples(track, *wide) for one in holders]
            inner = slice(WINDOW_SAMPLES - 1, WINDOW_SAMPLES + end - start + 1)
            are_alike = all(np.array_equal(samples[0][inner], other[inner]) for other in samples[1:])
            line = WINDOW_SAMPLES, WINDOW_SAMPLES + end - start
            if are_alike and is_drawn_line(samples[0], line, step) and not is_peak(samples[0], *line):
                because = Because(Rule.DRAWN_LINE)
                found += [
                    FoundFlaw(one.name, track, "straight", start, end, because=because) for one in holders
                ]
    return found


def _is_clipped(passes: Sequence[PlacedPass], flaw: FoundFlaw) -> bool:
    """Return whether a held level may be a peak that was clipped, at whatever level, before it was captured."""
    (one,) = (one for one in passes if one.name == flaw.pass_name)
    samples = one.samples(flaw.track, flaw.start - WINDOW_SAMPLES, flaw.end + WINDOW_SAMPLES)
    return is_peak(samples, WINDOW_SAMPLES, samples.size - WINDOW_SAMPLES)


def _is_natural(
    one: PlacedPass, kind: str, run: Range, held: Sequence[tuple[PlacedPass, Range]], rests: SharedRests
) -> bool:
    """Return whether what several passes hold is the sound itself: a level, or a rest that they have alike."""
    are_alike = bool(held) and all(other == run for _, other in held)
    if kind == "hold":
        return not are_alike
    return are_alike and rests.holds(one, run)


def _beside(place: Range) -> list[Range]:
    return [(place[0] - INSTANT_SAMPLES, place[0]), (place[1], place[1] + INSTANT_SAMPLES)]


def flaws_alone(
    passes: Sequence[PlacedPass], track: int, step: int, flawed: Mapping[str, Sequence[Range]]
) -> tuple[list[FoundFlaw], list[FoundFlaw], list[FoundFlaw]]:
    """Return what each pass shows by itself where no other one covers it, or only such as are flawed there.

    First flaws that the track alone proves; then what may be how the instrument is played, but not on three tracks at
    once; then what is by nature, as it comes again and again.

    A synthesizer whose oscillators run on under its rests sets in again in phase by nature, and a gate lets noise
    through from one sample to another. They do so often, or for long. ``flawed`` is what comparison has shown of each
    pass, by name.
    """
    told: list[FoundFlaw] = []
    open_places: list[FoundFlaw] = []
    natural: list[FoundFlaw] = []
    for one in passes:
        shown = _looked_at(passes, one, track, step, flawed)
        for build in {build for build, _ in shown}:
            flaws = [flaw for of, flaw in shown if of == build]
            if build != "flaw" and len(flaws) > MOST_ALIKE:
                natural += flaws
                continue
            for flaw in flaws:
                # Told only where other tracks have it at the same samples.
                is_long_pause = build == "pause" and flaw.end - flaw.start > LONGEST_PAUSE
                (open_places if build == "noise" or is_long_pause else told).append(flaw)
        # Of the silences that cut sound off all but these are mutes; beside noise thrown in they look so by nature.
        rests = find_rests(
            one, track, covered_by((other for other in passes if other is not one), track), step
        )
        known = merged((flaw.start, flaw.end) for _, flaw in shown)
        for places, kept in ((rests.natural, natural), (rests.doubtful, open_places)):
            kept.extend(
                _cut_off(one, track, "mute", place)
                for place in places
                if not common(merged([place, *_beside(place)]), known)
            )
    return told, open_places, natural


def _looked_at(
    passes: Sequence[PlacedPass],
    one: PlacedPass,
    track: int,
    step: int,
    flawed: Mapping[str, Sequence[Range]],
) -> list[tuple[str, FoundFlaw]]:
    found: list[tuple[str, FoundFlaw]] = []
    covered = merged(
        piece
        for other in passes
        if other is not one
        # What is long enough hides another pass's flaw.
        for piece in without(
            other.covered(track),
            [place for place in flawed.get(other.name, ()) if place[1] - place[0] > LEAST_TELLING],
        )
    )
    for held in one.covered(track):
        for low, high in pieces_of(without([held], covered), READ_SAMPLES):
            # Read a little further, but never over the end of a stretch: a slip is a splice too.
            first, last = max(held[0], low - LONE_MARGIN), min(held[1], high + LONE_MARGIN)
            found += [
                (
                    build,
                    FoundFlaw(
                        one.name,
                        track,
                        kind,
                        max(low, start + first),
                        min(high, end + first),
                        because=Because(rule),
                    ),
                )
                for build, rule, kind, (start, end) in shown_alone(one.samples(track, first, last), step)
                if start + first < high and end + first > low
            ]
    return found
