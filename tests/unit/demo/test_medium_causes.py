"""What harms a play, held against what is published of it.

Sources: J. Watkinson, The Art of Digital Audio (dropouts, clogged heads, mistracking, scratches); US patent 4,685,004
(one head of two drops out).
"""

from __future__ import annotations

import numpy as np
import pytest

from assembler.demo.medium.causes import (
    Cause,
    Damage,
    clog,
    drop_out,
    hurt,
    scratch,
    unhurt,
    unlock,
    weaken,
)
from assembler.demo.medium.format import BLOCKS, unmended

SWEEPS = 600


@pytest.mark.parametrize("head", [0, 1])
def test_a_clogged_head_reads_nothing_and_the_other_all(head: int) -> None:
    """Only that head's sweeps are hurt, and these whole."""
    for seed in range(20):
        play = unhurt(SWEEPS)
        clog(play, np.random.default_rng(seed), 100, 90, head)
        lost = (play > 0).sum(axis=1)
        assert not lost[1 - head :: 2].any()
        assert set(lost.tolist()) == {0, BLOCKS}
        assert not lost[:100].any()
        assert not lost[190:].any()


def test_a_weak_head_fails_more_and_more() -> None:
    """Its middle is worse than its beginning, and the other head is not touched."""
    early = middle = 0
    for seed in range(20):
        play = unhurt(SWEEPS)
        weaken(play, np.random.default_rng(seed), 100, 200, 1)
        assert not play[0::2].any()
        early += int((play[100:130] > 0).sum())
        middle += int((play[185:215] > 0).sum())
    assert middle > 4 * early


def test_a_dropout_lasts_one_to_four_sweeps() -> None:
    """Sixty milliseconds at most, one piece of each sweep."""
    for seed in range(50):
        play = unhurt(SWEEPS)
        drop_out(play, np.random.default_rng(seed), 300)
        rows = np.flatnonzero(play.any(axis=1))
        assert rows[0] >= 300
        assert rows[-1] < 304
        for row in rows:
            assert (np.diff(np.flatnonzero(play[row])) == 1).all()


def test_a_scratch_hurts_the_same_piece_of_every_sweep() -> None:
    """In step with the drum: most blocks that one sweep loses the next loses too, and it is past mending."""
    play = unhurt(SWEEPS)
    scratch(play, np.random.default_rng(3), 100, 300)
    lost = play[100:400] > 0
    common = (lost[1:] & lost[:-1]).sum(axis=1) / lost[1:].sum(axis=1)
    assert common.min() > 0.8
    assert unmended(lost).any(axis=1).mean() > 0.5


def test_without_lock_nothing_is_read() -> None:
    """All blocks of all sweeps are lost, and at either side some."""
    play = unhurt(SWEEPS)
    unlock(play, np.random.default_rng(1), 200, 40)
    assert (play[200:240] == Cause.SERVO).all()
    beside = (play[[197, 198, 199, 240, 241, 242]] > 0).sum(axis=1)
    assert (beside < BLOCKS).all()
    assert beside.any()
    assert not play[:197].any()
    assert not play[243:].any()


def test_damage_of_the_tape_meets_every_play() -> None:
    """What is alike is the same in each; what is unlike lies at the same place and is seldom the same."""
    damages = [Damage(100, 6, 30, 50, alike=True), Damage(300, 30, 30, 50, alike=False)]
    plays = [unhurt(SWEEPS), unhurt(SWEEPS)]
    for seed, play in enumerate(plays):
        hurt(play, np.random.default_rng(seed), damages)
    assert (plays[0][:200] == plays[1][:200]).all()
    assert (plays[0][100:106, 30:80] == Cause.DAMAGE_ALIKE).all()
    unlike = [play[300:330] > 0 for play in plays]
    assert (unlike[0] & unlike[1]).any()
    assert (unlike[0] & ~unlike[1]).any()
    assert (unlike[1] & ~unlike[0]).any()
