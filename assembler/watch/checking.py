"""A check of all finished passes, in the background: what must be played again, and what later passes are held against.

It is what ``check`` does, so that nothing is decided here in another way.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.aligner import align_session
from assembler.errors import AssemblerError, CaptureError
from assembler.importer import ImportedSession, import_session
from assembler.watch.sound.beside import Witness

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assembler.aligner import Edit
    from assembler.known import Known
    from assembler.sheet import Sheet


class _StoppedError(Exception):
    """Nobody waits for this check any more."""


@dataclass(frozen=True)
class Checked:
    """What a check came to.

    Args:
        sheet: that was checked: finished passes only.
        edit: None where there is nothing to check, or nothing that can be.
        session: its captures, open.
        problem: what could not be used, in words; "" for nothing.
    """

    sheet: Sheet | None
    edit: Edit | None = None
    session: ImportedSession | None = None
    problem: str = ""

    def witnesses(self, reel: str, tracks: int) -> list[Witness]:
        """Return the passes of a reel that later ones can be held against, most trusted first."""
        passes = [] if self.edit is None else self.edit.passes
        return [
            Witness(one.imported.name, one.imported.audio, one.time_map)
            for one in passes
            if one.imported.reel == reel and one.time_map is not None and one.imported.audio.tracks == tracks
        ]

    def close(self) -> None:
        """Close the captures."""
        if self.session is not None:
            self.session.close()


class Checking:
    """One check that runs beside everything else.

    Args:
        sheet_of: gives what to check, None for nothing; it is given what to call with the share of the work done.
        files: of each pass, to tell which of them an error is about.
        known: what was found out before.
    """

    def __init__(
        self,
        sheet_of: Callable[[Callable[[float], None]], Sheet | None],
        files: Mapping[str, tuple[Path, ...]],
        known: Known,
    ) -> None:
        self._files = files
        self._known = known
        self._is_stopped = False
        self._result: Checked | None = None
        self._thread = threading.Thread(target=self._run, args=(sheet_of,), daemon=True)
        self._thread.start()

    def result(self) -> Checked | None:
        """Return what the check came to; None while it runs."""
        return None if self._thread.is_alive() else self._result

    def stop(self) -> None:
        """End it soon, and forget what it came to."""
        self._is_stopped = True
        self._thread.join()
        if self._result is not None:
            self._result.close()

    def _run(self, sheet_of: Callable[[Callable[[float], None]], Sheet | None]) -> None:
        sheet = None
        try:
            sheet = sheet_of(self._advance)
            self._result = self._check(sheet)
        except _StoppedError:
            pass
        except Exception as error:  # noqa: BLE001 - told; the captures are followed all the same
            self._result = Checked(sheet, problem=f"{type(error).__name__}: {error}")

    def _check(self, sheet: Sheet | None) -> Checked:
        problems: list[str] = []
        while sheet is not None and sheet.passes:
            try:
                return self._align(sheet, problems)
            except CaptureError as error:
                problems.append(str(error))
                sheet = self._without(sheet, error)
            except AssemblerError as error:
                problems.append(str(error))
                break
        return Checked(sheet, problem="; ".join(problems))

    def _align(self, sheet: Sheet, problems: list[str]) -> Checked:
        session = import_session(sheet, self._advance, self._known)
        try:
            edit = align_session(session, lambda _, share: self._advance(share))
        except BaseException:
            session.close()
            raise
        return Checked(sheet, edit, session, "; ".join(problems))

    def _advance(self, _: float) -> None:
        if self._is_stopped:
            raise _StoppedError

    def _without(self, sheet: Sheet, error: CaptureError) -> Sheet | None:
        """Return the sheet without the pass that an error is about; None where that cannot be said."""
        path = None if error.path is None else Path(error.path)
        near = {name for name, paths in self._files.items() if path is not None and _belongs(path, paths)}
        kept = tuple(one for one in sheet.passes if one.name not in near)
        if not near or not kept:
            return None
        reels = {one.reel for one in kept}
        names = {one.name for one in kept}
        return replace(
            sheet,
            passes=kept,
            reels=tuple(reel for reel in sheet.reels if reel.name in reels),
            punches=tuple(punch for punch in sheet.punches if punch.pass_name in names),
        )


def _belongs(path: Path, files: tuple[Path, ...]) -> bool:
    return path in files or path.parent in {file.parent for file in files}
