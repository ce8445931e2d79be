"""A question asked and its answer kept; which files may be believed to be what they were."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel

from assembler.inputs import InputFile
from assembler.known.plain import NOBODY, Outside, UnknowableError, from_plain, to_plain
from assembler.known.program import program_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Executor, Future

    from assembler.inputs import FileState
    from assembler.known.plain import Plain
    from assembler.known.store import Store

_Found = TypeVar("_Found")

SMALL_BYTES = 1 << 16
"""What there may be thousands of is kept only where it is small, or it would push out all else."""

MOST_PENDING = 64
"""Questions that are asked ahead of the first that is not answered yet: as many as any machine has processors for."""

_BELIED = "belied"
"""Stands for the digest of a file that was once seen to be another one in spite of its state."""


class Known:
    """What was found out before; asked by a name and all that the answer depends on.

    Args:
        store: where it is kept; None keeps nothing.
    """

    def __init__(self, store: Store | None) -> None:
        self._store = store
        self._digests: dict[FileState, str | None] = {}

    def recall(
        self,
        what: str,
        arguments: object,
        find: Callable[[], _Found],
        outside: Outside = NOBODY,
        most_bytes: int | None = None,
    ) -> _Found:
        """Return what was found before for the same arguments, or else what is found now.

        Args:
            what: is asked; one name for one function.
            arguments: all that the answer depends on. An object with ``known_as`` stands for what that gives, a file
                for its state.
            find: finds it out.
            outside: objects that the answer refers to.
            most_bytes: an answer that takes more is not kept.
        """
        name = self._name_of(what, arguments)
        answer = self._kept(name, outside)
        return answer[0] if answer else self._keep(name, find(), outside, most_bytes)

    def recall_each(
        self,
        what: str,
        asked: Iterable[tuple[object, Callable[[], _Found]]],
        executor: Executor,
        most_bytes: int | None = None,
    ) -> Iterator[_Found]:
        """Yield the same as ``recall`` for one question after another; what is not known is found side by side.

        Args:
            what: as for ``recall``.
            asked: the arguments and what finds the answer, of each question.
            executor: does the finding.
            most_bytes: as for ``recall``.
        """
        pending: deque[tuple[str | None, Future[_Found] | tuple[_Found]]] = deque()

        def next_one() -> _Found:
            name, answer = pending.popleft()
            if isinstance(answer, tuple):
                return answer[0]
            return self._keep(name, answer.result(), NOBODY, most_bytes)

        for arguments, find in asked:
            name = self._name_of(what, arguments)
            answer = self._kept(name, NOBODY)
            pending.append((name, answer or executor.submit(find)))
            while pending and (len(pending) > MOST_PENDING or _is_there(pending[0][1])):
                yield next_one()
        while pending:
            yield next_one()

    def belied(self, digests: Mapping[InputFile, str]) -> list[InputFile]:
        """Return the files that hold other bytes than they did before, though the system says they are unchanged.

        What was found out of these is not believed, now or later. The digests of all others are kept.

        Args:
            digests: of files, as they were read just now.
        """
        if self._store is None:
            return []
        found = []
        for file, digest in digests.items():
            if not file.is_settled:
                continue
            before = self._digest(file)
            if before is None or before not in (digest, _BELIED):
                self._keep_digest(file, digest if before is None else _BELIED)
            if before not in (None, digest, _BELIED):
                found.append(file)
        return found

    def _name_of(self, what: str, arguments: object) -> str | None:
        """Return the name of an answer; None where none is kept."""
        if self._store is None:
            return None
        with suppress(UnknowableError):
            return self._name(what, arguments)
        return None

    def _kept(self, name: str | None, outside: Outside) -> tuple[Any] | None:
        """Return the answer of a name, alone in a tuple; None where there is none."""
        data = self._store.read(name) if self._store is not None and name is not None else None
        if data is not None:
            with suppress(UnknowableError, ValueError, RecursionError):  # as if absent
                return (from_plain(json.loads(data), outside),)
        return None

    def _keep(self, name: str | None, found: _Found, outside: Outside, most_bytes: int | None) -> _Found:
        """Keep an answer, where it can be, and return it."""
        if self._store is not None and name is not None:
            with suppress(UnknowableError):  # else it is found out anew each time
                text = _text(to_plain(found, outside))
                if most_bytes is None or len(text) <= most_bytes:
                    self._store.write(name, text)
        return found

    def _name(self, what: str, arguments: object) -> str:
        return hashlib.sha256(_text([*program_words(), what, to_plain(arguments, _Asked(self))])).hexdigest()

    def believes(self, file: InputFile) -> bool:
        """Return whether a file's state tells that it is what it was.

        One that was written to just now may be written to again within the same tick of the clock.
        """
        return file.is_settled and self._digest(file) != _BELIED

    def _digest(self, file: InputFile) -> str | None:
        if file.state not in self._digests:
            data = None if self._store is None else self._store.read(_state_name(file.state))
            self._digests[file.state] = None if data is None else data.decode("ascii", "replace")
        return self._digests[file.state]

    def _keep_digest(self, file: InputFile, digest: str) -> None:
        self._digests[file.state] = digest
        if self._store is not None:
            self._store.write(_state_name(file.state), digest.encode())


class _Asked:
    """What stands in a question for objects that are no plain values."""

    def __init__(self, known: Known) -> None:
        self._known = known

    def name_of(self, value: object) -> Plain | None:
        if isinstance(value, InputFile):
            if not self._known.believes(value):
                raise UnknowableError(f"{value.path} may have changed")
            # Its name stands in words that are reported of it.
            return [value.path.name, to_plain(value.state)]
        if isinstance(value, BaseModel):
            return [[name, to_plain(getattr(value, name), self)] for name in type(value).model_fields]
        if isinstance(value, dt.date | dt.time):
            return value.isoformat()
        if isinstance(value, Mapping):
            return [[to_plain(key, self), to_plain(one, self)] for key, one in value.items()]
        known_as = getattr(value, "known_as", None)
        return None if known_as is None else to_plain(known_as(), self)

    def named(self, name: Plain) -> object:
        raise LookupError(name)


def _is_there(answer: Future[Any] | tuple[Any]) -> bool:
    return isinstance(answer, tuple) or answer.done()


def _state_name(state: FileState) -> str:
    return hashlib.sha256(_text(["digest", to_plain(state)])).hexdigest()


def _text(plain: Plain) -> bytes:
    return json.dumps(plain, separators=(",", ":")).encode()


NOTHING = Known(None)
"""Nothing is kept and nothing remembered."""
