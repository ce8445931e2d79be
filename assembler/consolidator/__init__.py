"""From an edit to a published set, and the proof of it."""

from assembler.consolidator.building import SessionResult, build_set, check_session
from assembler.consolidator.captures import sha256_of
from assembler.consolidator.verifying import Problem, VerifyResult, verify_set

__all__ = [
    "Problem",
    "SessionResult",
    "VerifyResult",
    "build_set",
    "check_session",
    "sha256_of",
    "verify_set",
]
