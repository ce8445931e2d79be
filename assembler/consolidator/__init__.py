"""From an edit to a published set, and the proof of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assembler.consolidator.building import build_set
    from assembler.consolidator.captures import sha256_of
    from assembler.consolidator.checking import check_session, check_sheet
    from assembler.consolidator.opened import OpenSession, open_session
    from assembler.consolidator.result import SessionResult
    from assembler.consolidator.verifying import Problem, VerifyResult, verify_set

_HOMES = {
    "OpenSession": "opened",
    "Problem": "verifying",
    "SessionResult": "result",
    "VerifyResult": "verifying",
    "build_set": "building",
    "check_session": "checking",
    "check_sheet": "checking",
    "open_session": "opened",
    "sha256_of": "captures",
    "verify_set": "verifying",
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
