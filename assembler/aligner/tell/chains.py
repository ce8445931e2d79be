"""What is reported of passes that run along with each other and hold other numbers all along: what their chains did."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.records.limits import CLEARLY, LEAST_STEPS
from assembler.aligner.records.ranges import common, merged
from assembler.aligner.records.reel import stretch_label, track_names
from assembler.aligner.sound.chain.change import find_change
from assembler.aligner.sound.chain.measures import pieces_of_both
from assembler.aligner.sound.scale import scale_of
from assembler.aligner.tell.limits import MOST_NAMED
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.findings import ReelFindings
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.sound.chain.change import Change
    from assembler.aligner.sound.scale import Scale
    from assembler.aligner.tell.outcome import Outcome
    from assembler.sheet import Sheet

_JUDGED = "what it differs in by more than that noise is judged"
CHAIN_KINDS = frozenset({"not_transparent", "level_differs"})


def chain_notes(reel: ExaminedReel, sheet: Sheet) -> list[Note]:
    """Return a note for each pass that holds other numbers all along than one that stands above it."""
    return [
        _chain_note(reel, upper, lower, tracks, sheet)
        for upper, lower, tracks in _unlike_tracks(reel.passes, reel.findings, reel.named_tracks)
    ]


def cure_notes(reel: ExaminedReel, sheet: Sheet, outcome: Outcome) -> list[Note]:
    """Return a note for each pass and track that the set has, in a better pass's place, as a chain has changed it."""
    return [
        _cure_note(reel, (upper, lower), track, cured, sheet)
        for upper, lower, tracks in _unlike_tracks(reel.passes, reel.findings, reel.named_tracks)
        for track in tracks
        if (lower.name, track) in reel.findings.witnesses and not outcome.has_plan
        for cured in [_cured(reel, upper, lower.name, track, outcome)]
        if cured
    ]


def _cured(reel: ExaminedReel, upper: PlacedPass, lower: str, track: int, outcome: Outcome) -> list[Range]:
    taken = [
        (span.start + outcome.start, span.end + outcome.start)
        for edit in outcome.edits
        if edit.track.tape_tracks.get(reel.reel.name) == track
        for span in edit.spans
        if span.pass_name == lower
    ]
    return [
        place
        for place in common(merged(taken), merged(upper.covered(track)))
        if outcome.punch_at(lower, place, reel.reel.tracks[track]) is None
    ]


def _cure_note(
    reel: ExaminedReel, pair: tuple[PlacedPass, PlacedPass], track: int, cured: Sequence[Range], sheet: Sheet
) -> Note:
    upper, lower = pair
    scale, label = scale_of(sheet, reel.word), stretch_label(sheet)
    change = _change(upper, lower, track, scale.step)
    words = _words(change, upper.name, lower.name, scale)
    noise = f"{change.noise / scale.step:.1f} LSB rms" if change else "not measured"
    where = ", ".join(label(*place) for place in cured[:MOST_NAMED])
    more = f" and {len(cured) - MOST_NAMED} more" if len(cured) > MOST_NAMED else ""
    text = (
        f"{reel.reel.tracks[track]}: {lower.name} stands in for {upper.name}, which is flawed there, at {where}{more}: "
        f"its own samples, nothing undone ({words}; what that leaves unexplained is {noise}), joined by fades that are "
        f"computed"
    )
    return Note("other", text, lower.name, (track,))


def other_sound(
    passes: Sequence[PlacedPass], findings: ReelFindings, wanted: Sequence[int], step: int
) -> dict[tuple[str, str], list[int]]:
    """Return the tracks on which a pass holds other sound all along than one that stands above it.

    What is no louder than the noise that the chain adds on other tracks may be just that noise.

    Returns:
        For each pair of the better pass and the other one the tracks, from 0.
    """
    strange: dict[tuple[str, str], list[int]] = {}
    for upper, lower, tracks in _unlike_tracks(passes, findings, wanted):
        changes = {track: _change(upper, lower, track, step) for track in tracks}
        noise = max((one.noise for one in changes.values() if one and one.is_alike), default=0.0)
        floor = max(LEAST_STEPS * step, CLEARLY * noise)
        found = [track for track, one in changes.items() if one and not one.is_alike and one.noise > floor]
        if found:
            strange[upper.name, lower.name] = found
    return strange


