"""A block played twice on several tracks, where another pass is muted."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.copies import tell_copies
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

WHY = Because(Rule.OUTVOTED)

START, SIZE, REST = 30_000, 2_368, 30_600
MUTE = 25_000, 31_500


def _wave(period: float) -> np.ndarray:
    return np.where(np.arange(60_000) % period < period / 2, 6_000, -6_000).astype(np.int32)


def _tape(period: float) -> np.ndarray:
    """Two tracks: what is easily told, and a wave of two levels that rests soon behind the place."""
    tape = np.stack([make_tape("dense", 16, 60_000, np.random.default_rng(91))[0], _wave(period)])
    tape[1, REST:50_000] = 0
    return tape


def _placed(*captures: np.ndarray) -> list[PlacedPass]:
    return [
        PlacedPass(f"P{number + 1}", ArrayAudio(samples), (map_with_slips(60_000, 0, ()),) * 2)
        for number, samples in enumerate(captures)
    ]


@pytest.mark.parametrize("period", [1_158.7, 433.4, 91.3])
def test_a_copied_wave_is_told_by_another_track(period: float) -> None:
    """A pass that goes on with a note until another track shows that it played a block twice outvotes no two others."""
    tape = _tape(period)
    copied, muted = tape.copy(), tape.copy()
    copied[:, START : START + SIZE] = tape[:, START - SIZE : START]
    muted[1, slice(*MUTE)] = 0
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(_placed(copied, tape, muted), (0, 1), 1, 32_767, executor, lambda _: None)
    blamed = [(flaw.start, flaw.end) for flaw in findings.flaws if (flaw.pass_name, flaw.track) == ("P2", 1)]
    assert not common(blamed, [(REST, START + SIZE)])


def _mute_told(*, is_whole: bool) -> list[FoundFlaw]:
    """Return what comes of a mute told of P2 where P1 plays a block twice, or goes on with a wave by nature."""
    tape = _tape(SIZE / 8)
    tape[1] = _wave(SIZE / 8 if is_whole else 431.7)
    copied, muted = tape.copy(), tape.copy()
    copied[:, START : START + SIZE] = tape[:, START - SIZE : START]
    muted[1, slice(*MUTE)] = 0
    flaws = [
        FoundFlaw("P1", 0, "repeat", START, START + SIZE, because=WHY),
        FoundFlaw("P2", 1, "mute", *MUTE, because=WHY),
    ]
    return [flaw for flaw in tell_copies(_placed(copied, muted), (0, 1), flaws) if flaw.track == 1]


def test_where_both_passes_are_flawed_both_are_told() -> None:
    """Neither the copy nor the mute is the tape's, as far as both reach; behind the mute passes are compared."""
    assert _mute_told(is_whole=False) == [
        FoundFlaw("P2", 1, "mute", *MUTE, because=WHY),
        FoundFlaw("P1", 1, "repeat", START, MUTE[1], because=WHY),
    ]


def test_a_wave_that_repeats_itself_by_nature_is_no_copy() -> None:
    """A wave whose periods fill the block stands before it as well, and goes on to."""
    assert _mute_told(is_whole=True) == [FoundFlaw("P2", 1, "mute", *MUTE, because=WHY)]
