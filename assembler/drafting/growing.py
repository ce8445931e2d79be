"""New captures in a sheet that stands: what a person wrote stays, byte for byte; what is new comes after it."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.drafting.draft import hear_all, moved_into, named_apart
from assembler.drafting.found import Named
from assembler.drafting.hearing import Captures, measured_words
from assembler.drafting.looking import look_through
from assembler.drafting.names import split_pass_name
from assembler.drafting.tapes import as_found, is_found, may_be_one, tapes_of, without_mixes
from assembler.drafting.writing import draft_tables
from assembler.errors import CaptureError, SheetError
from assembler.known import NOTHING
from assembler.sheet import find_audio, load_sheet, parse_sheet

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from assembler.drafting.found import DraftPass
    from assembler.drafting.hearing import Heard
    from assembler.inputs import AnyPath
    from assembler.known import Known


@dataclass(frozen=True)
class Grown:
    """A sheet with the captures that it did not name before.

    Args:
        before: the sheet as it stood.
        text: the sheet now; the same where nothing is new.
        told: what was done, a line each.
    """

    before: bytes
    text: bytes
    told: tuple[str, ...]


def grow_sheet(
    sheet_path: AnyPath,
    folder: AnyPath,
    progress: Callable[[str, float], None] = lambda *_: None,
    known: Known = NOTHING,
) -> Grown:
    """Return a sheet with the captures of a folder that it does not name yet.

    A capture goes to the reel in one of whose passes it is found by its sound, else to the one that its name speaks
    of, else to a reel of its own. It comes last: what stands first is what a person trusts most.

    Args:
        sheet_path: the sheet.
        folder: of captures; in the sheet's own.
        progress: called with what is being done and the share of it that is done.
        known: what was found out before; see ``open_known``.

    Raises:
        SheetError: the sheet cannot be used, or not be added to.
        CaptureError: the folder cannot be read, or lies outside the sheet's.
    """
    sheet = load_sheet(sheet_path)
    root, place = Path(os.path.realpath(sheet.folder)), Path(os.path.realpath(folder))
    captures = Captures(root, known)
    if not place.is_relative_to(root):
        raise CaptureError("lies outside the sheet's folder; allowed: a folder in it", path=Path(folder))
    draft = look_through(place)
    within = place.relative_to(root)
    reel_of = {_real(path): one.reel for one in sheet.passes for path in find_audio(sheet, one)}

    def is_named(one: DraftPass) -> bool:
        return any(_real(root / path) in reel_of for path in one.files)

    all_found = [moved_into(within, one) for one in draft.passes]
    tapes, mixes = without_mixes(all_found)
    new = [one for one in tapes if not is_named(one)]
    heard, unheard = hear_all(captures, named_apart(new), progress)
    told = [*draft.notes, *mixes, *unheard, *(line for one in heard for line in measured_words(one))]
    if not heard:
        return Grown(sheet.text, sheet.text, (*told, "no capture there that the sheet does not name"))
    old = [one for one in all_found if _real(root / one.files[0]) in reel_of]
    old_heard, _ = hear_all(captures, old, progress)
    named = [(one, reel_of[_real(root / one.found.files[0])]) for one in old_heard]
    reels = {reel.name: False for reel in sheet.reels}
    reels |= {one.reel: True for one in sheet.passes if one.timecode.kind != "audio"}
    passes, lines = _placed(captures, named, reels, heard, progress)
    known_reels = {
        reel.name: Named(
            reel.tracks, [one.reach for one, name in named if name == reel.name and one.reach is not None]
        )
        for reel in sheet.reels
    }
    more = draft_tables(passes, known_reels, [one.name for one in sheet.passes])
    text = _with_more(sheet.text, more)
    try:
        parse_sheet(text, path=sheet.path, folder=sheet.folder)
    except SheetError as error:
        raise SheetError(
            f"the passes found cannot be added: {error.problem}; nothing was written", file=sheet.path
        ) from error
    return Grown(sheet.text, text, (*told, *lines))


def _with_more(text: bytes, more: str) -> bytes:
    """Return a sheet with tables after its end, their line ends as the sheet's own."""
    end = "\r\n" if 2 * text.count(b"\r\n") > text.count(b"\n") else "\n"
    begun = "" if text.endswith(b"\n") else end
    return text + (begun + end + more.replace("\n", end)).encode()


def _real(path: Path) -> Path:
    return Path(os.path.realpath(path))


def _placed(
    captures: Captures,
    named: Sequence[tuple[Heard, str]],
    reels: Mapping[str, bool],
    heard: Sequence[Heard],
    progress: Callable[[str, float], None],
) -> tuple[list[DraftPass], list[str]]:
    """Return the new captures with their reels, and a line for each.

    Args:
        captures: where they lie.
        named: those that the sheet names, with their reels.
        reels: that it has, each with whether one of its passes has timecode.
        heard: the new captures.
        progress: called with what is being done and the share of it that is done.
    """
    placed: list[DraftPass] = []
    told: list[str] = []
    left: list[Heard] = []
    for one in heard:
        found = next(
            (row for row in named if may_be_one(row[0], one) and is_found(captures, row[0], one)), None
        )
        by_name = split_pass_name(one.found.name)[0]
        if found is None and by_name not in reels:
            left.append(one)
            continue
        reel, why = (by_name, "by its name")
        if found is not None:
            reel, why = found[1], f"found in {found[0].found.name} by its sound"
        placed.append(replace(one.found, reel=reel, by_sound=reels[reel]))
        told.append(f"{one.found.name} is added to reel {reel}: {why}")
    if left:
        tapes = tapes_of(captures, left, lambda share: progress("comparing captures by their sound", share))
        told += [f"reel {tape.name}: {line}" for tape in tapes for line in tape.told]
        told += [
            f"{one.found.name} is added as a pass of a new reel, {tape.name}"
            for tape in tapes
            for one in tape.members
        ]
        placed += as_found(tapes)
    return placed, told
