"""The captures that lie in a folder now: mono files of one folder are one, a polyphonic file is one by itself."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.drafting.looking import MOST_FOLDERS, WAVE_SUFFIXES, mono_mix
from assembler.errors import WaveError
from assembler.sheet import LOG_SUFFIXES, natural_key
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

FileKey = tuple[int, int]
"""Device and inode: what a file is, whatever it is called."""


@dataclass(frozen=True)
class Found:
    """A capture on disk.

    Args:
        name: its folder's, or of a polyphonic file its own.
        paths: its files in natural order.
        keys: what they are.
        tracks: how many they hold.
    """

    name: str
    paths: tuple[Path, ...]
    keys: tuple[FileKey, ...]
    tracks: int


@dataclass(frozen=True)
class Scan:
    """What lies in a folder.

    Args:
        captures: those whose headers can be read, in natural order.
        names: all that may be a capture or a log, as path and file: where these change, so may the passes.
        unread: what is wrong with files that cannot be read, by their path.
    """

    captures: tuple[Found, ...]
    names: frozenset[tuple[Path, FileKey]]
    unread: Mapping[Path, str]


class Scanner:
    """Looks through a folder again and again, and opens each file once.

    Args:
        folder: the topmost folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._channels: dict[tuple[Path, FileKey], int] = {}

    def look(self) -> Scan:
        """Return what lies in the folder now; what cannot be looked at is as if it did not lie there."""
        captures: list[Found] = []
        names: set[tuple[Path, FileKey]] = set()
        unread: dict[Path, str] = {}
        for place, files in _folders(self.folder):
            names.update(files)
            mono: list[tuple[Path, FileKey]] = []
            for path, key in files:
                if path.suffix.lower() in LOG_SUFFIXES:
                    continue
                channels = self._channels_of(path, key, unread)
                if channels == 1 and path.stem.lower() != "timecode":
                    mono.append((path, key))
                elif channels > 1:
                    captures.append(Found(path.stem, (path,), (key,), channels))
            mix = mono_mix([path.stem for path, _ in mono])
            mono = [one for one in mono if one[0].stem != mix]
            if mono:
                paths, keys = zip(*mono, strict=True)
                captures.append(Found(place.resolve().name, paths, keys, len(paths)))
        captures.sort(key=lambda one: natural_key(one.name))
        return Scan(tuple(captures), frozenset(names), unread)

    def _channels_of(self, path: Path, key: FileKey, unread: dict[Path, str]) -> int:
        """Return the channels of a file; 0 where its header cannot be read, or not yet."""
        known = self._channels.get((path, key))
        if known is None:
            try:
                with WaveFile(path) as file:
                    known = file.info.format.channels
            except WaveError as error:
                unread[path] = error.problem
                return 0
            self._channels[path, key] = known
        return known


def _folders(folder: Path) -> Iterator[tuple[Path, list[tuple[Path, FileKey]]]]:
    """Yield each folder with its captures and logs in natural order; sets that were built are left out."""
    for count, (place, folders, files) in enumerate(os.walk(folder)):
        folders[:] = sorted((name for name in folders if not name.startswith(".")), key=natural_key)
        if "bagit.txt" in files or count >= MOST_FOLDERS:
            folders.clear()
            continue
        wanted = (*WAVE_SUFFIXES, *LOG_SUFFIXES)
        found = []
        for name in sorted(files, key=natural_key):
            if not name.startswith(".") and Path(name).suffix.lower() in wanted:
                path = Path(place) / name
                try:
                    state = path.stat()
                except OSError:
                    continue  # it went away just now
                found.append((path, (state.st_dev, state.st_ino)))
        yield Path(place), found
