"""A text in the place of one that a person wrote: the old one is kept beside it."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from assembler.consolidator.publishing import publish_text
from assembler.errors import PublishError
from assembler.publication import Publication

if TYPE_CHECKING:
    from pathlib import Path

MOST_BACKUPS = 999


def replace_text(target: Path, before: bytes, text: str) -> Path:
    """Put a text in the place of a file that stands, whole or not at all, and return where the old one is kept.

    Args:
        target: the file.
        before: what it holds; where it holds something else by now, nothing is done.
        text: its new content, written as UTF-8.

    Raises:
        PublishError: the file was changed meanwhile, or a file cannot be written; it stands as it was.
    """
    backup = _free_name(target)
    new = backup.with_name(f"{backup.name}.new")
    is_done = False
    publish_text(backup, before.decode("utf-8"), Publication())
    try:
        publish_text(new, text, Publication())
        _check_same(target, before)
        new.chmod(stat.S_IMODE(target.stat().st_mode))
        new.replace(target)
        is_done = True
    except OSError as error:
        raise PublishError(f"{target} cannot be replaced: {error.strerror or error}") from error
    finally:
        new.unlink(missing_ok=True)
        if not is_done:
            backup.unlink(missing_ok=True)
    return backup


def _free_name(target: Path) -> Path:
    for number in range(1, MOST_BACKUPS + 1):
        name = target.with_name(f"{target.name}.{number}.bak")
        if not os.path.lexists(name):
            return name
    raise PublishError(f"{target} has {MOST_BACKUPS} backups; take some of them away")


def _check_same(target: Path, before: bytes) -> None:
    if target.read_bytes() != before:
        raise PublishError(f"{target} was changed meanwhile and stands as it was changed; nothing was added")
