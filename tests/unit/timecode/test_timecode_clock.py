"""The clock fit on made logs whose truth is known: shifts, slopes, slips, and the words for them."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.timecode import (
    FRAME_RATES,
    ClockFit,
    FrameRate,
    MidiLog,
    TimecodePoints,
    decode_quarter_frames,
    encode_quarter_stream,
    fit_clock,
    parse_label,
)

SAMPLE_RATE = 48000
RATE = FRAME_RATES["30"]
SHIFT = 172816811
LATE = 1e-3


def make_points(
    seconds: float,
    *,
    seed: int = 0,
    ratio: float = 1.0,
    tick: float = 0.0,
    late: float = LATE,
    lost: tuple[float, int] | None = None,
) -> TimecodePoints:
    """Return points of a pass whose first sample is timeline sample `SHIFT`.

    Log seconds run `ratio` times as fast as the tape; messages are evenly late; times are rounded to ticks; at
    `lost[0]` seconds `lost[1]` samples are missing from the capture.
    """
    generator = np.random.default_rng(seed)
    quarters = np.arange(int(seconds * 120)) + -(-SHIFT * 120 // SAMPLE_RATE)
    elapsed = quarters / 120 - SHIFT / SAMPLE_RATE
    if lost is not None:
        elapsed = elapsed - np.where(elapsed > lost[0], lost[1] / SAMPLE_RATE, 0.0)
    times = (elapsed + generator.uniform(0.0, late, elapsed.size)) * ratio
    if tick:
        times = np.rint(times / tick) * tick
    return TimecodePoints(times, quarters / 4, 3, quarters.size, 0.0, tick, ())


def take(points: TimecodePoints, kept: np.typing.NDArray[np.bool_]) -> TimecodePoints:
    """Return some of the points."""
    return TimecodePoints(points.seconds[kept], points.frames[kept], 3, points.heard, 0.0, 0.0, ())


def kinds(fit: ClockFit) -> list[str]:
    """Return the kinds of the findings."""
    return [finding.kind for finding in fit.findings]


@pytest.mark.parametrize("seed", range(8))
def test_stated_interval_holds_the_shift(seed: int) -> None:
    """A minute with 1 ms of lateness places a pass far inside a sample, within four stated deviations."""
    fit = fit_clock(make_points(60, seed=seed), RATE, SAMPLE_RATE)
    (stretch,) = fit.stretches
    error = abs(stretch.shift_samples - SHIFT)
    assert fit.verdict == "locked"
    assert fit.rate_ratio == 1.0
    assert error < 0.25
    assert error < 4 * stretch.uncertainty_samples + 0.01
    assert kinds(fit) == []


def test_interval_is_not_boastful_nor_shy() -> None:
    """Over sixty seeded logs of 1 ms ticks the stated deviation is about the true one."""
    ratios = []
    for seed in range(60):
        points = make_points(20, seed=seed, tick=1e-3, late=1.3e-3)
        stretch = fit_clock(points, RATE, SAMPLE_RATE).stretches[0]
        ratios.append((stretch.shift_samples - SHIFT) / stretch.uncertainty_samples)
    assert 0.6 < float(np.sqrt(np.mean(np.square(ratios)))) < 1.4


def test_delay_is_subtracted() -> None:
    """A fixed delay of the interface makes messages late; naming it puts the pass back."""
    points = make_points(20)
    late = TimecodePoints(points.seconds + 0.6e-3, points.frames, 3, points.heard, 0.0, 0.0, ())
    fit = fit_clock(late, RATE, SAMPLE_RATE, delay_seconds=0.6e-3)
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.3)


def test_width_of_lateness_does_not_move_the_shift() -> None:
    """Two interfaces of different lateness place the pass alike: the prompt messages count, not the mean."""
    shifts = [
        fit_clock(make_points(30, late=late), RATE, SAMPLE_RATE).stretches[0].shift_samples
        for late in (0.3e-3, 2e-3)
    ]
    assert shifts[0] == pytest.approx(shifts[1], abs=0.3)


@pytest.mark.parametrize("samples", [0, 8])
def test_bell_shaped_lateness(samples: int) -> None:
    """Lateness without an edge still places passes alike; a slip shows, and none where there is none."""
    shifts = []
    for seed in range(12, 18):
        points = make_points(60, seed=seed, late=0.0, lost=(33.3, samples))
        times = points.seconds + np.random.default_rng(seed).normal(1.5e-3, 0.25e-3, points.seconds.size)
        fit = fit_clock(TimecodePoints(np.sort(times), points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
        assert len(fit.stretches) == (2 if samples else 1)
        shifts.append(fit.stretches[0].shift_samples)
    assert np.ptp(shifts) < 6


@pytest.mark.parametrize("off", [12e-3, -12e-3, -0.3e-3])
def test_strays_do_not_move_the_shift(off: float) -> None:
    """Three messages in a hundred much too late (or, in a broken log, too early) change next to nothing."""
    points = make_points(60)
    strays = np.random.default_rng(1).random(points.seconds.size) < 0.03
    moved = points.seconds + np.where(strays, off, 0.0)
    fit = fit_clock(TimecodePoints(moved, points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.3)
    assert len(fit.stretches) == 1


@pytest.mark.parametrize("ppm", [50, -120])
def test_log_clock_is_allowed_for(ppm: int) -> None:
    """The shift is the line's value at the pass's first sample, where both clocks agree, not its mean."""
    fit = fit_clock(make_points(300, ratio=1 + ppm * 1e-6), RATE, SAMPLE_RATE)
    (stretch,) = fit.stretches
    assert fit.verdict == "log-clock"
    assert fit.slope_ppm == pytest.approx(ppm, abs=0.05)
    assert stretch.shift_samples == pytest.approx(SHIFT, abs=0.5)
    assert kinds(fit) == ["log_clock"]


@pytest.mark.parametrize(
    ("ratio", "words", "advice"),
    [
        (44100 / 48000, "44.1 kHz material labelled 48 kHz", "set sample_rate = 44100"),
        (48000 / 44100, "48 kHz material labelled 44.1 kHz", "check the sheet's frame_rate and sample_rate"),
        (1.001, "pulled down by 1.001", "if the stripe is such, set frame_rate = 29.97 or 29.97df"),
        (
            1 / 1.001,
            "pulled up by 1.001: a clock fast by as much",
            "check the sheet's frame_rate and sample_rate",
        ),
    ],
)
def test_wrong_labels_are_named(ratio: float, words: str, advice: str) -> None:
    """A log at a known wrong rate is told by name, ratio and what to do, and placed where both clocks start."""
    fit = fit_clock(make_points(60, ratio=ratio), RATE, SAMPLE_RATE)
    assert fit.verdict == "relabel"
    assert fit.rate_ratio == pytest.approx(ratio, rel=2e-6)
    (finding,) = fit.findings
    assert finding.kind == "mislabelled"
    assert words in finding.text
    assert advice in finding.text
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.5)


def test_nominal_stripe_under_2997() -> None:
    """A stripe that runs at 29.97 under a sheet that says so is locked; under 30 it is pulled down."""
    points = make_points(60, ratio=1.001)
    true_rate = FRAME_RATES["29.97"]
    assert fit_clock(points, true_rate, SAMPLE_RATE).verdict == "locked"
    assert fit_clock(points, RATE, SAMPLE_RATE).verdict == "relabel"


def test_a_faster_stripe_is_named_by_its_rate() -> None:
    """A stripe of 30 under a sheet of 29.97 is pulled up, and the rate to set is told."""
    (finding,) = fit_clock(make_points(60), FRAME_RATES["29.97"], SAMPLE_RATE).findings
    assert "30 frames a second where the sheet says 29.97" in finding.text
    assert "set frame_rate = 30," in finding.text


@pytest.mark.parametrize(
    ("striped", "hint"), [("24", "striped with 24 frames a second and not 30"), ("", "")]
)
def test_another_speed_may_be_another_frame_rate(striped: str, hint: str) -> None:
    """A log at a speed that another frame rate would explain says so; one at any other speed does not."""
    ratio = 30 / float(FRAME_RATES[striped].exact) if striped else 1.3
    (finding,) = (
        one
        for one in fit_clock(make_points(60, ratio=ratio), RATE, SAMPLE_RATE).findings
        if one.kind == "not_clocked"
    )
    assert hint in finding.text
    assert ("correct frame_rate" in finding.text) == bool(striped)


@pytest.mark.parametrize("seconds", [0.6, 1.0, 1.1])
def test_a_short_log_is_not_said_to_drift(seconds: float) -> None:
    """Over a second or less, a millisecond of lateness looks like a thousandth of speed, and is not taken for it."""
    fits = [fit_clock(make_points(seconds, seed=seed), RATE, SAMPLE_RATE) for seed in range(20)]
    assert {fit.verdict for fit in fits} <= {"locked", "short"}
    assert all(abs(fit.stretches[0].shift_samples - SHIFT) < 16 for fit in fits)


def test_a_short_log_tells_a_mislabelled_rate() -> None:
    """A second is enough to tell material of 44.1 kHz that is labelled 48 kHz."""
    fit = fit_clock(make_points(1.0, ratio=44100 / 48000), RATE, SAMPLE_RATE)
    assert fit.verdict == "relabel"
    assert fit.rate_ratio == pytest.approx(44100 / 48000, abs=2e-3)


@pytest.mark.parametrize(("ratio", "speed"), [(2.0, "0.50"), (0.5, "2.00"), (1 / 0.98, "0.98")])
def test_another_speed_is_told_as_such(ratio: float, speed: str) -> None:
    """A tape played at another speed is told with that speed and with what to do, not in millionths."""
    fit = fit_clock(make_points(20, ratio=ratio, late=1e-4), RATE, SAMPLE_RATE)
    (told,) = (finding.text for finding in fit.findings if finding.kind == "not_clocked")
    assert fit.verdict == "drifting"
    assert f"played at {speed} times its speed" in told
    assert "If the tape can stand another play, capture it again at play speed" in told
    assert "ppm" not in told


def test_a_clock_off_by_less_than_a_speed_is_told_in_millionths() -> None:
    """Half a percent is a free-running clock, told in ppm."""
    fit = fit_clock(make_points(20, ratio=1.005), RATE, SAMPLE_RATE)
    (told,) = (finding.text for finding in fit.findings if finding.kind == "not_clocked")
    assert "runs +5000 ppm off" in told


def test_free_running_capture_is_drifting() -> None:
    """A rate that is neither the tape's nor a known wrong one means: not clocked from the tape."""
    fit = fit_clock(make_points(60, ratio=1.0006), RATE, SAMPLE_RATE)
    assert fit.verdict == "drifting"
    assert kinds(fit) == ["not_clocked"]
    assert fit.stretches[0].uncertainty_samples > 600e-6 * 30 * SAMPLE_RATE


