"""A first sheet for a folder of captures."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.drafting.found import Draft
from assembler.drafting.hearing import Captures, hear, is_pulled_down, measured_words
from assembler.drafting.looking import look_through
from assembler.drafting.names import without_shared
from assembler.drafting.tapes import as_found, tapes_of, without_mixes
from assembler.drafting.writing import write_draft
from assembler.errors import CaptureError, SheetError
from assembler.known import NOTHING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from assembler.drafting.found import DraftPass
    from assembler.drafting.hearing import Heard
    from assembler.inputs import AnyPath
    from assembler.known import Known


def draft_sheet(
    folder: AnyPath,
    progress: Callable[[str, float], None] = lambda *_: None,
    known: Known = NOTHING,
    only: Collection[str] | None = None,
    *,
    sheet_folder: AnyPath | None = None,
) -> str:
    """Return a first sheet for a folder of captures, as TOML text to correct by hand.

    Every folder that holds WAV files is taken for one pass: its mono files are the tracks; a polyphonic file is
    a pass by itself. Passes of one tape are told by their names, and by their sound where names do not tell. What could
    not be read is reported in the sheet.

    Args:
        folder: of captures.
        progress: called with what is being done and the share of it that is done.
        known: what was found out before; see ``open_known``.
        only: names of the passes to take; None for all.
        sheet_folder: where the sheet is to lie; the captures' folder, or one that holds it. Paths are relative to it.

    Raises:
        CaptureError: the folder cannot be read, holds far too much, or a name in it cannot stand in a sheet.
        SheetError: there is nothing in it.
    """
    captures = Captures(Path(folder), known)
    draft = look_through(folder)
    passes, mixes = without_mixes(draft.passes)
    named = [one for one in named_apart(passes) if only is None or one.name in only]
    heard, unheard = hear_all(captures, named, progress)
    tapes = (
        tapes_of(captures, heard, lambda share: progress("comparing captures by their sound", share))
        if heard
        else []
    )
    notes = [*draft.notes, *mixes, *unheard]
    notes += [f"reel {tape.name}: {line}" for tape in tapes for line in tape.told]
    notes += [line for one in heard for line in measured_words(one)]
    within = None if sheet_folder is None else place_within(folder, sheet_folder)
    found = [one if within is None else moved_into(within, one) for one in as_found(tapes)]
    return _written(Draft(draft.title, tuple(found), tuple(notes), is_measured=True), Path(folder))


def place_within(folder: AnyPath, root: AnyPath) -> Path | None:
    """Return a folder's path from one that holds it, or is it; None from any other one."""
    root, place = Path(os.path.realpath(root)), Path(os.path.realpath(folder))
    return place.relative_to(root) if place.is_relative_to(root) else None


def moved_into(within: Path, one: DraftPass) -> DraftPass:
    """Return a capture whose paths begin at a folder that holds the one at which they began."""

    def moved(path: str | None) -> str | None:
        return None if path is None else (within / path).as_posix()

    return replace(
        one,
        files=tuple((within / path).as_posix() for path in one.files),
        pattern=moved(one.pattern),
        log=moved(one.log),
        ltc=moved(one.ltc),
    )


def sheet_by_names(folder: Path) -> str:
    """Return a first sheet by what names and headers tell: at once, however much there is to hear.

    Args:
        folder: of captures.

    Raises:
        CaptureError: the folder cannot be read, holds far too much, or a name in it cannot stand in a sheet.
        SheetError: there is nothing in it.
    """
    draft = look_through(folder)
    passes, mixes = without_mixes(draft.passes)
    return _written(replace(draft, passes=tuple(named_apart(passes)), notes=(*draft.notes, *mixes)), folder)


def _written(draft: Draft, folder: Path) -> str:
    try:
        return write_draft(draft)
    except SheetError as error:
        raise SheetError(error.problem, file=folder) from error


def hear_all(
    captures: Captures, passes: Sequence[DraftPass], progress: Callable[[str, float], None]
) -> tuple[list[Heard], list[str]]:
    """Return what each capture shows by itself, and a line for each that cannot be read."""
    heard: list[Heard] = []
    told: list[str] = []
    for count, one in enumerate(passes):

        def advance(share: float, count: int = count) -> None:
            progress("listening to captures", (count + share) / len(passes))

        try:
            found = hear(captures, one, advance)
        except CaptureError as error:
            told.append(f"{one.name} is left out: {error}")
            continue
        rate = "29.97" if is_pulled_down(found) else one.frame_rate
        heard.append(replace(found, found=replace(one, frame_rate=rate)))
    return heard, told


def named_apart(passes: Sequence[DraftPass]) -> list[DraftPass]:
    """Return the captures without what the names of all of them share."""
    names = without_shared([one.name for one in passes])
    return [replace(one, name=name) for one, name in zip(passes, names, strict=True)]
