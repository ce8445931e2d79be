"""What a run puts in place, and whether it stands there: the one place that knows, whatever was said meanwhile."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def _say_nothing(_words: str) -> None:
    return


class Publication:
    """What one run is to publish: at most one set, sheet, plan or session.

    An interrupt or an error may strike between the step that publishes and whoever would take it down, so nothing
    is taken down afterwards: what is about to be published is announced before, and the disk is asked whether
    it stands when that has to be reported.

    Args:
        tell: called with a line for a person about what lies beside the target.
    """

    def __init__(self, tell: Callable[[str], None] = _say_nothing) -> None:
        self.tell = tell
        self.is_sound = False
        """The verdict on what is published, given before it is."""
        self._announced: tuple[Path, int, int] | None = None

    def announce(self, source: Path, target: Path) -> None:
        """Take down that ``source`` is about to get the name ``target``."""
        found = source.lstat()
        self._announced = target, found.st_dev, found.st_ino

    @property
    def standing(self) -> Path | None:
        """The target, if what was announced stands there now."""
        if self._announced is None:
            return None
        target, device, inode = self._announced
        try:
            found = target.lstat()
        except OSError:
            return None
        return target if (found.st_dev, found.st_ino) == (device, inode) else None
