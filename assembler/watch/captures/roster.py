"""Which pass of which reel each capture is: as the sheet says, or as names and tracks let guess.

A sheet may be older than the capture that is being made, and a folder may have no sheet at all.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.drafting import draft_sheet, sheet_by_names
from assembler.drafting.names import split_pass_name
from assembler.errors import AssemblerError, SheetError
from assembler.known import NOTHING
from assembler.sheet import Pass, Reel, TimecodeSource, find_audio, find_timecode, load_sheet, parse_sheet

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from pathlib import Path

    from assembler.known import Known
    from assembler.sheet import Sheet
    from assembler.watch.captures.scanning import Found


@dataclass(frozen=True)
class Roster:
    """Passes and their captures.

    Args:
        sheet: with a pass for each of the captures, and none beside them.
        captures: by the name of their pass.
    """

    sheet: Sheet
    captures: Mapping[str, Found]

    def reel_of(self, name: str) -> Reel:
        """Return the reel of a pass."""
        one = self.pass_of(name)
        return next(reel for reel in self.sheet.reels if reel.name == one.reel)

    def pass_of(self, name: str) -> Pass:
        """Return a pass by its name."""
        return next(one for one in self.sheet.passes if one.name == name)

    def only(self, names: Collection[str]) -> Sheet | None:
        """Return the sheet with some of the passes, those of them that have a place; None where none has."""
        return _placed(self.sheet, [one for one in self.sheet.passes if one.name in names])


def read_sheet(source: Path, *, allow_outside: bool) -> Sheet | None:
    """Return the sheet of a session, or for a folder what names tell; None for a folder that holds nothing yet.

    Raises:
        SheetError: the sheet cannot be used.
        CaptureError: the folder cannot be read.
    """
    if not source.is_dir():
        return load_sheet(source, allow_outside=allow_outside)
    try:
        text = sheet_by_names(source)
        return parse_sheet(text.encode(), path=None, folder=source, allow_outside=allow_outside)
    except SheetError:
        return None


def drafted(
    folder: Path,
    names: Collection[str],
    advance: Callable[[float], None],
    *,
    allow_outside: bool,
    known: Known = NOTHING,
) -> Sheet | None:
    """Return a draft for some passes of a folder, by their sound, too; None where none of them has a place.

    Args:
        folder: of captures.
        names: of the passes.
        advance: called with the share of the work done.
        allow_outside: paths may lead out of the folder.
        known: what was found out before.

    Raises:
        SheetError: there is nothing in it.
        CaptureError: the folder cannot be read.
    """
    text = draft_sheet(folder, lambda _, share: advance(share), known, names)
    sheet = parse_sheet(text.encode(), path=None, folder=folder, allow_outside=allow_outside)
    return _placed(sheet, sheet.passes)


def make_roster(sheet: Sheet, captures: Sequence[Found]) -> Roster:
    """Return the passes of the captures that lie there.

    Args:
        sheet: of the session, or drafted.
        captures: found in its folder.
    """
    left = {path: one for one in captures for path in one.paths}
    passes: list[Pass] = []
    found: dict[str, Found] = {}
    for one in sheet.passes:
        try:
            paths = find_audio(sheet, one)
        except AssemblerError:
            continue  # not recorded yet, or gone
        held = [left[path] for path in paths if path in left]
        if held:
            keys = dict(zip(held[0].paths, held[0].keys, strict=True))
            if all(path in keys for path in paths) and not _is_among(held[0], found):
                found[one.name] = replace(held[0], paths=paths, keys=tuple(keys[path] for path in paths))
                passes.append(one)
            left = {path: other for path, other in left.items() if other not in held}
    reels = {reel.name: reel for reel in sheet.reels}
    for capture in dict.fromkeys(left.values()):
        if _is_among(capture, found):
            continue
        name = _unused(capture.name, {one.name for one in sheet.passes} | set(found))
        reel = _reel_for(capture, capture.tracks, reels)
        reels.setdefault(reel.name, reel)
        audio = tuple(os.path.relpath(path, sheet.folder) for path in capture.paths)
        passes.append(Pass(name=name, reel=reel.name, audio=audio))
        found[name] = capture
    return Roster(replace(sheet, passes=tuple(passes), reels=tuple(reels.values())), found)


def _is_among(capture: Found, found: Mapping[str, Found]) -> bool:
    """Return whether a capture is one of those found by another name: a link to it is no pass of its own."""
    return set(capture.keys) <= {key for one in found.values() for key in one.keys}


def _reel_for(capture: Found, tracks: int, reels: Mapping[str, Reel]) -> Reel:
    """Return the reel that a capture's name speaks of, or the only one with as many tracks, or else a new one."""
    name = split_pass_name(capture.name)[0]
    fitting = [reel for reel in reels.values() if len(reel.tracks) == tracks]
    for reel in fitting:
        if reel.name == name:
            return reel
    if len(fitting) == 1 and len(reels) == 1:
        return fitting[0]
    while name in reels:
        name += " (new)"
    return Reel(name=name, tracks=tuple(f"Track {number}" for number in range(1, tracks + 1)))


def _unused(name: str, used: Collection[str]) -> str:
    number, chosen = 2, name
    while chosen in used:
        chosen, number = f"{name} {number}", number + 1
    return chosen


def _placed(sheet: Sheet, passes: Sequence[Pass]) -> Sheet | None:
    """Return a sheet with those of some passes that have a place; None where none has.

    They have a timecode, or another pass of their reel places them by its sound.
    """
    has_own: dict[str, bool] = {}
    for one in passes:
        try:
            has_own[one.name] = one.timecode.kind not in ("default", "audio") or (
                one.timecode.kind == "default" and find_timecode(sheet, one) is not None
            )
        except AssemblerError:
            has_own[one.name] = False
    anchored = {one.reel for one in passes if has_own[one.name]}
    by_sound = TimecodeSource(kind="audio")
    placed = [
        one if has_own[one.name] else one.model_copy(update={"timecode": by_sound})
        for one in passes
        if one.reel in anchored
    ]
    kept = {one.name for one in placed}
    if not placed:
        return None
    return replace(
        sheet,
        passes=tuple(placed),
        reels=tuple(reel for reel in sheet.reels if reel.name in anchored),
        punches=tuple(punch for punch in sheet.punches if punch.pass_name in kept),
    )
