"""A file of text: a new one, or one in the place of one that a person wrote, which is kept beside it."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from assembler.errors import PublishError
from assembler.publishing.publication import Publication
from assembler.publishing.scaffold import Scaffold
from assembler.publishing.staging import write_failure

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.publishing.disk import Disk

MOST_BACKUPS = 999


def publish_text(target: Path, text: str, publication: Publication, disk: Disk | None = None) -> None:
    """Publish one file, as a set is published: whole or not at all.

    Args:
        target: the file; it must not exist, and its folder must.
        text: its content, written as UTF-8.
        publication: what is reported of it.
        disk: what makes the changes.

    Raises:
        PublishError: the target exists or cannot be written.
    """
    scaffold = Scaffold(target, publication, disk)
    try:
        with scaffold:
            descriptor = scaffold.disk.create(scaffold.work)
            try:
                data = memoryview(text.encode("utf-8"))
                while data:
                    data = data[scaffold.disk.write(descriptor, data) :]
            finally:
                os.close(descriptor)
            scaffold.disk.sync(scaffold.work)
            scaffold.land()
    except FileExistsError as error:
        raise PublishError(f"{scaffold.target} exists already; choose another name") from error
    except OSError as error:
        raise write_failure(error, scaffold.target, scaffold) from error


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
