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
from assembler.timecode.findings import OTHER_SOURCES, shorten_findings
from assembler.timecode.ltc.believing import believe_words, tell_words, weigh_words
from assembler.timecode.ltc.cells import Words, find_words, join_words
from assembler.timecode.ltc.edges import find_edges
from assembler.timecode.ltc.word import WORD_BITS, get_colour_flags, get_drop_flags, get_user_bits

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assembler.arrays import Bools, Bytes, Float64s, Int32s, Int64s
    from assembler.timecode.findings import Finding
    from assembler.timecode.mtc.counting import Count
    from assembler.timecode.rates import FrameRate

# Samples in a window: some seconds, so that reading the margins twice costs little.
WINDOW_SAMPLES: Final = 1 << 18
# A word at half speed is two frames long, and what is asked of its neighbourhood is less than one more.
_MARGIN_FRAMES: Final = 6
# Fewer samples in a bit cell do not carry a stripe at twice its speed.
_LEAST_CELL_SAMPLES: Final = 8


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
        count: what flags and labels show of whether frames are dropped.
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
    count: Count

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
    least = _LEAST_CELL_SAMPLES * WORD_BITS * rate.nominal
    if sample_rate < least:
        raise TimecodeError(
            f"sample rate {sample_rate}; linear timecode of {rate.name} frames needs {least} or more"
        )
    margin = int(_MARGIN_FRAMES * sample_rate / float(rate.exact)) + 1
    window = max(WINDOW_SAMPLES, 4 * margin)
    parts = [find_words(np.zeros(0))]
    length, swing = 0, 0.0
    for first, core, samples in _cut_windows(blocks, window, margin):
        found = find_words(find_edges(samples, sample_rate, rate)).move(first)
        # A word that begins on the border may seem to begin on either side of it: both sides take it.
        own = (found.starts >= core - 0.5) & (found.starts < core + window + 0.5)
        parts.append(found.take(own))
        length = first + samples.size
        swing = max(swing, float(np.ptp(samples)))
    words = _drop_doubles(join_words(parts))
    if not words.starts.size:
        raise TimecodeLogError(_explain_nothing(length / sample_rate, swing))
    return _make_log(words, rate, sample_rate, length)


def _cut_windows(
    blocks: Iterable[Int32s | Float64s], window: int, margin: int
) -> Iterator[tuple[int, int, Float64s]]:
    """Yield windows: place of the first sample, place of the first that is not margin, and the samples."""
    held: list[Float64s] = []
    first, core, count = 0, 0, 0
    for piece in _cut_pieces(blocks, window):
        held.append(piece)
        count += piece.size
        while first + count >= core + window + margin:
            samples = np.concatenate(held)
            yield first, core, samples[: core + window + margin - first]
            core += window
            held = [samples[core - margin - first :]]
            first, count = core - margin, held[0].size
    # What is left may reach over the end of a window by less than a margin.
    samples = np.concatenate([*held, np.zeros(0)])
    for start in range(core, first + count, window):
        begin = max(first, start - margin)
        yield begin, start, samples[begin - first : start + window + margin - first]


def _cut_pieces(blocks: Iterable[Int32s | Float64s], most: int) -> Iterator[Float64s]:
    """Yield the blocks as numbers to reckon with, long ones in pieces."""
    for block in blocks:
        if block.ndim != 1:
            raise TimecodeError(f"a block of shape {block.shape}; allowed: the samples of one channel")
        for start in range(0, block.size, most):
            yield np.asarray(block[start : start + most], dtype=np.float64)


def _drop_doubles(words: Words) -> Words:
    """Return the words without those that two windows took."""
    turned = np.diff(np.sign(words.ends - words.starts)) != 0
    fresh = (np.diff(words.starts) > 1.0) | turned
    return words.take(np.concatenate(([True], fresh))[: words.starts.size])


def _make_log(words: Words, rate: FrameRate, sample_rate: int, length: int) -> LtcLog:
    heard, all_words = words.starts.size, words
    words, frames = believe_words(words, rate)
    count = weigh_words(all_words, words, sample_rate, rate)
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
        findings=shorten_findings(tell_words(words, heard - frames.size, count, rate, sample_rate)),
        count=count,
    )


def _explain_nothing(seconds: float, swing: float) -> str:
    sound = f"{seconds:.1f} s of sound with no word of it" if swing else f"{seconds:.1f} s of silence"
    return f"no linear timecode in it: {sound}; name the recording of the stripe, or {OTHER_SOURCES}"
