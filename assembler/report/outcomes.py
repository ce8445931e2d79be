"""What became of a flaw, in the words of terminal and page."""

from __future__ import annotations


def outcome_words(start: int, end: int, length: int, *, is_cured: bool) -> str:
    """Return what became of a flaw: cured, not cured, or not in the set, where nothing was put in its place.

    Args:
        start: first sample of the flaw, counted from the set's first one; negative before it.
        end: first one after it; a slip has ``end`` equal to ``start``.
        length: samples in each track of the set.
        is_cured: what the record says.
    """
    if start >= length or max(end, start + 1) <= 0:
        return "not in the set"
    return "cured" if is_cured else "not cured"
