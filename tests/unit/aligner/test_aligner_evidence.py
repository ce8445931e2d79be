"""What it costs to take a stretch for a flaw or for sound."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.flaws.structures.builds import Structure
from assembler.aligner.judge.costs import flaw_cost
from assembler.aligner.sound.surroundings import look_around
from scripts.bench.trial_sessions import make_tape

PLACE = 4_000, 5_000


@pytest.mark.parametrize("kind", ["mute", "hold", "repeat"])
def test_a_flaw_is_told_once_where_it_begins(kind: str) -> None:
    """A flaw that is judged in parts is one event: where it goes on nothing more is to be told."""
    right = make_tape("dense", 16, 9_000, np.random.default_rng(61))[0]
    flawed = right.copy()
    flawed[slice(*PLACE)] = {"mute": 0, "hold": right[3_999], "repeat": right[3_000:4_000]}[kind]
    around = look_around([right, flawed], PLACE, 1)
    built = [Structure(kind, *PLACE, (3_999,) if kind == "hold" else ())]
    begins = flaw_cost(flawed, (4_000, 4_400), built, right, around, is_first=True)
    goes_on = flaw_cost(flawed, (4_400, 5_000), built, right, around, is_first=False)
    inside = flaw_cost(flawed, (4_000, 4_400), built, right, around, is_first=False)
    assert begins == inside
    assert begins[0] > 0.0
    assert goes_on == (0.0, kind)
