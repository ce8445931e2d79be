"""What is done about a pass whose tracks are wired wrongly: put right if the sheet says so, else left out.

A track that is exchanged or inverted is undone only with ``fix = true`` on the pass, and told. Without it, and for a
track whose sound is none of the reference's, the track is not used: a stranger is never mixed in silently.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.aligner.belonging import examine_wiring
from assembler.aligner.reels import SEARCH_SECONDS, expected_overlap
from assembler.importer import Note, search_doubt

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.belonging import Wiring
    from assembler.importer import ImportedPass
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
    passes: Sequence[ImportedPass], reel: Reel, fixed: Iterable[str], sample_rate: int
) -> WiredReel:
    """Return the passes of a reel with their tracks in order, as far as the sheet allows.

    Args:
        passes: in the order of trust; the first one that overlaps a pass is what it is held against.
        reel: names its tracks; unused ones are not told about.
        fixed: names of passes whose wiring may be put right.
        sample_rate: of the session.
    """
    allowed = set(fixed)
    wired: list[ImportedPass] = []
    left_out: dict[str, frozenset[int]] = {}
    refused: set[str] = set()
    notes: list[Note] = []
    for one in passes:
        wiring = _wiring_of(one, wired, sample_rate)
        if wiring is None or wiring.is_straight:
            wired.append(one)
            continue
        order = wiring.order() if not wiring.strange else None
        if order is not None and one.name in allowed:
            sources, polarity = order
            channels = [one.audio.channels[source] for source in sources]
            wired.append(replace(one, audio=one.audio.rewired(channels, polarity)))
            notes += _fixed_notes(one, wiring, reel)
            continue
        wired.append(one)
        wrong = frozenset(wiring.exchanged) | frozenset(wiring.inverted) | frozenset(wiring.strange)
        left_out[one.name] = wrong
        if len(wrong | wiring.silent) == one.audio.tracks:
            refused.add(one.name)
        notes += _left_out_notes(one, wiring, reel)
    return WiredReel(tuple(wired), left_out, frozenset(refused), tuple(notes))


def _wiring_of(one: ImportedPass, before: Sequence[ImportedPass], sample_rate: int) -> Wiring | None:
    if one.position.source == "audio":
        return None
    for reference in before:
        overlap = None if reference.position.source == "audio" else expected_overlap(reference, one)
        if overlap is not None:
            doubt = search_doubt(reference.position, one.position)
            radii = [round(seconds * sample_rate + doubt) for seconds in SEARCH_SECONDS[:2]]
            shift = one.position.shift_at(0) - reference.position.shift_at(0)
            wiring = examine_wiring(reference.audio, one.audio, overlap, shift, radii)
            if wiring is not None:
                return wiring
    return None


def _fixed_notes(one: ImportedPass, wiring: Wiring, reel: Reel) -> list[Note]:
    notes = []
    if wiring.exchanged:
        text = f"{one.name}: tracks were exchanged and are put right: {_exchanges(wiring, reel)}"
        notes.append(Note("tracks_exchanged", text, one.name, wiring.exchanged))
    if wiring.inverted:
        text = f"{one.name}: polarity was inverted and is put right: {_names(wiring.inverted, reel)}"
        notes.append(Note("polarity_inverted", text, one.name, wiring.inverted))
    return notes


def _left_out_notes(one: ImportedPass, wiring: Wiring, reel: Reel) -> list[Note]:
    notes = []
    if wiring.exchanged:
        found = _exchanges(wiring, reel)
        text = f"{one.name}: tracks are exchanged ({found}) and are not used; fix = true puts them right"
        notes.append(Note("retake_refused", text, one.name, wiring.exchanged))
    inverted = tuple(track for track in wiring.inverted if track not in wiring.exchanged)
    if inverted:
        text = f"{one.name}: inverted polarity, not used: {_names(inverted, reel)}; fix = true puts it right"
        notes.append(Note("retake_refused", text, one.name, inverted))
    strange = tuple(track for track in wiring.strange if reel.tracks[track])
    if strange:
        text = (
            f"{one.name}: sound that is none of the reel's other passes', not used: {_names(strange, reel)}"
        )
        notes.append(Note("retake_refused", text, one.name, strange))
    return notes


def _exchanges(wiring: Wiring, reel: Reel) -> str:
    found = [
        (track, match)
        for track, match in enumerate(wiring.tracks)
        if match and match.reference_track != track
    ]
    return ", ".join(
        f"{_names([track], reel)} holds {_names([match.reference_track], reel)}" for track, match in found
    )


def _names(tracks: Iterable[int], reel: Reel) -> str:
    return ", ".join(reel.tracks[track] or f"track {track + 1}" for track in tracks)
