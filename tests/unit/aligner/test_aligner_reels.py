"""The passes of a reel on the timeline: whose slip it is, and what a log's error does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from assembler.aligner.place.reels.reel import PlacedReel, place_reel
from assembler.aligner.records.timemap import Slip, Stretch
from assembler.importer import CoarseSlip, Position
from assembler.timecode import ClockFit, ClockStretch
from scripts.bench.trial_sessions import ArrayAudio, make_tape

SECOND = 48_000
DENSE = make_tape("dense", 16, 6 * SECOND, np.random.default_rng(6))
AT, LOST = 140_000, 300


@dataclass(frozen=True)
class _Pass:
    name: str
    audio: ArrayAudio
    position: Position


def _pass(name: str, samples: object, shift: float, *slips: CoarseSlip) -> _Pass:
    return _Pass(name, ArrayAudio(np.asarray(samples)), Position("mtc", shift, 20.0, slips))


def _slipped() -> object:
    return np.concatenate((DENSE[:, :AT], DENSE[:, AT + LOST :]), axis=1)


def _slips(placed: PlacedReel, name: str) -> tuple[Slip, ...]:
    return placed.maps[name].slips()


def test_a_log_may_be_off_by_some_milliseconds() -> None:
    """The trusted pass keeps its log's place; the other one is moved to where the samples are the same."""
    placed = place_reel([_pass("one", DENSE, 5000.0), _pass("two", DENSE[:, 9000:], 14_480.0)], SECOND)
    assert placed.maps["one"].stretches == (Stretch(0, DENSE.shape[1], 5000),)
    assert placed.maps["two"].stretches == (Stretch(0, DENSE.shape[1] - 9000, 14_000),)


def test_a_loop_is_not_placed_one_bar_off() -> None:
    """Of places that repeat exactly, half a second apart, the one that timecode means is taken."""
    loop = make_tape("loop", 16, 6 * SECOND, np.random.default_rng(7))
    placed = place_reel([_pass("one", loop, 0.0), _pass("two", loop[:, 50_000:100_000], 50_480.0)], SECOND)
    assert placed.maps["two"].start == 50_000


def test_two_others_outvote_the_trusted_pass() -> None:
    """A slip that both other passes see is the trusted pass's own, and all three lie where the tape has them."""
    placed = place_reel(
        [_pass("one", _slipped(), 0.0), _pass("two", DENSE, 30.0), _pass("three", DENSE, -70.0)], SECOND
    )
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == _slips(placed, "three") == ()
    assert {placed.maps[name].start for name in ("one", "two", "three")} == {0}


def test_repeats_of_the_trusted_pass_are_outvoted_too() -> None:
    """The same holds where the trusted pass repeated more samples than an anchor is long."""
    repeated = np.concatenate((DENSE[:, :AT], DENSE[:, AT - 2400 :]), axis=1)
    placed = place_reel(
        [_pass("one", repeated, 0.0), _pass("two", DENSE, 30.0), _pass("three", DENSE, -70.0)], SECOND
    )
    (slip,) = _slips(placed, "one")
    assert slip.samples == -2400
    assert AT - 2400 <= slip.pass_sample <= AT
    assert _slips(placed, "two") == _slips(placed, "three") == ()


def test_a_log_tells_whose_slip_it_is() -> None:
    """Of two passes the one whose log shows the slip, nearly, has it; size and place come from the audio."""
    logged = _pass("one", _slipped(), 0.0, CoarseSlip(AT + 7000, LOST - 5, 12.0))
    placed = place_reel([logged, _pass("two", DENSE, 30.0)], SECOND)
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == ()
    assert not [note for note in placed.notes if note.kind == "undecided"]


@pytest.mark.parametrize("samples", [1, 300, -1, -300])
@pytest.mark.parametrize("name", ["one", "two"])
def test_the_sound_tells_whose_slip_it_is(samples: int, name: str) -> None:
    """Without a third pass and a log: what one pass has more stands twice in it, or is lost by the other one."""
    slipped = np.concatenate((DENSE[:, :AT], DENSE[:, AT + samples :]), axis=1)
    held = {"one": DENSE, "two": DENSE} | {name: slipped}
    placed = place_reel([_pass("one", held["one"], 0.0), _pass("two", held["two"], 30.0)], SECOND)
    (slip,) = _slips(placed, name)
    assert slip.samples == samples
    assert AT + min(0, samples) <= slip.pass_sample <= AT
    assert _slips(placed, "two" if name == "one" else "one") == ()
    assert placed.notes == ()


