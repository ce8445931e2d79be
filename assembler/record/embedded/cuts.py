"""What is reported to a person about texts and markers that a track cannot hold as they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.record.embedded.history import HISTORY_LIMIT, coding_history, fitting_rows
from assembler.record.embedded.marking import LARGEST_CUE_SAMPLE, marked_places
from assembler.record.embedded.metadata import (
    DESCRIPTION_LIMIT,
    INFO_LIMIT,
    IXML_LIMIT,
    NAME_LIMIT,
    TrackMetadata,
    description,
    tape,
)
from assembler.verdict.notes import Note
from assembler.wave import fit_field, transliterate

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet


def embedding_notes(record: RecordedSet) -> list[Note]:
    """Return a note for each text that a track's chunks do not hold as the sheet has it.

    ``bext``, markers and INFO hold ASCII alone, and three fields of ``bext`` have a limit. The whole text stands
    in the record; title and names in iXML too.
    """
    session = record.session
    texts = [("title", session.title), ("originator", session.originator), ("reference", session.reference)]
    texts += [("description", session.description)]
    texts += [(f"reel {reel.name}", reel.name) for reel in record.reels]
    texts += [(f"track {track.number}", track.name) for track in record.tracks]
    texts += [(f"transfer notes of reel {r.name}", str(v)) for r in record.reels for v in r.prepared.values()]
    notes = [
        f"{what} {text!r} stands as {transliterate(text)!r} in bext, markers and INFO, which hold ASCII alone"
        for what, text in texts
        if transliterate(text) != text
    ]
    for what, text in (("originator", session.originator), ("reference", session.reference)):
        if fit_field(text, NAME_LIMIT) != fit_field(text, len(text) * 8):
            notes.append(f"{what} {text!r} is cut to {NAME_LIMIT} characters in bext")
    cut = [t.name for t in record.tracks if len(transliterate(description(record, t))) > DESCRIPTION_LIMIT]
    if cut:
        notes.append(f"description is cut to {DESCRIPTION_LIMIT} characters in bext: {', '.join(cut)}")
    notes += _texts_cut(record)
    notes += _markers_left_out(record)
    if record.length - 1 > LARGEST_CUE_SAMPLE:
        notes.append(f"markers end at sample {LARGEST_CUE_SAMPLE}, the last that a cue chunk can name")
    return [Note("other", text) for text in notes]


def _texts_cut(record: RecordedSet) -> list[str]:
    """Return a line for each text without a limit of its own that is too long for a track's header."""
    tracks: dict[str, list[str]] = {}
    for track in record.tracks:
        in_ixml = {"PROJECT": record.session.title, "TAPE": tape(track), "NAME": track.name}
        cut = [f"{key} of iXML to {IXML_LIMIT}" for key, text in in_ixml.items() if len(text) > IXML_LIMIT]
        metadata = TrackMetadata(record, track)
        kept = metadata.info()
        cut += [
            f"{key} of INFO to {INFO_LIMIT}"
            for key, text in metadata.info_texts().items()
            if len(fit_field(text, len(text) * 8)) > len(kept[key])
        ]
        rows = coding_history(record, track)
        if fitting_rows(rows) != rows:
            cut.append(f"coding history to {HISTORY_LIMIT}")
        for words in cut:
            tracks.setdefault(words, []).append(track.name)
    return [f"texts are cut, {words} characters: {', '.join(names)}" for words, names in tracks.items()]


def _markers_left_out(record: RecordedSet) -> list[str]:
    """Return a line that tells which tracks have fewer markers than places to mark, if any have."""
    fewer = []
    for track in record.tracks:
        places, kept = (
            sum(1 for _ in marked_places(record, track)),
            len(TrackMetadata(record, track).markers()),
        )
        if kept < places:
            fewer.append(f"{track.name} {kept} of {places}")
    if not fewer:
        return []
    where = "joins.csv has all joins, assembly.json all uncured places"
    return [f"a track's header has no room for all its markers: {', '.join(fewer)}; {where}"]