def test_gentle_wander_is_no_slip() -> None:
    """A log's clock that warms up, a third of a millisecond in two minutes, makes no slips."""
    points = make_points(120)
    wander = 0.3e-3 * np.exp(-points.seconds / 40)
    fit = fit_clock(
        TimecodePoints(points.seconds + wander, points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE
    )
    (stretch,) = fit.stretches
    assert abs(stretch.shift_samples - SHIFT) < 20
    assert stretch.uncertainty_samples > 0.5


def test_wandering_clock_is_no_slip() -> None:
    """A slow wander by 20 ms is told as such, not as slips, and the uncertainty owns up to it."""
    points = make_points(120)
    wander = 0.01 * np.sin(points.seconds / 120 * 2 * np.pi)
    fit = fit_clock(
        TimecodePoints(points.seconds + wander, points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE
    )
    assert fit.verdict == "drifting"
    assert len(fit.stretches) == 1
    assert fit.stretches[0].uncertainty_samples > 100


@pytest.mark.parametrize("samples", [8, -8, 64, 700])
@pytest.mark.parametrize("tick", [0.0, 1 / 1920, 1e-3])
def test_slip_is_found(samples: int, tick: float) -> None:
    """Samples lost (or repeated) inside a pass change the shift: found within half a second, with size."""
    fit = fit_clock(make_points(60, seed=3, lost=(33.3, samples), tick=tick), RATE, SAMPLE_RATE)
    before, after = fit.stretches
    assert after.log_start == pytest.approx(33.3, abs=0.5)
    assert after.shift_samples - before.shift_samples == pytest.approx(samples, abs=3)
    (finding,) = [finding for finding in fit.findings if finding.kind == "slip"]
    assert ("lost" if samples > 0 else "repeated") in finding.text
    assert fit.verdict == "locked"


@pytest.mark.parametrize("slips", [((7.8, -10), (17.8, -10)), ((11.0, 57), (14.9, 95), (20.2, -299))])
def test_several_slips_are_no_wander(slips: tuple[tuple[float, int], ...]) -> None:
    """Two or three slips bend the log like an unsteady clock; each is told, and the clock is not blamed."""
    points = make_points(27, seed=5, late=LATE / 2)
    lost = sum(np.where(points.seconds > at, samples / SAMPLE_RATE, 0.0) for at, samples in slips)
    slipped = TimecodePoints(points.seconds - lost, points.frames, 3, points.heard, 0.0, 0.0, ())
    fit = fit_clock(slipped, RATE, SAMPLE_RATE)
    assert kinds(fit) == ["slip"] * len(slips)
    shifts = [stretch.shift_samples for stretch in fit.stretches]
    assert np.diff(shifts) == pytest.approx([samples for _, samples in slips], abs=2.0)


@pytest.mark.parametrize("tick", [1 / 1920, 1e-3])
def test_slip_place_under_coarse_ticks(tick: float) -> None:
    """Fifteen slips of eight samples under coarse ticks are found, half of them within 0.15 s, nearly all in 0.5 s.

    Not all: who knew both shifts and all about lateness would miss that in one of a hundred or more under 1 ms ticks.
    """
    places = []
    for seed in range(20, 35):
        fit = fit_clock(make_points(60, seed=seed, lost=(33.3, 8), tick=tick), RATE, SAMPLE_RATE)
        assert len(fit.stretches) == 2
        places.append(abs(fit.stretches[1].log_start - 33.3))
    assert np.count_nonzero(np.array(places) < 0.5) >= 13
    assert np.median(places) < 0.15
    assert max(places) < 0.8


def test_doubt_of_a_slips_place_is_told() -> None:
    """Where coarse ticks hide the place of a small slip, its finding says how much; a clear one needs no word."""
    texts = [
        fit_clock(make_points(60, seed=25, lost=(33.3, samples), tick=1e-3), RATE, SAMPLE_RATE)
        .findings[0]
        .text
        for samples in (8, 64)
    ]
    assert "its place is known to 0." in texts[0]
    assert "place" not in texts[1]


def test_slip_under_a_foreign_log_clock() -> None:
    """A slip is told from the slope of the log's own clock."""
    fit = fit_clock(make_points(120, ratio=1 + 80e-6, lost=(50.0, 40)), RATE, SAMPLE_RATE)
    before, after = fit.stretches
    assert after.shift_samples - before.shift_samples == pytest.approx(40, abs=1)
    assert before.shift_samples == pytest.approx(SHIFT, abs=1)
    assert fit.verdict == "log-clock"


def test_clean_passes_have_no_slips() -> None:
    """Twelve clean passes, of exact and of coarse clocks, stay in one stretch."""
    for seed in range(12):
        tick = (0.0, 1 / 1920, 1e-3, 1 / 19200)[seed % 4]
        assert len(fit_clock(make_points(60, seed=seed, tick=tick), RATE, SAMPLE_RATE).stretches) == 1


def test_gap_is_told() -> None:
    """Where messages are missing while the tape runs on, the pass stays in one stretch."""
    points = make_points(60)
    fit = fit_clock(take(points, (points.seconds < 20) | (points.seconds > 25)), RATE, SAMPLE_RATE)
    (finding,) = fit.findings
    assert finding.kind == "timecode_gap"
    assert finding.seconds == pytest.approx(20, abs=0.02)
    assert "5.0" in finding.text
    assert fit.missing_share == pytest.approx(5 / 60, abs=0.002)
    assert len(fit.stretches) == 1


def test_jump_is_told() -> None:
    """Timecode that jumps without a pause means that the tape was cut: two shifts, the size told."""
    points = make_points(60)
    frames = points.frames + np.where(points.seconds > 30, 90.0, 0.0)
    fit = fit_clock(TimecodePoints(points.seconds, frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    before, after = fit.stretches
    assert after.shift_samples - before.shift_samples == pytest.approx(90 * 1600, abs=1)
    (finding,) = fit.findings
    assert finding.kind == "timecode_jump"
    assert "+90.0" in finding.text


def play_count(counted: FrameRate, sheet: FrameRate, label: str, seconds: float) -> ClockFit:
    """Return the fit of a stripe that counts one way, read by a sheet that says another."""
    first = parse_label(label, counted)
    count = round(4 * seconds * float(counted.exact)) // 8 * 8
    data = encode_quarter_stream(4 * first, count, counted, first_reading=first)
    late = np.random.default_rng(3).uniform(0.0, 1e-3, count)
    log = MidiLog(np.arange(count) / (4 * float(counted.exact)) + late, data, (), 0, ())
    return fit_clock(decode_quarter_frames(log, sheet), sheet, SAMPLE_RATE)


@pytest.mark.parametrize(("sheet", "counted"), [("29.97", "29.97df"), ("29.97df", "29.97")])
@pytest.mark.parametrize("label", ["01:07:50:00", "23:57:50:00"])
def test_jumps_that_a_wrong_count_explains_are_not_told(sheet: str, counted: str, label: str) -> None:
    """Four minutes of another count than the sheet's jump by two frames at each minute but the tenth: told once."""
    fit = play_count(FRAME_RATES[counted], FRAME_RATES[sheet], label, 255)
    (finding,) = [finding for finding in fit.findings if finding.kind != "unread"]
    assert finding.kind == "count"
    assert "at the starts of" in finding.text
    assert len(fit.stretches) > 2


def test_other_jumps_beside_a_wrong_count_are_told() -> None:
    """A tape that was cut is told beside a wrong count, also where two frames are gone amid a minute."""
    counted, sheet = FRAME_RATES["29.97df"], FRAME_RATES["29.97"]
    parts = []
    for label, frames in (("01:00:50:00", 600), ("01:01:10:04", 600), ("01:01:30:06", 1200)):
        first = parse_label(label, counted)
        parts.append(encode_quarter_stream(4 * first, 4 * frames, counted, first_reading=first))
    # The first goes on to 01:01:10:02, the second to 01:01:30:04, the third over 01:02:00.
    data = np.concatenate(parts)
    log = MidiLog(np.arange(data.size) / (4 * float(counted.exact)), data, (), 0, ())
    fit = fit_clock(decode_quarter_frames(log, sheet), sheet, SAMPLE_RATE)
    told = [finding for finding in fit.findings if finding.kind == "timecode_jump"]
    assert [round(finding.seconds or 0.0, 1) for finding in told] == [20.0, 40.0]
    assert all("+2.00 frames" in finding.text for finding in told)


def test_jumps_without_a_proof_are_told() -> None:
    """Two frames lost at the start of a minute, under a count that nothing contradicts, are a jump like any other."""
    points = make_points(60)
    # SHIFT lies off a minute: what jumps is the place by the sheet, from one minute to the next.
    begun = np.floor(points.frames / 1800) > np.floor(points.frames[0] / 1800)
    assert begun.any()
    assert not begun.all()
    frames = points.frames + np.where(begun, 2.0, 0.0)
    fit = fit_clock(TimecodePoints(points.seconds, frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    assert kinds(fit) == ["timecode_jump"]


def test_a_pause_over_a_minute_of_a_wrong_count_is_a_gap() -> None:
    """Timecode missing around a minute that moves places by two frames is missing; the machine did not stop."""
    counted, sheet = FRAME_RATES["29.97df"], FRAME_RATES["29.97"]
    first = parse_label("01:00:50:00", counted)
    count = 8 * 1500
    data = encode_quarter_stream(4 * first, count, counted, first_reading=first)
    seconds = np.arange(count) / (4 * float(counted.exact))
    kept = (seconds < 65) | (seconds > 75)
    fit = fit_clock(
        decode_quarter_frames(MidiLog(seconds[kept], data[kept], (), 0, ()), sheet), sheet, SAMPLE_RATE
    )
    assert sorted(kinds(fit)) == ["count", "timecode_gap"]
    (gap,) = [finding for finding in fit.findings if finding.kind == "timecode_gap"]
    assert "no timecode for 10.0" in gap.text


def test_restart_is_told() -> None:
    """A machine that stops, winds back and starts again is told from a jump by its pause."""
    points = make_points(60)
    later = points.seconds > 30
    times = points.seconds + np.where(later, 4.0, 0.0)
    frames = points.frames - np.where(later, 300.0, 0.0)
    fit = fit_clock(TimecodePoints(times, frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    before, after = fit.stretches
    assert after.shift_samples - before.shift_samples == pytest.approx(-14 * SAMPLE_RATE, abs=1)
    assert kinds(fit) == ["restart"]


def test_held_up_messages_are_no_jump() -> None:
    """Messages held up for a moment and then let go in one burst are left out; the pass stays whole."""
    points = make_points(60)
    times = points.seconds.copy()
    times[3000:3010] = times[3010]
    fit = fit_clock(TimecodePoints(times, points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    assert len(fit.stretches) == 1
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.3)


def test_half_a_second_of_late_messages_is_no_slip() -> None:
    """A busy moment in which all messages come later leaves the pass whole."""
    points = make_points(60)
    times = points.seconds.copy()
    times[3000:3060] += 0.7e-3
    fit = fit_clock(TimecodePoints(np.sort(times), points.frames, 3, 1, 0.0, 0.0, ()), RATE, SAMPLE_RATE)
    assert len(fit.stretches) == 1
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.3)


@pytest.mark.parametrize("phase", range(0, 25, 2))
def test_coarse_ticks_at_any_phase(phase: int) -> None:
    """Where every message has the same place between two ticks, the stated deviation tells what that hides."""
    points = make_points(60, seed=phase)
    tick = 1 / 1920
    times = np.rint((points.seconds + phase / SAMPLE_RATE) / tick) * tick
    fit = fit_clock(TimecodePoints(times, points.frames, 3, 1, 0.0, tick, ()), RATE, SAMPLE_RATE)
    (stretch,) = fit.stretches
    assert abs(stretch.shift_samples + phase - SHIFT) < min(3.5 * stretch.uncertainty_samples, 12)


def test_one_reading_is_short() -> None:
    """Eight messages place a pass, roughly and with that said, but cannot tell its speed."""
    fit = fit_clock(make_points(8 / 120), RATE, SAMPLE_RATE)
    (stretch,) = fit.stretches
    assert fit.verdict == "short"
    assert abs(stretch.shift_samples - SHIFT) < 4 * stretch.uncertainty_samples < 100


def test_log_may_begin_before_the_audio() -> None:
    """Points before the pass's first sample count like any others."""
    points = make_points(30)
    early = TimecodePoints(points.seconds - 10, points.frames, 3, 1, 0.0, 0.0, ())
    fit = fit_clock(early, RATE, SAMPLE_RATE)
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT + 480000, abs=0.3)


def test_exact_times_without_lateness() -> None:
    """A made log without any lateness fits too, to a small part of a sample."""
    fit = fit_clock(make_points(10, late=0.0), RATE, SAMPLE_RATE)
    assert fit.stretches[0].shift_samples == pytest.approx(SHIFT, abs=0.1)
    assert len(fit.stretches) == 1


@pytest.mark.parametrize("seconds", [10, 60])
@pytest.mark.parametrize("ratio", [1.0, 1.00004])
def test_residuals_are_what_messages_are_late_by(seconds: float, ratio: float) -> None:
    """Each column holds the least and the most lateness that its messages were made with, and begins where they do."""
    lost = (seconds / 2, 300)
    fit = fit_clock(make_points(seconds, seed=3, ratio=ratio, lost=lost), RATE, SAMPLE_RATE)
    plain = make_points(seconds, ratio=ratio, late=0.0, lost=lost).seconds / ratio
    late = make_points(seconds, seed=3, ratio=ratio, lost=lost).seconds / ratio - plain
    assert 0 < len(fit.residuals) <= 400
    assert [one.sample for one in fit.residuals] == sorted({one.sample for one in fit.residuals})
    starts = np.searchsorted((plain + late) * SAMPLE_RATE, [one.sample - 1 for one in fit.residuals])
    assert starts[0] == 0
    assert len(fit.stretches) == 2
    allowed = 4 * max(one.uncertainty_samples for one in fit.stretches) + 1
    # A slip may be placed a message or two off: the columns at its border hold another stretch's.
    pairs = list(zip(fit.residuals, np.split(late, starts[1:]), strict=True))
    slip = int(np.argmin([abs(one.sample - SAMPLE_RATE * seconds / 2) for one in fit.residuals]))
    for one, made in pairs[: slip - 1] + pairs[slip + 2 :]:
        assert one.low == pytest.approx(made.min() * SAMPLE_RATE, abs=allowed)
        assert one.high == pytest.approx(made.max() * SAMPLE_RATE, abs=allowed)


def test_residuals_are_few_however_often_a_log_jumps() -> None:
    """A log of hundreds of stretches has no more columns than any other."""
    points = make_points(120)
    jumps = np.arange(points.seconds.size) // 20 % 2 * 40.0
    jumping = TimecodePoints(points.seconds, points.frames + jumps, 3, points.heard, 0.0, 0.0, ())
    fit = fit_clock(jumping, RATE, SAMPLE_RATE)
    assert len(fit.stretches) > 400
    assert 100 < len(fit.residuals) <= 400
