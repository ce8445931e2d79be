"""Where what is known is kept: the user's cache folder, by the platform's convention."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.known.known import NOTHING, Known
from assembler.known.store import Store

if TYPE_CHECKING:
    from collections.abc import Callable

FOLDER_VARIABLE = "ASSEMBLER_CACHE"
"""Names another folder in the environment."""


def cache_folder() -> Path:
    """Return the folder in which what is known is kept; it need not exist."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_cache_path  # noqa: PLC0415 - not loaded where the environment tells

    return user_cache_path("capture-assembler", appauthor=False)


def open_known(mebibytes: int = 256, tell: Callable[[str], None] = lambda _: None) -> Known:
    """Return what is known, kept in the user's cache folder.

    Args:
        mebibytes: that it may take at most; 0 keeps nothing.
        tell: called with a line where nothing can be kept.
    """
    if mebibytes == 0:
        return NOTHING
    try:
        return Known(Store(cache_folder() / "known", mebibytes << 20))
    except OSError as error:
        reason = f"{error.filename}: {error.strerror}" if error.filename else str(error)
        tell(f"nothing is remembered for the next run: {reason}")
        return NOTHING
