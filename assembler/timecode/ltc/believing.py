"""Which words to believe, and what is odd about them.

A word that fits its neighbours is believed: the frames between two words are those that the distance makes. One that
two neighbours contradict was misread. A word without neighbours is believed too, since a sync word and 64 whole cells
hardly come by chance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.findings import CHECK_RATE, OTHER_SOURCES, Finding
from assembler.timecode.labels import describe_missing, labels_exist, labels_to_frames
from assembler.timecode.ltc.word import (
    are_even,
    get_colour_flags,
    get_drop_flags,
    get_user_bits,
    words_to_labels,
)
from assembler.timecode.mtc.counting import find_minutes, tell_count, weigh_count

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s
    from assembler.timecode.ltc.cells import Words
    from assembler.timecode.mtc.counting import Count
    from assembler.timecode.rates import FrameRate

# Words further apart than this say nothing of each other: the speed may have changed between them.
_NEIGHBOUR_FRAMES: Final = 50
# How many frames a second has is read from the ends of so many seconds at least.
_LEAST_SECONDS: Final = 2
# User bits that change more often carry something that runs, as a second time.
_MOST_USER_BITS: Final = 10


def believe_words(words: Words, rate: FrameRate) -> tuple[Words, Int64s]:
    """Return the words to believe, and the frame in the day that each tells.

    Args:
        words: in order of place, at least one.
        rate: how the sheet says that timecode counts.

    Raises:
        TimecodeLogError: no word has a label that the rate has, or the stripe counts its seconds otherwise.
    """
    labels, decimal = words_to_labels(words.words)
    _refuse_other_count(words, labels.frames, rate)
    exist = decimal & labels_exist(labels, rate)
    if not exist.any():
        is_rate = rate.drop or bool((labels.frames >= rate.nominal).any())
        raise TimecodeLogError(
            f"{exist.size} words of linear timecode, none with a label that exists at rate {rate.name}, "
            f"the first {describe_missing(labels, rate)}; "
            f"{CHECK_RATE if is_rate else OTHER_SOURCES}"
        )
    words, frames = words.take(exist), labels_to_frames(labels, rate)[exist]
    believed = _confirm(words, frames, rate)
    if not believed.any():
        raise TimecodeLogError(
            f"{frames.size} words of linear timecode, each contradicted by the next; {OTHER_SOURCES}"
        )
    return words.take(believed), frames[believed]


def _directions(words: Words) -> Float64s:
    return np.asarray(np.sign(words.ends - words.starts), dtype=np.float64)


def _count_steps(words: Words) -> tuple[Float64s, Bools]:
    """Return how many frames lie between each word and the next, and whether they are neighbours."""
    direction = _directions(words)
    lengths = np.abs(words.ends - words.starts)
    steps = np.diff(words.starts) / np.maximum(lengths[:-1], lengths[1:])
    near = (np.diff(direction) == 0) & (steps < _NEIGHBOUR_FRAMES)
    return np.asarray(np.rint(steps) * direction[:-1], dtype=np.float64), np.asarray(near, dtype=np.bool_)


def _refuse_other_count(words: Words, counted: Int64s, rate: FrameRate) -> None:
    """Refuse a stripe whose seconds end at another frame than the rate's.

    Args:
        words: in order of place.
        counted: shape (n,), the frames within the second.
        rate: of the sheet.
    """
    steps, near = _count_steps(words)
    adjoining = near & (np.abs(steps) == 1) & (np.abs(np.diff(counted)) > 1)
    ends = np.maximum(counted[1:], counted[:-1])[adjoining]
    if ends.size < _LEAST_SECONDS:
        return
    found = int(np.bincount(ends).argmax()) + 1
    if found != rate.nominal and 2 * np.count_nonzero(ends == found - 1) > ends.size:
        raise TimecodeLogError(
            f"the stripe counts {found} frames a second, the sheet's frame_rate {rate.name} has {rate.nominal}: "
            "correct frame_rate"
        )


def _confirm(words: Words, frames: Int64s, rate: FrameRate) -> Bools:
    """Return which words to believe: those that a neighbour agrees with, and those without one."""
    steps, near = _count_steps(words)
    off = (np.diff(frames) - steps) % rate.frames_per_day
    agrees = near & (off == 0)
    no = np.zeros(1, dtype=np.bool_)
    supported = np.append(agrees, no) | np.append(no, agrees)
    alone = ~(np.append(near, no) | np.append(no, near))
    return np.asarray(supported | alone, dtype=np.bool_)


def weigh_words(words: Words, believed: Words, sample_rate: int, rate: FrameRate) -> Count:
    """Return what a stripe shows of whether it drops frames.

    Args:
        words: all of them: another count than the sheet's may have labels that this lacks.
        believed: those whose flags tell.
        sample_rate: samples in a second.
        rate: of the sheet.
    """
    labels, decimal = words_to_labels(words.words)
    steps, near = _count_steps(words)
    follows = near & (np.abs(steps) == 1) & decimal[1:] & decimal[:-1]
    minutes = find_minutes(labels, follows, 1, words.starts / sample_rate)
    wrong = get_drop_flags(believed.words) != rate.drop
    is_contrary = 2 * int(wrong.sum()) > wrong.size
    return weigh_count(minutes, f"the drop-frame flag is {_flag_state(rate)}" if is_contrary else None, rate)


def tell_words(words: Words, refused: int, count: Count, rate: FrameRate, sample_rate: int) -> list[Finding]:
    """Return what is odd about believed words, and what their user bits say.

    Args:
        words: those believed.
        refused: how many were not.
        count: what the stripe shows of whether it drops frames.
        rate: of the sheet.
        sample_rate: samples in a second.
    """
    findings = []
    if refused:
        text = f"{refused} words of linear timecode contradict their neighbours or the rate; not used"
        findings.append(Finding("unread", None, text))
    findings += tell_count(count, rate)
    if count.says is None:
        findings += _tell_odd_flags(words, rate, sample_rate)
    if get_colour_flags(words.words).any():
        findings.append(Finding("colour_flag", None, "the colour-frame flag is set"))
    odd = ~are_even(words.words)
    if odd.any():
        text = f"the polarity-correction bit is wrong in {int(odd.sum())} of {odd.size} words, which harms nothing"
        findings.append(_place(text, "polarity_bit", words, odd, sample_rate))
    return findings + _tell_user_bits(words, sample_rate)


def _flag_state(rate: FrameRate) -> str:
    """Return how a drop-frame flag stands that contradicts the sheet."""
    return "not set" if rate.drop else "set"


def _tell_odd_flags(words: Words, rate: FrameRate, sample_rate: int) -> list[Finding]:
    wrong = get_drop_flags(words.words) != rate.drop
    if not wrong.any():
        return []
    text = (
        f"the drop-frame flag is {_flag_state(rate)} in {int(wrong.sum())} of {wrong.size} words; "
        "the others are followed"
    )
    return [_place(text, "drop_flag", words, wrong, sample_rate)]


def _place(text: str, kind: str, words: Words, chosen: Bools, sample_rate: int) -> Finding:
    """Return a finding at the first of the chosen words; without a place if all are meant."""
    if chosen.all():
        return Finding(kind, None, text)
    return Finding(kind, float(words.starts[np.argmax(chosen)]) / sample_rate, text)


def _tell_user_bits(words: Words, sample_rate: int) -> list[Finding]:
    """Return a finding where user bits change; eight hexadecimal digits, the last group first."""
    user_bits = get_user_bits(words.words)
    changes = np.flatnonzero(np.diff(user_bits, prepend=0))
    if changes.size > _MOST_USER_BITS:
        first, last = int(user_bits[0]), int(user_bits[-1])
        text = f"user bits change {changes.size} times, from {first:08X} to {last:08X}"
        return [Finding("user_bits", None, text)]
    return [
        Finding(
            "user_bits",
            float(words.starts[place]) / sample_rate,
            f"user bits are {int(user_bits[place]):08X} from here on",
        )
        for place in changes
    ]
