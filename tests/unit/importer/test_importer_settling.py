"""Places settled from all logs of a session, and how far around them sound is looked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from assembler.importer import Position, search_doubt
from assembler.importer.places.settling import LoggedClock, settle_positions
from assembler.sheet import Session
from assembler.timecode import FRAME_RATES, ClockDraft, TimecodePoints, draft_clock, fit_clock

SAMPLE_RATE = 48000
SESSION = Session(title="Fen carols", sample_rate=SAMPLE_RATE, bit_depth=16, frame_rate="30")
TICK = 1e-3


def make_points(seed: int) -> TimecodePoints:
    """Return points of a minute, up to a millisecond late, in millisecond ticks."""
    generator = np.random.default_rng(seed)
    quarters = np.arange(7200) + 3600 * 120
    times = quarters / 120 - 3600 + generator.uniform(0.01, 0.05) + generator.uniform(0.0, 1e-3, 7200)
    return TimecodePoints(np.rint(times / TICK) * TICK, quarters / 4, 3, 7200, 0.0, TICK, ())


def make_draft(seed: int) -> ClockDraft:
    """Return the clock of such a log."""
    return draft_clock(make_points(seed), FRAME_RATES["30"], SAMPLE_RATE)


def test_midi_logs_are_settled_together_and_stripes_alone() -> None:
    """Two MIDI logs come to share a width; what is taken for a stripe keeps the one it has by itself."""
    drafts = [make_draft(seed) for seed in range(3)]
    kinds = ("mtc", "ltc", "mtc")
    found = [LoggedClock(kind, draft, 0) for kind, draft in zip(kinds, drafts, strict=True)]
    clocks = [one.clock for one in settle_positions(found, SESSION) if one.clock is not None]
    alone = fit_clock(make_points(1), FRAME_RATES["30"], SAMPLE_RATE)
    assert clocks[0].jitter_seconds == clocks[2].jitter_seconds
    assert clocks[1] == alone


def test_places_without_a_log_stay_as_they_are() -> None:
    """A pass placed by hand keeps its place among those with logs, each in its own order."""
    by_hand = Position("start", 1234.0, 800.0)
    placed = settle_positions([by_hand, LoggedClock("mtc", make_draft(4), 480)], SESSION)
    assert placed[0] is by_hand
    assert placed[1].source == "mtc"
    assert placed[1].clock is not None
    assert placed[1].shift == placed[1].clock.stretches[0].shift_samples + 480


def test_search_reaches_as_far_as_ticks_hide() -> None:
    """Sound is looked for within six deviations and half a tick of each log."""
    (logged,) = settle_positions([LoggedClock("mtc", make_draft(5), 0)], SESSION)
    without = replace(logged, clock=None)
    assert search_doubt(without, without) == pytest.approx(6 * np.sqrt(2) * logged.uncertainty_samples)
    assert search_doubt(logged, without) - search_doubt(without, without) == pytest.approx(24)
    assert search_doubt(logged, logged) - search_doubt(without, without) == pytest.approx(48)
