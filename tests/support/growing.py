"""A capture that a test grows by hand, look by look, without a process and without waiting."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Self

from assembler.wave.samples import pack_samples
from tests.support.recorder import Recording, head, log_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.watch import Event, Watch


class Growing:
    """A polyphonic 24-bit capture ``NAME.wav`` with its log. Use as a context manager.

    Args:
        path: of the capture.
        channels: tracks.
        spec: how it is recorded.
    """

    def __init__(self, path: Path, channels: int, spec: Recording | None = None) -> None:
        self.path, self.channels = path, channels
        self.spec = spec or Recording("", "")
        self.frames = 0
        path.write_bytes(head(self.spec, channels, 0, final=False))
        self._file = path.open("r+b")
        self._file.seek(0, os.SEEK_END)

    def log(self, seconds: float, name: str = "timecode.csv") -> None:
        """Write the log of so many seconds."""
        (self.path.parent / name).write_bytes(log_bytes(self.spec, seconds))

    def add(self, samples: Int32s) -> None:
        """Write samples, shape (n, channels)."""
        self._file.write(pack_samples(samples, 24))
        self._file.flush()
        self.frames += len(samples)

    def finish(self) -> None:
        """Write the right sizes."""
        self._file.seek(0)
        self._file.write(head(self.spec, self.channels, self.frames * self.channels * 3, final=True))
        self._file.flush()

    def __enter__(self) -> Self:
        """Return the capture."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        self._file.close()


class Looks:
    """Looks of a watch, one after another.

    Args:
        watch: that looks.
    """

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.now = 100.0
        self.told: list[Event] = []

    def look(self, seconds: float = 1.0) -> list[Event]:
        """Let time go by, look, and return what was told."""
        self.now += seconds
        new = list(self.watch.look(self.now))
        self.told += new
        return new
