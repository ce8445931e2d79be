"""Memory that a process keeps: what it frees of blocks of samples, which come and go by the thousand, all of like size,
and all that it has loaded.

The GNU library gives large pieces back to the system at once, which hands them out again page by page, each cleared:
a third of the processor time of a check.
"""

from __future__ import annotations

import ctypes
import gc
import os
from contextlib import suppress
from typing import Final

KEPT_BYTES: Final = 64 << 20
"""More than a process holds of blocks at once; what is freed past that goes back."""

LOADED_OBJECTS: Final = 50_000
"""Objects made, less those gone, after which cycles are looked for."""

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD of malloc.h
_LARGEST_THRESHOLD = 32 << 20  # the library takes no larger one


def keep_loaded() -> None:
    """Let this process load what it needs without looking through it for what may go, or for what might be added."""
    # What is loaded stays; to look through it for what does not, again and again, is a tenth of a short command.
    gc.set_threshold(LOADED_OBJECTS)
    # Records are checked by a library that would look through all that is installed for something to add to it.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")


def keep_freed() -> None:
    """Let this process keep what it frees for its own use; where the system's library has no such thing, nothing."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        library.mallopt(_MMAP_THRESHOLD, _LARGEST_THRESHOLD)
        library.mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
