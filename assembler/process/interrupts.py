"""Signals that end a process: which they are, and where in a program one would be lost."""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

ENDING: Final = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
"""Signals that end a process."""

INTERRUPTING: Final = (*ENDING, signal.SIGALRM)
"""The same, and the one by which they are tried again."""

AGAIN_SECONDS: Final = 0.02
"""An interrupt that would be lost is tried again after so long."""

_LOADING: Final = ("<frozen importlib", "/pydantic/_internal/", "/weakref.py")
"""Parts of the files' names.

Loading a module runs callbacks and made-up code, in which an exception is lost, or ends the process in Python's own
way. A check of sheets or records is made when it is first used, by compiled code that takes an exception for a fault
of the check, or for an answer. What is told that an object is gone cannot tell anybody.
"""


def is_put_off(frame: FrameType | None, handler: Callable[[int, FrameType | None], None]) -> bool:
    """Return whether an interrupt would be lost where a signal struck; if so it is tried again in a moment.

    Args:
        frame: where it struck.
        handler: what it is told to then.
    """
    if not _is_lost(frame):
        return False
    signal.signal(signal.SIGALRM, handler)
    signal.setitimer(signal.ITIMER_REAL, AGAIN_SECONDS)
    return True


def _is_lost(frame: FrameType | None) -> bool:
    while frame is not None:
        code = frame.f_code
        if code.co_name == "__del__" or any(part in code.co_filename for part in _LOADING):
            return True
        frame = frame.f_back
    return False
