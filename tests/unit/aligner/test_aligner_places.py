"""Which differences between captures are judged as one place."""

from __future__ import annotations

from assembler.aligner.compare.places import one_place_each


def _never(_: tuple[int, int]) -> bool:
    return False


def test_flaws_far_from_each_other_stay_apart() -> None:
    """Two clicks with 500 good samples between them are two."""
    clicks = [(1_000, 1_003), (1_500, 1_504)]
    assert one_place_each(clicks, _never) == clicks


def test_gaps_no_longer_than_what_they_part_are_bridged() -> None:
    """A level held over a wave differs from it in every other half period."""
    assert one_place_each([(1_000, 1_200), (1_400, 1_600), (1_800, 2_000)], _never) == [(1_000, 2_000)]


def test_short_differences_at_a_steady_pace_are_one() -> None:
    """A wave out of phase differs at its edges only, one sample each."""
    edges = [(at, at + 2) for at in range(1_000, 3_000, 400)]
    assert one_place_each(edges, _never) == [(1_000, edges[-1][1])]


def test_one_level_between_differences_joins_them() -> None:
    """A mute goes on where the sound under it is zero for a while; but not for longer than half a slow period."""
    assert one_place_each([(1_000, 1_014), (1_255, 1_269)], lambda gap: gap == (1_014, 1_255)) == [
        (1_000, 1_269)
    ]
    apart = [(1_000, 1_014), (2_100, 2_114)]
    assert one_place_each(apart, lambda _: True) == apart
