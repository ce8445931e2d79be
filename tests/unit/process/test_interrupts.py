"""Interrupts that strike where an exception is lost come again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.support.processes import run_apart

if TYPE_CHECKING:
    from pathlib import Path

PROGRAM = """
import os, signal, time, weakref
from assembler.cli.process import prepare_process

prepare_process()

class Key:
    def __hash__(self):
        if struck:
            os.kill(os.getpid(), signal.SIGINT)
        return 1

class Gone:
    def __del__(self):
        hash(key)

class Value:
    pass

struck, key = False, Key()
one = Gone() if {is_method} else Value()
known = weakref.WeakValueDictionary()
known[key] = one
struck = True
try:
    del one
    time.sleep(10)
except KeyboardInterrupt:
    print("interrupted")
"""


@pytest.mark.parametrize("is_method", [True, False])
def test_an_interrupt_of_what_cannot_fail_comes_after_it(tmp_path: Path, *, is_method: bool) -> None:
    """What an object does when it goes, and what is told of that, can raise nothing."""
    ran = run_apart(tmp_path, PROGRAM.format(is_method=is_method))
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "interrupted\n", "")
