"""What the help promises: its examples work when pasted, and a shell completes commands and options."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assembler.cli.commands import commands, run
from assembler.cli.options.examples import EXAMPLES

if TYPE_CHECKING:
    from collections.abc import Mapping

ROOT = Path(__file__).parents[2]
STATUS = {"check": 1, "batch": 1, "collection": 1, "retakes": 1, "plan": 1, "build": 1, "watch": 130}
"""One place of the invented session needs a person; whoever ends ``watch`` interrupts it."""


@pytest.fixture(scope="module")
def shell(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, str]:
    """Return the environment of a shell that finds the command, with nothing remembered."""
    folder = tmp_path_factory.mktemp("shell")
    program = folder / "assembler"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m assembler "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return {
        **os.environ,
        "PATH": f"{folder}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
        "ASSEMBLER_CACHE": str(folder / "cache"),
    }


def test_every_help_ends_with_its_example(capsys: pytest.CaptureFixture[str]) -> None:
    """The last line of each help is the example that is run below."""
    for name in EXAMPLES:
        assert run([name, "--help"]) == 0
        assert capsys.readouterr().out.splitlines()[-1].strip() == EXAMPLES[name]
    assert run(["--help"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].strip() == EXAMPLES["demo"]
    assert set(EXAMPLES) <= set(commands.commands)


def test_each_example_works_when_pasted(tmp_path: Path, shell: Mapping[str, str]) -> None:
    """In a shell, one after another in one folder, as a person goes through them."""
    for name, line in EXAMPLES.items():
        with subprocess.Popen(
            ["/bin/sh", "-c", f"exec {line}"],
            cwd=tmp_path,
            env=shell,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            if name == "watch":
                assert process.stdout is not None
                process.stdout.readline()
                process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=120)
        assert process.returncode == STATUS.get(name, 0), (line, out, err)
    last = (tmp_path / "try-it-set" / "data" / "report.html").stat()
    assert last.st_size > 0


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash")
def test_a_shell_completes_commands(shell: Mapping[str, str]) -> None:
    """The line of the README makes bash complete the start of a command."""
    line = 'eval "$(_ASSEMBLER_COMPLETE=bash_source assembler)"'
    assert line in (ROOT / "README.md").read_text(encoding="utf-8")
    asked = (
        'COMP_WORDS=(assembler ver); COMP_CWORD=1; _assembler_completion assembler; echo "${COMPREPLY[@]}"'
    )
    script = f"{line}\n{asked}"
    done = subprocess.run(["bash", "-c", script], env=shell, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["verify"]
