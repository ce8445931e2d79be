"""Everything the package raises on purpose.

    AssemblerError
    ├── SheetError             the session sheet: file, line, key, what was found, what is allowed
    ├── CaptureError           a capture can't be used: file and place
    │   ├── WaveError          its audio
    │   └── TimecodeLogError   its timecode log
    ├── PublishError           the set could not be written
    ├── WorkerError            a process that shared the work is gone
    ├── TimecodeError          (also ValueError) arguments of the timecode arithmetic
    ├── RecordError            (also ValueError) the record of a set
    ├── LedgerError            the root of a collection, or its ledger
    ├── ClusterError           the cluster that is to do the work
    └── PlanError              (also ValueError) arguments of the planning and fade arithmetic

``str(error)`` is what a person is shown: one plain line with the file and the place. A line end in it can only
have come from a name; the command line shows it as such.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path


class AssemblerError(Exception):
    """Base of every error that is meant for the user. One that was raised in another process is the same here."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Return what makes the error again, past the arguments of its class."""
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[AssemblerError], arguments: tuple[Any, ...], said: dict[str, Any]) -> AssemblerError:
    error = kind.__new__(kind, *arguments)
    error.__dict__.update(said)
    return error


class SheetError(AssemblerError):
    """Something the sheet says cannot be used.

    Args:
        problem: what was found and what is allowed, one line.
        file: the sheet.
        line: line in the sheet, from 1; None where no single line is at fault.
        key: dotted key, for instance ``pass[2].audio`` (tables counted from 1).
    """

    def __init__(
        self, problem: str, *, file: Path | str | None = None, line: int | None = None, key: str | None = None
    ) -> None:
        self.problem = problem
        self.file = file
        self.line = line
        self.key = key
        place = "" if file is None else f"{file}: "
        if line is not None:
            place += f"line {line}: "
        if key:
            place += f"{key}: "
        super().__init__(place + problem)


class CaptureError(AssemblerError):
    """A capture, or its log, cannot be used.

    Args:
        problem: what was found and what is allowed, one line.
        path: the file, as the user named it; None while a stream without a name is read.
        place: where in the file, in words, for instance ``byte 36``.
    """

    def __init__(self, problem: str, *, path: Path | str | None = None, place: str | None = None) -> None:
        self.problem = problem
        self.path = path
        self.place = place
        parts = [str(part) for part in (path, place, problem) if part]
        super().__init__(": ".join(parts))


class WaveError(CaptureError):
    """The audio of a capture cannot be used."""


class TimecodeLogError(CaptureError):
    """The timecode log of a capture cannot be used."""


class PublishError(AssemblerError):
    """The set could not be written; unless the words say that it stands, no set was written."""


class WorkerError(AssemblerError):
    """A process that shared the work could not be started or was ended from outside; no set was written."""

    def __init__(self, problem: str) -> None:
        super().__init__(f"{problem}; no set was written")


class LedgerError(AssemblerError):
    """The root of a collection, or its ledger, cannot be used."""


class ClusterError(AssemblerError):
    """The cluster that is to do the work cannot be reached or used."""


class TimecodeError(AssemblerError, ValueError):
    """A timecode label, frame or rate outside what the arithmetic allows."""


class PlanError(AssemblerError, ValueError):
    """Spans, joins or fades that contradict each other."""


class RecordError(AssemblerError, ValueError):
    """The record of a set is none, or contradicts itself."""
