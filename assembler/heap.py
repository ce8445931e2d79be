"""Memory that a process keeps when it is freed: blocks of samples come and go by the thousand, all of like size.

The GNU library gives large pieces back to the system at once, which hands them out again page by page, each cleared:
a third of the processor time of a check.
"""

from __future__ import annotations

import ctypes
from contextlib import suppress
from typing import Final

KEPT_BYTES: Final = 64 << 20
"""More than a process holds of blocks at once; what is freed past that goes back."""

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD of malloc.h
_LARGEST_THRESHOLD = 32 << 20  # the library takes no larger one


def keep_freed() -> None:
    """Let this process keep what it frees for its own use; where the system's library has no such thing, nothing."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        library.mallopt(_MMAP_THRESHOLD, _LARGEST_THRESHOLD)
        library.mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