def _unlike_tracks(
    passes: Sequence[PlacedPass], findings: ReelFindings, wanted: Sequence[int]
) -> list[tuple[PlacedPass, PlacedPass, list[int]]]:
    """Return for each pass, and one that stands above it, the tracks on which they hold other numbers all along."""
    tracks: dict[tuple[str, str], list[int]] = {}
    for track in wanted:
        holding = [one.name for one in passes if one.covered(track)]
        for lower in findings.by_standing(holding, track):
            for upper in findings.better_ones(lower, holding, track)[:1]:
                tracks.setdefault((upper, lower), []).append(track)
    by_name = {one.name: one for one in passes}
    return [(by_name[upper], by_name[lower], found) for (upper, lower), found in tracks.items()]


def _chain_note(
    reel: ExaminedReel, upper: PlacedPass, lower: PlacedPass, tracks: Sequence[int], sheet: Sheet
) -> Note:
    scale = scale_of(sheet, reel.word)
    changes = {track: _change(upper, lower, track, scale.step) for track in tracks}
    by_words: dict[str, list[int]] = {}
    for track, change in changes.items():
        words = _words(change, upper.name, lower.name, scale)
        by_words.setdefault(words, []).append(track)
    told = "; ".join(f"{_names(reel, found)}: {words}" for words, found in by_words.items())
    told = told[:1].upper() + told[1:]
    findings = reel.findings
    pair = (
        (upper.name, lower.name) if (upper.name, lower.name) in findings.unlike else (lower.name, upper.name)
    )
    peak, share = findings.largest_difference[pair], findings.unlike[pair]
    borne_out = any(
        one not in (upper, lower) and one.covered(t) and not findings.are_unlike(one.name, upper.name, t)
        for one in reel.passes
        for t in tracks
    )
    whose = f"{lower.name}'s capture chain" if borne_out else "one of the two capture chains"
    text = (
        f"{lower.name} runs along with {upper.name} and is nowhere identical. {told}. {share:.0%} of the samples "
        f"differ, by at most {scale.steps(peak)} LSB ({scale.dbfs(peak)}): {whose} is not bit-transparent, so these "
        f"differences are not taken for flaws"
    )
    if not all((lower.name, track) in findings.witnesses for track in tracks):
        text += f", and {lower.name} is used only where nothing else is"
    elif sheet.repair.unlike == "cure":
        text += f"; {_JUDGED}, and {lower.name} stands in where nothing else is right"
    else:
        text += f"; {_JUDGED}; {lower.name} is used only where nothing else is, as the sheet asks"
    is_level = all(change is not None and change.is_level_only for change in changes.values())
    return Note("level_differs" if is_level else "not_transparent", text, lower.name, tuple(tracks))


def _words(change: Change | None, upper: str, lower: str, scale: Scale) -> str:
    if change is None:
        return "silent in one of them"
    return change.words(upper, lower, scale.bits) if change.is_alike else "other sound"


def _change(upper: PlacedPass, lower: PlacedPass, track: int, step: int) -> Change | None:
    """Return what makes one pass of the other; of passes that share little, at the longest place that they share."""
    pieces = pieces_of_both(upper, lower, track)
    if not pieces:
        both = common(merged(upper.covered(track)), merged(lower.covered(track)))
        low, high = max(both, key=lambda place: place[1] - place[0])
        pieces = [(upper.samples(track, low, high), lower.samples(track, low, high))]
    return find_change(pieces, step)


def _names(reel: ExaminedReel, tracks: Sequence[int]) -> str:
    if len(tracks) == len(reel.named_tracks) > 1:
        return "all tracks"
    return track_names(reel.reel, tracks)
