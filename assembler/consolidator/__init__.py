"""From an edit to a published set, and the proof of it."""

from assembler.consolidator.building import build_set, check_session, check_sheet
from assembler.consolidator.captures import sha256_of
from assembler.consolidator.opened import OpenSession, open_session
from assembler.consolidator.result import SessionResult
from assembler.consolidator.verifying import Problem, VerifyResult, verify_set

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