def test_the_sound_tells_more_than_a_log() -> None:
    """A log that shows a like slip in the other pass does not move it there."""
    logged = _pass("two", DENSE, 30.0, CoarseSlip(AT, -LOST, 12.0))
    placed = place_reel([_pass("one", _slipped(), 0.0), logged], SECOND)
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == ()


def test_where_nothing_tells_the_trusted_pass_is_believed_and_the_place_told() -> None:
    """Without a log or a third pass, and in a mute, the slip goes to the less trusted pass, as undecided."""
    slipped = np.array(_slipped())
    slipped[:, AT - 800 : AT + 800] = 0
    placed = place_reel([_pass("one", slipped, 0.0), _pass("two", DENSE, 30.0)], SECOND)
    assert _slips(placed, "one") == ()
    assert [slip.samples for slip in _slips(placed, "two")] == [-LOST]
    assert [note.kind for note in placed.notes] == ["undecided"]


@pytest.mark.parametrize("lost", [LOST, -LOST])
def test_a_slip_beside_a_flaw_of_the_trusted_pass_is_placed_by_a_third(lost: int) -> None:
    """Where the trusted pass is flawed on all tracks, a third one shows to the sample where another slipped."""
    noise = np.random.default_rng(4)
    tape = noise.integers(-9000, 9000, DENSE.shape, dtype=np.int32) << 16
    flawed = np.array(tape)
    flawed[:, AT - 3000 : AT + 3000] = noise.integers(-9000, 9000, 6000) << 16
    slipped = np.concatenate((tape[:, :AT], tape[:, AT + lost :]), axis=1)
    placed = place_reel(
        [_pass("one", flawed, 0.0), _pass("two", slipped, 30.0), _pass("three", tape, -70.0)], SECOND
    )
    assert _slips(placed, "one") == _slips(placed, "three") == ()
    (slip,) = _slips(placed, "two")
    assert slip.samples == lost
    assert AT + min(0, lost) <= slip.pass_sample <= AT
    assert sum(end - start for start, end in placed.maps["two"].doubtful) <= 2 * abs(lost) + 8


@pytest.mark.parametrize("slipped", ["one", "two"])
def test_samples_captured_twice_are_found_beside_a_flaw_of_the_other_pass(slipped: str) -> None:
    """Where the other pass is flawed on all tracks, the copies themselves show where and whose the slip is."""
    quiet = make_tape("quiet", 24, 6 * SECOND, np.random.default_rng(9))
    held = {"one": np.array(quiet), "two": np.array(quiet)}
    flawed = held["two" if slipped == "one" else "one"]
    flawed[:, AT - 3000 : AT + 3000] = 0
    held[slipped] = np.concatenate((quiet[:, :AT], quiet[:, AT - 7 :]), axis=1)
    placed = place_reel([_pass("one", held["one"], 0.0), _pass("two", held["two"], 30.0)], SECOND)
    (slip,) = _slips(placed, slipped)
    assert slip.samples == -7
    assert AT - 8 <= slip.pass_sample <= AT
    assert placed.notes == ()


def test_a_witness_counts_only_where_it_is_proved() -> None:
    """A pass that ends just behind the slip does not speak against what the other pass and the log say."""
    logged = _pass("one", _slipped(), 0.0, CoarseSlip(AT, LOST, 12.0))
    short = _pass("three", DENSE[:, : AT + LOST + 500], 0.0)
    placed = place_reel([logged, _pass("two", DENSE, 30.0), short], SECOND)
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == ()


def test_a_pass_of_other_sound_is_refused() -> None:
    """A pass whose sound is not the reel's where their timecode overlaps is not used, and that is told."""
    other = make_tape("dense", 16, 3 * SECOND, np.random.default_rng(8))
    placed = place_reel([_pass("one", DENSE, 0.0), _pass("two", other, 1000.0)], SECOND)
    assert placed.refused == ("two",)
    assert [note.kind for note in placed.notes] == ["retake_refused"]


def test_a_retake_of_one_second_is_placed() -> None:
    """A second of audio is enough, also where half of it is flawed."""
    retake = DENSE[:, 100_000 : 100_000 + SECOND].copy()
    retake[:, 5000:28_000] = 0
    placed = place_reel([_pass("one", DENSE, 0.0), _pass("two", retake, 99_600.0)], SECOND)
    assert placed.maps["two"].stretches == (Stretch(0, SECOND, 100_000),)


