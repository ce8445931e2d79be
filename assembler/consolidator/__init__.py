"""From an edit to a published set, and the proof of it.

Question: what becomes of a session: is it only looked at, kept open, or built; and is a set what it says?
Input: a sheet and the captures beside it; a set's folder.
Output: a `SessionResult`, an open session, a set on disk, problems of a set.

Each in its file:

- `building`: a sheet in, a published set out.
- `checking`: aligned, and nothing written; all that a check loads. `opened`: the same with captures left open.
- `result`: what came of either, as rows of plain values.
- `captures`: the captures as files: digests, that no run has touched them, how many processes they are worth.
- `tracks/`: tracks as files; `metering/`: what is measured on them; `viewing/`: what the page shows of places.
- `bag/`: the bag around them; `proof/`: whether a set is what it says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assembler.consolidator.building import build_set
    from assembler.consolidator.captures import sha256_of
    from assembler.consolidator.checking import check_session, check_sheet
    from assembler.consolidator.opened import OpenSession, open_session
    from assembler.consolidator.proof.verifying import Problem, VerifyResult, verify_set
    from assembler.consolidator.result import SessionResult

_HOMES = {
    "OpenSession": "opened",
    "Problem": "proof.verifying",
    "SessionResult": "result",
    "VerifyResult": "proof.verifying",
    "build_set": "building",
    "check_session": "checking",
    "check_sheet": "checking",
    "open_session": "opened",
    "sha256_of": "captures",
    "verify_set": "proof.verifying",
}

__all__ = [
    "OpenSession",
    "Problem",
    "SessionResult",
    "VerifyResult",
    "build_set",
    "check_session",
    "check_sheet",
    "open_session",
    "sha256_of",
    "verify_set",
]


def __getattr__(name: str) -> object:
    """Load a name when it is first used: a check needs nothing of what writes and proves a set."""
    if name in _HOMES:
        from importlib import import_module  # noqa: PLC0415 - with the rest of it

        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
