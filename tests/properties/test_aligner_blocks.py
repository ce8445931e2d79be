"""What is told of passes is the same in whatever blocks they are read."""

from __future__ import annotations

import pytest

from assembler.aligner import align_session, comparison
from scripts.bench.golden import told_of
from scripts.bench.trial_sessions import LONGEST_SAMPLES, make_trial, trial_session
from scripts.bench.trial_sounds import SAMPLE_RATE


@pytest.mark.parametrize(
    ("seed", "character", "passes", "longest"),
    [(907_003, "band", 3, LONGEST_SAMPLES), (960_100, "quiet", 2, 5 * SAMPLE_RATE)],
)
def test_verdicts_do_not_depend_on_blocks(
    monkeypatch: pytest.MonkeyPatch, seed: int, character: str, passes: int, longest: int
) -> None:
    """Blocks of half the length give the same flaws, spans, joins, places and notes."""
    session = trial_session(make_trial(seed, character=character, passes=passes, longest=longest))
    told = []
    for block in (1 << 17, 1 << 16):
        monkeypatch.setattr(comparison, "BLOCK_SAMPLES", block)
        told.append(told_of(align_session(session)))
    for part, rows in told[0].items():
        assert rows == told[1][part], part
