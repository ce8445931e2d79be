"""What the command line loads before it knows that it is needed: help answers at once, a check needs no page."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from pathlib import Path

LOADED = (
    "import sys\nsys.argv = ['assembler', *sys.argv[1:]]\nfrom assembler.cli import main\ntry:\n    main()\n"
)
LOADED += "finally:\n    print(*sys.modules, file=sys.stderr)\n"


def loaded(*arguments: object) -> set[str]:
    """Return the packages that a command loads, and the rooms of this one as ``assembler.room``."""
    command = [sys.executable, "-c", LOADED, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1)
    names = [name.split(".") for name in done.stderr.split()]
    return {".".join(name[: 2 if name[0] in {"assembler", "scipy"} else 1]) for name in names}


def test_help_loads_no_numbers() -> None:
    """Help needs the library of commands and none of the rooms."""
    found = loaded("--help")
    assert not found & {
        "numpy",
        "scipy",
        "pydantic",
        "rich",
        "jinja2",
        "soundfile",
        "tomlkit",
        "multiprocessing",
    }
    assert {name for name in found if name.startswith("assembler.")} <= {
        "assembler.cli",
        "assembler.epoch",
        "assembler.errors",
        "assembler.process",
        "assembler.process.heap",
        "assembler.process.interrupts",
        "assembler.inputs",
        "assembler.printable",
        "assembler.publishing",
        "assembler.version",
    }


def test_a_check_loads_only_what_it_uses(tmp_path: Path) -> None:
    """Two passes, one with a mute: no part of scipy that takes a third of a second, no templates, no progress bars."""
    tape = make_tape(2, 2)
    flawed = tape.copy()
    flawed[30000:33000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Kick", "Snare"])
    layout.add_pass("A1", "A", flawed, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    found = loaded("check", layout.write(), "--no-cache")
    slow = {"scipy.special", "scipy.signal", "scipy.ndimage", "scipy.linalg", "scipy.fft", "scipy.stats"}
    assert not found & {*slow, "jinja2", "opentimelineio", "pyloudnorm", "scipy"}