@pytest.mark.parametrize("length", [SECOND, 5 * SECOND])
def test_what_a_slip_inside_a_flaw_leaves_open_is_kept_in_the_map(length: int) -> None:
    """The pass that slipped, trusted or not, has the flaw's whole extent in doubt; the other one has nothing."""
    slipped = np.array(_slipped())
    slipped[:, AT - 800 : AT + 800] = 0
    rest = DENSE[:, : AT + length]
    placed = place_reel([_pass("one", rest, 0.0), _pass("two", slipped, 30.0)], SECOND)
    ((low, high),) = placed.maps["two"].doubtful
    assert (low, high) == pytest.approx((AT - 800, AT + 800), abs=4)
    logged = _pass("one", slipped, 0.0, CoarseSlip(AT, LOST, 12.0))
    placed = place_reel([logged, _pass("two", rest, 30.0)], SECOND)
    ((low, high),) = placed.maps["one"].doubtful
    assert (low, high) == pytest.approx((AT - 800, AT + 800), abs=4)
    assert placed.maps["two"].doubtful == ()


@pytest.mark.parametrize("kind", ["mute", "noise"])
def test_a_slip_beside_which_the_only_witness_is_flawed_is_placed_by_its_own_sound(kind: str) -> None:
    """Comparison tells the slip's size alone; all tracks break where it is."""
    flawed = DENSE.copy()
    size = flawed[:, AT - 4000 : AT + 1500].shape
    flawed[:, AT - 4000 : AT + 1500] = (
        0 if kind == "mute" else np.random.default_rng(9).integers(-9000, 9000, size)
    )
    placed = place_reel([_pass("one", flawed, 0.0), _pass("two", _slipped(), 30.0)], SECOND)
    assert _slips(placed, "two") == (Slip(AT, LOST),)
    assert placed.maps["two"].doubtful == ()


def test_a_retake_that_begins_where_the_reference_lost_samples_lies_in_place() -> None:
    """The reference has not the retake's first samples; the retake's place is told by those that both hold."""
    first = AT + LOST // 2
    placed = place_reel(
        [
            _pass("one", _slipped(), 0.0),
            _pass("two", DENSE[:, first:], float(first)),
            _pass("three", DENSE, 0.0),
            _pass("four", DENSE, 0.0),
        ],
        SECOND,
    )
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert [(s.pass_start, s.timeline_start) for s in placed.maps["two"].stretches] == [(0, first)]


def test_a_witness_with_a_flaw_at_the_slip_agrees_with_a_clean_one() -> None:
    """A slip around which one witness is muted is the trusted pass's all the same, where the clean one says."""
    muted = DENSE.copy()
    muted[:, AT - 4000 : AT + 1500] = 0
    placed = place_reel(
        [_pass("one", _slipped(), 0.0), _pass("two", muted, 30.0), _pass("three", DENSE, -70.0)], SECOND
    )
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == _slips(placed, "three") == ()
    assert placed.maps["one"].doubtful == ()


def test_a_slip_that_no_sound_proves_is_the_logs() -> None:
    """Where both passes are silent, only its log shows what a pass lost; the sound behind lies by both."""
    late = DENSE.copy()
    late[:, :100_000] = 0
    lost = np.concatenate((late[:, :50_000], late[:, 50_000 + LOST :]), axis=1)
    logged = CoarseSlip(52_000, LOST + 2, 12.0)
    placed = place_reel([_pass("one", lost, 0.0, logged), _pass("two", late, 40.0)], SECOND)
    assert _slips(placed, "one") == (Slip(52_000, LOST + 2),)
    assert placed.maps["two"].stretches == (Stretch(0, late.shape[1], 2),)


def test_a_log_tells_of_a_slip_before_the_other_pass_begins() -> None:
    """What a pass holds alone before a slip lies as far ahead of its sound as its log says."""
    logged = CoarseSlip(AT - 500, LOST - 3, 12.0)
    placed = place_reel(
        [_pass("one", DENSE[:, 200_000:], 200_000.0), _pass("two", _slipped(), 40.0, logged)], SECOND
    )
    first, second = placed.maps["two"].stretches
    assert (second.pass_end, second.shift) == (DENSE.shape[1] - LOST, LOST)
    assert (first.pass_end, first.shift) == (AT - 500, 3)


def test_a_slip_that_the_sound_shows_is_not_taken_from_the_log_as_well() -> None:
    """A log puts a slip somewhere near: that is the one found by the sound, whatever lies between."""
    late = DENSE.copy()
    late[:, : AT - 12_000] = 0
    lost = np.concatenate((late[:, :AT], late[:, AT + LOST :]), axis=1)
    logged = CoarseSlip(AT - 20_000, LOST + 5, 12.0)
    placed = place_reel([_pass("one", lost, 0.0, logged), _pass("two", late, 40.0)], SECOND)
    assert _slips(placed, "one") == (Slip(AT, LOST),)
    assert _slips(placed, "two") == ()


