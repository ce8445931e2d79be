"""Lengths that a transform is quick for."""

from __future__ import annotations

from functools import cache


@cache
def quick_length(least: int) -> int:
    """Return the smallest product of twos, threes and fives that is at least so large.

    A transform of a length with a large prime factor takes a hundred times as long.
    """
    best = 1 << max(0, least - 1).bit_length()
    fives = 1
    while fives < best:
        product = fives
        while product < best:
            twos = 1 << (-(-least // product) - 1).bit_length()
            best = min(best, twos * product)
            product *= 3
        fives *= 5
    return best
