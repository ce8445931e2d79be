"""What this very program is: another one, even of the same version, may find something else."""

from __future__ import annotations

import hashlib
import platform
import sys
from functools import cache
from pathlib import Path

import numpy as np

from assembler.version import __version__

_PACKAGE = Path(__file__).resolve().parents[1]


@cache
def program_words() -> tuple[str, ...]:
    """Return version, digest of the sources, and what computes: interpreter, arrays, machine."""
    return (
        __version__,
        source_digest(_PACKAGE),
        sys.version,
        np.__version__,
        _version_of("scipy"),
        platform.machine(),
    )


def source_digest(package: Path) -> str:
    """Return one digest of all modules of a package: whoever changes a rule changes no version every time."""
    running = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        data = path.read_bytes()
        running.update(f"{path.relative_to(package).as_posix()} {len(data)}\n".encode())
        running.update(data)
    return running.hexdigest()


def _version_of(package: str) -> str:
    from importlib.metadata import version  # noqa: PLC0415 - what looks through installed packages is slow to load

    return version(package)
