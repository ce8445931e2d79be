"""A small share of the seeded trials of scripts/bench/flaw_trials.py: sessions whose every fault is known."""

from __future__ import annotations

import pytest

from scripts.bench.flaw_trials import run_trial
from scripts.bench.trial_sessions import make_trial

# Character, passes, seed. These come back whole today and have to stay so; they are no sample of how well the
# program does. The script's table is, with the seeds that do not.
TRIALS = (
    ("dense", 3, 7),
    ("dense", 2, 1),
    ("tones", 2, 2),
    ("sparse", 3, 6),
    ("loop", 2, 5),
    ("quiet", 3, 9),
    # Flaws of both passes over each other: soft noise within a level against silence; 41 flaws of a tape of 24 bits.
    ("band", 2, 360_002),
    ("band", 2, 390_119),
    # A wave held over one of its edges against a longer level; an anchor out of the log's reach; clipped peaks.
    ("square", 2, 460_016),
    ("square", 2, 520_132),
    ("band", 3, 450_034),
)


@pytest.mark.parametrize(("character", "passes", "seed"), TRIALS)
def test_every_sample_that_can_be_told_comes_back(character: str, passes: int, seed: int) -> None:
    """No sample that some pass has right is delivered wrong without a word, and every pass lies exactly.

    One or two that look as if all had lost them may stay open, and be listed.
    """
    outcome = run_trial(make_trial(seed, character=character, passes=passes))
    assert outcome.right > 1_000_000
    assert (outcome.unlisted, outcome.inexact) == (0, 0), outcome.places
    assert outcome.wrong <= 2, outcome.places
    assert outcome.slips_found == outcome.slips_put
