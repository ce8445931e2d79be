"""Linear timecode decoded: from the samples of a stripe to the words in it, in bounded memory.

A stripe is cut into windows at fixed places, whatever blocks it comes in. Each window is read with some words more
on both sides and nothing known of its neighbours, and gives the words that begin inside it: so the result does not
depend on the blocks, and damage does not spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeError, TimecodeLogError
from assembler.timecode.ltc.cells import Words, find_words, join_words
from assembler.timecode.ltc.edges import find_edges
from assembler.timecode.ltc.word import (
    are_even,
    get_colour_flags,
    get_drop_flags,
    get_user_bits,
    words_to_labels,
)
from assembler.timecode.messages import Finding, shorten_findings
from assembler.timecode.rates import labels_exist, labels_to_frames

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assembler.arrays import Bools, Bytes, Float64s, Int32s, Int64s
    from assembler.timecode.rates import FrameRate

# Samples in a window: scripts/bench/ltc_speed.py runs no faster with longer ones.
_WINDOW: Final = 1 << 18
# A word at half speed is two frames long, and what is asked of its neighbourhood is less than one more.
_MARGIN_FRAMES: Final = 6
# Neighbours further apart than this say nothing of each other.
_NEIGHBOUR_FRAMES: Final = 50
# Few words could contradict each other by chance; the count of a second is read from more than one second's end.
_LEAST_ROLLOVERS: Final = 2


@dataclass(frozen=True)
class LtcLog:
    """What a stripe says.

    Args:
        rate: how the sheet says that timecode counts.
        sample_rate: samples in a second.
        length_samples: of the stripe.
        words: shape (n, 10): the words of 80 bits, the bit sent first lowest in the first byte.
        frames: shape (n,), the frame each word tells, counted in its day.
        start_samples: shape (n,), in samples from the first and fractions of one: where the frame begins.
        end_samples: shape (n,), where it ends; before its start where the tape ran backwards.
        quarter_samples: shape (n, 4), the middle of each quarter of the frame.
        refused: how many words were read but not believed.
        findings: what was odd.
    """

    rate: FrameRate
    sample_rate: int
    length_samples: int
    words: Bytes
    frames: Int64s
    start_samples: Float64s
    end_samples: Float64s
    quarter_samples: Float64s
    refused: int
    findings: tuple[Finding, ...]

    @property
    def reverse(self) -> Bools:
        """Whether the tape ran backwards, shape (n,)."""
        return np.asarray(self.end_samples < self.start_samples, dtype=np.bool_)

    @property
    def speeds(self) -> Float64s:
        """How fast each frame went by, 1.0 being the sheet's rate, shape (n,); never negative."""
        lengths = np.abs(self.end_samples - self.start_samples)
        return np.asarray(self.sample_rate / float(self.rate.exact) / lengths, dtype=np.float64)

    @property
    def drop_flags(self) -> Bools:
        """The drop-frame flags, shape (n,)."""
        return get_drop_flags(self.words)

    @property
    def colour_flags(self) -> Bools:
        """The colour-frame flags, shape (n,)."""
        return get_colour_flags(self.words)

    @property
    def user_bits(self) -> Int64s:
        """The 32 user bits of each word, shape (n,): the lowest four are the first group."""
        return get_user_bits(self.words)


def decode_ltc(blocks: Iterable[Int32s | Float64s], sample_rate: int, rate: FrameRate) -> LtcLog:
    """Return the words of a stripe of linear timecode.

    Memory is bounded by the number of words, some hundred bytes each, whatever the length of the stripe.

    Args:
        blocks: the stripe in order, each of shape (any,), of any level and either polarity.
        sample_rate: samples in a second.
        rate: how the sheet says that timecode counts. The speed may be half to twice that, and change.

    Raises:
        TimecodeLogError: no word is found, none with a label that the rate has, or seconds of another count.
        TimecodeError: a block is not one channel, or the sample rate is too low to carry the code.
    """
    if sample_rate < 400 * rate.nominal:
        least = 400 * rate.nominal
        raise TimecodeError(f"sample rate {sample_rate}: linear timecode of {rate.name} frames needs {least} at least")
    margin = int(_MARGIN_FRAMES * sample_rate / float(rate.exact)) + 1
    parts = [find_words(np.zeros(0))]
    length, peak = 0, 0.0
    for first, core, samples in _cut_windows(blocks, _WINDOW, margin):
        found = find_words(find_edges(samples, sample_rate, rate)).move(first)
        # A word that begins on the border may seem to begin on either side of it: both sides take it.
        own = (found.starts >= core - 0.5) & (found.starts < core + _WINDOW + 0.5)
        parts.append(found.take(own))
        length = first + samples.size
        peak = max(peak, float(np.ptp(samples))) if samples.size else peak
    words = _drop_doubles(join_words(parts))
    if not words.starts.size:
        raise TimecodeLogError(_explain_nothing(length / sample_rate, peak))
    return _make_log(words, rate, sample_rate, length)


def _cut_windows(
    blocks: Iterable[Int32s | Float64s], window: int, margin: int
) -> Iterator[tuple[int, int, Float64s]]:
    """Yield windows: place of the first sample, place of the first that is not margin, and the samples."""
    held: list[Float64s] = []
    first, core, count = 0, 0, 0
    for block in blocks:
        if block.ndim != 1:
            raise TimecodeError(f"a block of shape {block.shape}; allowed: one channel")
        held.append(np.asarray(block, dtype=np.float64))
        count += block.size
        while first + count >= core + window + margin:
            samples = np.concatenate(held)
            yield first, core, samples[: core + window + margin - first]
            core += window
            held = [samples[core - margin - first :]]
            first = core - margin
            count = held[0].size
    # What is left may be more than a window, by less than a margin.
    samples = np.concatenate(held) if held else np.zeros(0)
    while core < first + samples.size:
        yield first, core, samples[: core + window + margin - first]
        core += window
        skipped = core - margin - first
        first, samples = first + max(skipped, 0), samples[max(skipped, 0) :]


def _drop_doubles(words: Words) -> Words:
    """Return the words without those found in two windows."""
    lengths = np.abs(words.ends - words.starts)
    same = np.diff(words.starts) < 0.1 * lengths[1:]
    same &= np.sign(np.diff(words.ends - words.starts, prepend=0.0)[1:]) == 0 if False else True
    return words.take(np.concatenate(([True], ~same))[: words.starts.size])


def _make_log(words: Words, rate: FrameRate, sample_rate: int, length: int) -> LtcLog:
    labels, decimal = words_to_labels(words.words)
    legal = decimal & labels_exist(labels, rate)
    heard = words.starts.size
    if not legal.any():
        raise TimecodeLogError(
            f"{heard} words of linear timecode, none with a label that exists at rate {rate.name}: "
            "check the sheet's frame_rate"
        )
    frames = labels_to_frames(labels, rate)
    _refuse_other_count(words, frames, labels.frames, rate)
    words, frames = words.take(legal), frames[legal]
    believed = _confirm(words, frames, rate)
    words, frames = words.take(believed), frames[believed]
    findings = [
        *_tell_refused(heard - frames.size),
        *_tell_flags(words, rate, sample_rate),
        *_tell_user_bits(words, sample_rate),
    ]
    return LtcLog(
        rate=rate,
        sample_rate=sample_rate,
        length_samples=length,
        words=words.words,
        frames=frames,
        start_samples=words.starts,
        end_samples=words.ends,
        quarter_samples=words.quarters,
        refused=heard - frames.size,
        findings=shorten_findings(findings),
    )
