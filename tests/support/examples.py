"""Example sessions that are no part of the project: used where they are at hand, skipped with a reason elsewhere.

They are large, and none of them is needed to build, to read or to change the project: so no machine has to have them.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER_VARIABLE = "ASSEMBLER_EXAMPLES"
"""Environment variable that names the folder they are in; without it, a folder beside the checkout is looked for."""

BESIDE = Path(__file__).resolve().parents[3]


def example_session(name: str) -> Path:
    """Return the folder of an example session; skip the test that asks where there is none.

    A folder that the variable names and that lacks the session fails the test: somebody meant it to run.
    """
    folder = os.environ.get(FOLDER_VARIABLE)
    if folder:
        if not (Path(folder) / name / "session.toml").is_file():
            pytest.fail(f"{FOLDER_VARIABLE} is {folder}, which holds no {name}/session.toml")
        return Path(folder) / name
    found = sorted(BESIDE.glob(f"*/{name}/session.toml"))
    if not found:
        pytest.skip(f"no {name} beside the checkout, nor a folder of examples in {FOLDER_VARIABLE}")
    return found[0].parent