def test_slips_of_two_passes_close_together_are_each_ones_own() -> None:
    """A clock lost a sample now and then, once 1 200 samples before the third pass took a buffer twice."""
    lost = np.delete(DENSE, [AT - 60_000, AT, AT + 60_000], axis=1)
    again = AT + 1200
    twice = np.concatenate((DENSE[:, :again], DENSE[:, again - 1024 :]), axis=1)
    placed = place_reel(
        [_pass("one", lost, 0.0), _pass("two", DENSE, 30.0), _pass("three", twice, -70.0)], SECOND
    )
    assert [slip.samples for slip in _slips(placed, "one")] == [1, 1, 1]
    assert _slips(placed, "two") == ()
    (slip,) = _slips(placed, "three")
    assert slip.samples == -1024
    assert again - 1024 <= slip.pass_sample <= again
    assert placed.notes == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_sample_taken_twice_is_found_where_the_other_pass_lost_every_other_one(seed: int) -> None:
    """Where the shift changes is in doubt by some samples: wherever it may, the copy is looked for on all tracks."""
    tape = make_tape("quiet", 24, 6 * SECOND, np.random.default_rng(seed))
    twice = np.concatenate((tape[:, :AT], tape[:, AT - 1 :]), axis=1)
    means = np.array(tape)
    at = np.arange(AT - 20_000, AT + 20_000, 2)
    means[:, at] = (tape[:, at - 1].astype(np.int64) + tape[:, at + 1]) >> 1
    placed = place_reel([_pass("one", twice, 0.0), _pass("two", means, 30.0)], SECOND)
    (slip,) = _slips(placed, "one")
    assert slip.samples == -1
    assert AT - 1 <= slip.pass_sample <= AT
    assert placed.notes == ()


@pytest.mark.parametrize("is_logged", [False, True])
def test_what_came_twice_beyond_the_other_pass_is_a_slip_told_once(*, is_logged: bool) -> None:
    """Neither before nor behind it does another pass bear witness: the sound tells, and a log tells the same slip."""
    twice = np.concatenate((DENSE[:, :AT], DENSE[:, AT - LOST :]), axis=1)
    logged = (CoarseSlip(AT + 9000, -LOST, 20.0),) if is_logged else ()
    before = place_reel(
        [_pass("one", DENSE[:, : AT - 40_000], 0.0), _pass("two", twice, 10.0, *logged)], SECOND
    )
    behind = place_reel(
        [_pass("one", DENSE[:, AT + 40_000 :], AT + 40_000.0), _pass("two", twice, 10.0, *logged)], SECOND
    )
    alone = place_reel([_pass("two", twice, 0.0, *logged)], SECOND)
    for placed in (before, behind, alone):
        assert _slips(placed, "two") == (Slip(AT, -LOST),)
        assert placed.maps["two"].start == 0


@pytest.mark.parametrize(
    ("late", "until", "is_believed"), [(0.001, 6.0, False), (0.01, 6.0, True), (0.001, 3.0, True)]
)
def test_what_a_log_would_show_and_does_not_is_no_slip(
    *, late: float, until: float, is_believed: bool
) -> None:
    """It runs on a second before and behind the place, its messages late by less than what came twice."""
    twice = np.concatenate((DENSE[:, :AT], DENSE[:, AT - LOST :]), axis=1)
    runs_on = ClockFit(
        (ClockStretch(0.0, until, 0.0, 1.0, 1.0, 700),), 0.0, 1.0, late, 0.0, "locked", 1.0, 0.0, (), ()
    )
    one = _Pass("one", ArrayAudio(twice), Position("mtc", 0.0, 20.0, (), runs_on))
    assert _slips(place_reel([one], SECOND), "one") == ((Slip(AT, -LOST),) if is_believed else ())


def test_what_one_pass_shows_as_one_change_another_one_shows_as_two_of_the_trusted_pass() -> None:
    """Muted from before the first to behind the second, the third pass tells no more than both together.

    In noise, which nothing foretells, no splice shows.
    """
    tape = np.random.default_rng(62).integers(-4000, 4001, (8, 6 * SECOND), dtype=np.int32)
    lost = np.delete(tape, [AT, *range(AT + 30_000, AT + 30_256)], axis=1)
    muted = tape.copy()
    muted[:, AT - 20_000 : AT + 50_000] = 0
    logged = CoarseSlip(AT + 25_000, 257, 9000.0)
    placed = place_reel(
        [_pass("one", lost, 0.0, logged), _pass("two", tape, 30.0), _pass("three", muted, -70.0)], SECOND
    )
    assert _slips(placed, "one") == (Slip(AT, 1), Slip(AT + 29_999, 256))
    assert _slips(placed, "two") == _slips(placed, "three") == ()
    assert placed.notes == ()
