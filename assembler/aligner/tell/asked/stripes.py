"""Tape tracks that carry the timecode: they are no tracks of the set unless the sheet asks for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from assembler.sheet import Reel, Sheet


def withheld_tracks(sheet: Sheet, reel: Reel) -> list[int]:
    """Return the tape tracks of a reel, from 0, that are named but not delivered since they carry timecode."""
    if sheet.deliver.timecode_tracks:
        return []
    stripes = set(_stripes(sheet, reel).values())
    return [track for track, name in enumerate(reel.tracks) if name and track in stripes]


def withheld_notes(sheet: Sheet) -> list[Note]:
    """Return a note for each reel that has such tracks; a person is asked where its passes name different ones."""
    notes = []
    for reel in sheet.reels:
        tracks = withheld_tracks(sheet, reel)
        if not tracks:
            continue
        named = ", ".join(f"{reel.tracks[track]} (track {track + 1})" for track in tracks)
        stripes = _stripes(sheet, reel)
        if len(set(stripes.values())) > 1:
            told = ", ".join(f"{name} {track + 1}" for name, track in stripes.items())
            text = (
                f"reel {reel.name}: its passes name different tracks as their timecode ({told}), so {named} are not "
                "delivered. Correct ltc_track, or set timecode_tracks = true in [deliver]"
            )
            notes.append(Note("undecided", text))
            continue
        text = (
            f"reel {reel.name}: {named} carries the timecode and is not delivered; timecode_tracks = true in [deliver] "
            "delivers it"
        )
        notes.append(Note("other", text))
    return notes


def _stripes(sheet: Sheet, reel: Reel) -> dict[str, int]:
    """Return the tape track, from 0, of each pass of a reel that is placed by one."""
    return {
        one.name: int(one.timecode.value or 0) - 1
        for one in sheet.passes
        if one.reel == reel.name and one.timecode.kind == "ltc_track"
    }
