"""What is done about a pass whose tracks are wired wrongly: put right if the sheet says so, else left out.

A track that is exchanged or inverted is undone only with ``fix = true`` on the pass, and listed. Without it, and for a
track whose numbers are none of the reference's, the track is not used: a stranger is never mixed in silently. A track
that runs along in its place, with other numbers, is no matter of wiring and stays to be compared.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from assembler.aligner.place.limits import SEARCH_SECONDS
from assembler.aligner.place.meeting import expected_meeting
from assembler.aligner.place.wiring.examine import examine_wiring
from assembler.aligner.place.wiring.strangers import recognise
from assembler.aligner.records.reel import left_out_kind, track_names
from assembler.known import NOTHING
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.place.wiring.strangers import Stranger
    from assembler.aligner.place.wiring.tracks import Wiring
    from assembler.aligner.sound.scale import Scale
    from assembler.importer import ImportedPass
    from assembler.known import Known
    from assembler.sheet import Reel


@dataclass(frozen=True)
class WiredReel:
    """The passes of a reel, put right where that was asked for.

    Args:
        passes: in the order of trust.
        left_out: for some passes, tape tracks that are not used.
        refused: passes of which no track is used.
        notes: what was put right and what was left out.
    """

    passes: tuple[ImportedPass, ...]
    left_out: dict[str, frozenset[int]]
    refused: frozenset[str]
    notes: tuple[Note, ...]


def wire_reel(
    passes: Sequence[ImportedPass], reel: Reel, fixed: Iterable[str], scale: Scale, known: Known = NOTHING
) -> WiredReel:
    """Return the passes of a reel with their tracks in order, as far as the sheet allows.

    A pass is held against the first one that it overlaps. Wiring may be put right of those that are ``fixed``, by name.
    """
    allowed = set(fixed)
    wired: list[ImportedPass] = []
    left_out: dict[str, frozenset[int]] = {}
    refused: set[str] = set()
    notes: list[Note] = []
    for one in passes:
        # A pass that is not used is nothing to hold another one against.
        before = [other for other in wired if other.name not in refused]
        asked = scale, *((other.name, other.audio, other.position) for other in (one, *before))
        found = known.recall("wiring", asked, partial(_wiring_of, one, before, scale))
        if found is None or found.wiring.is_straight:
            wired.append(one)
            continue
        wiring = found.wiring
        strange = [stranger for stranger in found.strangers if not stranger.is_in_place]
        order = None if strange else wiring.order()
        if order is not None and one.name in allowed:
            sources, polarity = order
            channels = [one.audio.channels[source] for source in sources]
            wired.append(replace(one, audio=one.audio.rewired(channels, polarity)))
            notes += _fixed_notes(one, wiring, reel)
            continue
        wired.append(one)
        wrong = {*wiring.exchanged, *wiring.inverted, *(stranger.track for stranger in strange)}
        left_out[one.name] = frozenset(wrong)
        if wrong | wiring.silent | wiring.unheard >= set(range(one.audio.tracks)):
            refused.add(one.name)
        notes += _left_out_notes(one, wiring, reel, is_fixed=one.name in allowed)
        notes += _stranger_notes(one, found.reference, strange, reel, scale)
    return WiredReel(tuple(wired), left_out, frozenset(refused), tuple(notes))


@dataclass(frozen=True)
class _Found:
    reference: str
    wiring: Wiring
    strangers: tuple[Stranger, ...]


def _wiring_of(one: ImportedPass, before: Sequence[ImportedPass], scale: Scale) -> _Found | None:
    for reference in before:
        is_placed = reference.position.source != "audio"
        where = expected_meeting(reference, one, scale.sample_rate) if is_placed else None
        if where is not None:
            wiring = examine_wiring(reference.audio, one.audio, *where)
            if wiring is not None:
                reach = round(SEARCH_SECONDS[1] * scale.sample_rate)
                strangers = [
                    recognise(reference.audio, one.audio, wiring.places, track, step=scale.step, reach=reach)
                    for track in wiring.strange
                ]
                return _Found(reference.name, wiring, tuple(strangers))
    return None


def _fixed_notes(one: ImportedPass, wiring: Wiring, reel: Reel) -> list[Note]:
    notes = []
    if wiring.exchanged:
        text = f"{one.name}: tracks were exchanged and are put right: {_exchanges(wiring, reel)}"
        notes.append(Note("tracks_exchanged", text, one.name, wiring.exchanged))
    if wiring.inverted:
        text = f"{one.name}: polarity was inverted and is put right: {track_names(reel, wiring.inverted)}"
        notes.append(Note("polarity_inverted", text, one.name, wiring.inverted))
    return notes


def _left_out_notes(one: ImportedPass, wiring: Wiring, reel: Reel, *, is_fixed: bool) -> list[Note]:
    notes = []
    way_out = "fix = true puts them right"
    if is_fixed:
        way_out = "fix = true puts them right only if no track is strange and no two hold the same one"
    if wiring.exchanged:
        found = _exchanges(wiring, reel)
        text = f"{one.name}: tracks are exchanged ({found}) and are not used; {way_out}"
        notes.append(Note(left_out_kind(wiring.exchanged, reel), text, one.name, wiring.exchanged))
    inverted = tuple(track for track in wiring.inverted if track not in wiring.exchanged)
    if inverted:
        text = f"{one.name}: inverted polarity, not used: {track_names(reel, inverted)}; {way_out}"
        notes.append(Note(left_out_kind(inverted, reel), text, one.name, inverted))
    return notes


def _stranger_notes(
    one: ImportedPass, reference: str, strangers: Sequence[Stranger], reel: Reel, scale: Scale
) -> list[Note]:
    """Tell of each track that is not used what it looks like; strangers altogether are reported in one line."""
    notes = []
    unlike = [s.track for s in strangers if s.reference_track is None and reel.tracks[s.track]]
    if unlike:
        text = f"{one.name}: sound that is none of the reel's other passes', not used: {track_names(reel, unlike)}"
        notes.append(Note(left_out_kind(unlike, reel), text, one.name, tuple(unlike)))
    for stranger in strangers:
        if stranger.change is None or stranger.reference_track is None or not reel.tracks[stranger.track]:
            continue
        words = []
        if stranger.reference_track != stranger.track:
            words.append(f"it holds {track_names(reel, [stranger.reference_track])}")
        if stranger.delay:
            way = "later" if stranger.delay > 0 else "earlier"
            words.append(f"it lies {abs(stranger.delay)} samples {way} than the pass's other tracks")
        if not stranger.change.is_identical:
            words.append(stranger.change.words(reference, one.name, scale.bits))
        track = track_names(reel, [stranger.track])
        text = f"{one.name}, {track}, against {reference}: {' and '.join(words)}; not used"
        notes.append(Note(left_out_kind([stranger.track], reel), text, one.name, (stranger.track,)))
    return notes


def _exchanges(wiring: Wiring, reel: Reel) -> str:
    found = [
        (track, match)
        for track, match in enumerate(wiring.tracks)
        if match and match.reference_track != track
    ]
    return ", ".join(
        f"{track_names(reel, [track])} holds {track_names(reel, [match.reference_track])}"
        for track, match in found
    )
