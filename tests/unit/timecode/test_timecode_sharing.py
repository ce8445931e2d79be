"""Logs settled together: what one interface's lateness hides moves all passes alike, and other interfaces' none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.timecode import FRAME_RATES, ClockDraft, TimecodePoints, draft_clock, settle_clocks
from assembler.timecode.clock.lateness.pools import find_pools

if TYPE_CHECKING:
    from assembler.arrays import Float64s

SAMPLE_RATE = 48000
RATE = FRAME_RATES["30"]
MILLISECOND = 1e-3
# 960 ticks a beat at 120 beats a minute: at 30 frames every quarter frame has the same place between two ticks.
LOCKED_TICK = 1 / 1920


@dataclass(frozen=True)
class Trial:
    """A draft of a pass whose shift is known."""

    draft: ClockDraft
    shift: float


@dataclass(frozen=True)
class Kind:
    """What a log is like: messages `late` by up to so many seconds, times rounded to ticks, samples lost."""

    tick: float = 0.0
    late: float = MILLISECOND
    seconds: float = 60
    ratio: float = 1.0
    lost: tuple[float, int] | None = None
    spread: str = "even"


def make_trial(generator: np.random.Generator, kind: Kind) -> Trial:
    """Return a pass that begins anywhere between two samples."""
    shift = 3600.0 - generator.uniform(0.0, 0.05)
    quarters = np.arange(int(kind.seconds * 120)) + 3600 * 120
    elapsed = quarters / 120 - shift
    if kind.lost is not None:
        elapsed = elapsed - np.where(elapsed > kind.lost[0], kind.lost[1] / SAMPLE_RATE, 0.0)
    times = (elapsed + make_lateness(generator, kind, quarters.size)) * kind.ratio
    if kind.tick:
        times = np.rint(times / kind.tick) * kind.tick
    points = TimecodePoints(np.sort(times), quarters / 4, 3, quarters.size, 0.0, kind.tick, ())
    return Trial(draft_clock(points, RATE, SAMPLE_RATE), shift * SAMPLE_RATE)


def make_lateness(generator: np.random.Generator, kind: Kind, count: int) -> Float64s:
    """Return how late each message comes."""
    if kind.spread == "bell":
        return generator.normal(1.5 * kind.late, kind.late / 4, count)
    if kind.spread == "exponential":
        return generator.exponential(0.3 * kind.late, count)
    return generator.uniform(0.0, kind.late, count)


def place_pairs(pairs: int, kind: Kind) -> tuple[Float64s, Float64s]:
    """Return the errors of second passes against first ones, and the deviations that the fits state for them."""
    generator = np.random.default_rng(5)
    errors, stated = [], []
    for _ in range(pairs):
        first, second = make_trial(generator, kind), make_trial(generator, kind)
        one, two = (fit.stretches[0] for fit in settle_clocks([first.draft, second.draft]))
        errors.append(two.shift_samples - second.shift - one.shift_samples + first.shift)
        stated.append(np.hypot(one.apart_samples, two.apart_samples))
    return np.abs(errors), np.array(stated)


@pytest.mark.parametrize("tick", [MILLISECOND, LOCKED_TICK])
def test_coarse_ticks_place_two_reels_to_the_sample(tick: float) -> None:
    """With coarse ticks two reels lie within one sample of their distance in 95 % of trials, within two in all."""
    errors, stated = place_pairs(40, Kind(tick))
    assert np.quantile(errors, 0.95) < 1
    assert errors.max() < 2
    # Forty fair trials hold the truth in fewer than 86 % once in a hundred times.
    assert np.mean(errors < 1.96 * stated) > 0.86
    assert np.sqrt(np.mean((errors / stated) ** 2)) > 0.6


@pytest.mark.parametrize("spread", ["bell", "exponential"])
def test_soft_lateness_places_two_reels_to_the_sample(spread: str) -> None:
    """Lateness without a clear edge places two reels against each other, within what is stated."""
    errors, stated = place_pairs(5, Kind(spread=spread))
    assert errors.max() < 1
    assert np.all(errors < 3.5 * stated)
    assert np.sqrt(np.mean((errors / stated) ** 2)) > 0.4


def test_width_of_one_interface_is_known_from_all_passes() -> None:
    """Passes that share a width are stated to lie surer against each other than on the timeline."""
    generator = np.random.default_rng(6)
    trials = [make_trial(generator, Kind(tick=LOCKED_TICK)) for _ in range(5)]
    together = settle_clocks([trial.draft for trial in trials])
    alone = [settle_clocks([trial.draft])[0] for trial in trials]
    assert len({fit.jitter_seconds for fit in together}) == 1
    for one, own in zip(together, alone, strict=True):
        assert one.stretches[0].apart_samples < one.stretches[0].uncertainty_samples
        assert one.stretches[0].uncertainty_samples < own.stretches[0].uncertainty_samples
        assert own.stretches[0].apart_samples == own.stretches[0].uncertainty_samples


@pytest.mark.parametrize("tick", [MILLISECOND, LOCKED_TICK])
def test_other_interfaces_keep_their_own_width(tick: float) -> None:
    """Passes of two interfaces, 1 and 1.4 ms late, form two pools, and each pass lies where it lay by itself."""
    generator = np.random.default_rng(7)
    lates = [late * MILLISECOND for late in (1.0, 1.4, 1.0, 1.4, 1.0, 1.4)]
    trials = [make_trial(generator, Kind(tick=tick, late=late)) for late in lates]
    pools = find_pools([trial.draft.line.logged for trial in trials])
    assert sorted(sorted(pool.members) for pool in pools) == [[0, 2, 4], [1, 3, 5]]
    fits = settle_clocks([trial.draft for trial in trials])
    for fit, trial, late in zip(fits, trials, lates, strict=True):
        assert fit.jitter_seconds == pytest.approx(late, rel=0.06)
        assert abs(fit.stretches[0].shift_samples - trial.shift) < 3.5 * fit.stretches[0].uncertainty_samples


def test_other_ticks_are_not_pooled() -> None:
    """Logs of 1000 and of 1024 ticks a second are settled apart."""
    generator = np.random.default_rng(8)
    trials = [make_trial(generator, Kind(tick=tick)) for tick in (MILLISECOND, 1 / 1024, MILLISECOND)]
    pools = find_pools([trial.draft.line.logged for trial in trials])
    assert sorted(sorted(pool.members) for pool in pools) == [[0, 2], [1]]


def test_short_pass_takes_the_width_of_the_others() -> None:
    """Three seconds that cannot tell a width by themselves are placed by that of the long passes."""
    generator = np.random.default_rng(9)
    long = [make_trial(generator, Kind(tick=LOCKED_TICK)) for _ in range(3)]
    errors = []
    for _ in range(10):
        short = make_trial(generator, Kind(tick=LOCKED_TICK, seconds=3))
        fits = settle_clocks([*(trial.draft for trial in long), short.draft])
        apart = [
            fit.stretches[0].shift_samples - trial.shift
            for fit, trial in zip(fits, [*long, short], strict=True)
        ]
        errors.append(apart[-1] - np.mean(apart[:-1]))
    assert np.max(np.abs(errors)) < 5


def test_foreign_log_clock_shares_the_width() -> None:
    """A pass whose log ran 50 ppm fast lies right against one whose log was locked."""
    generator = np.random.default_rng(10)
    for _ in range(4):
        locked = make_trial(generator, Kind(tick=MILLISECOND))
        fast = make_trial(generator, Kind(tick=MILLISECOND, seconds=120, ratio=1 + 50e-6))
        one, two = settle_clocks([locked.draft, fast.draft])
        assert two.verdict == "log-clock"
        apart = one.stretches[0].shift_samples - locked.shift - two.stretches[0].shift_samples + fast.shift
        assert abs(apart) < 2


def test_order_of_passes_does_not_matter() -> None:
    """The same passes in another order lie at the same places."""
    generator = np.random.default_rng(11)
    drafts = [
        make_trial(generator, Kind(tick=MILLISECOND, late=late)).draft
        for late in (1e-3, 1.5e-3, 1e-3, 1.5e-3)
    ]
    places = [fit.stretches[0].shift_samples for fit in settle_clocks(drafts)]
    turned = [fit.stretches[0].shift_samples for fit in settle_clocks(drafts[::-1])]
    assert places == pytest.approx(turned[::-1], abs=1e-3)


def test_no_logs_are_no_fits() -> None:
    """A session without logs has nothing to settle."""
    assert settle_clocks([]) == []


def test_slip_size_is_sure_where_the_width_is_not() -> None:
    """Both sides of a slip share one width: its size is stated surer than the place of either side."""
    generator = np.random.default_rng(12)
    trial = make_trial(generator, Kind(tick=LOCKED_TICK, lost=(30.0, 64)))
    (fit,) = settle_clocks([trial.draft])
    before, after = fit.stretches
    doubt = np.hypot(before.apart_samples, after.apart_samples)
    assert abs(after.shift_samples - before.shift_samples - 64) < 3.5 * doubt
    assert doubt < np.hypot(before.uncertainty_samples, after.uncertainty_samples)
