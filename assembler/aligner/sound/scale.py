"""What a sample value means on a tape: steps of the tape's word length, full scale, time.

A tape's word length is measured: of a tape of 16 bits in files of 24 a sheet may say either, and all that is
foreseen of its sound, or of what a machine computes, is a multiple of the tape's own step.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import LEAST_TELLING
from assembler.aligner.records.reel import TapeWord
from assembler.aligner.sound.chain.measures import empty_bits
from assembler.aligner.sound.limits import FIT_SAMPLES, KEEPING_SHARE, LEAST_WORD_PIECES, MOST_WORD_PIECES
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.sheet import Sheet

WORDS = (16, 20, 24)
"""Word lengths of tapes, in bits."""


@dataclass(frozen=True)
class Scale:
    """The scale of a tape's samples.

    Args:
        sample_rate: in samples per second.
        step: one step of the tape's word length, in sample values.
        bits: of a sample value: the delivered word length.
    """

    sample_rate: int
    step: int
    bits: int

    def dbfs(self, value: int) -> str:
        """Return a sample value, not 0, in decibels below full scale."""
        return f"{20 * np.log10(value / (1 << (self.bits - 1))):.1f} dBFS"

    def steps(self, value: int) -> int:
        """Return a sample value in steps, rounded up."""
        return -(-value // self.step)


def scale_of(sheet: Sheet, word: TapeWord) -> Scale:
    """Return the scale of one tape of a session."""
    bits = sheet.deliver.word_length
    return Scale(sheet.session.sample_rate, 1 << (bits - word.compared_bits), bits)


def tape_word(used: Sequence[int | None], said: int, held: int) -> TapeWord:
    """Return the word length of a tape.

    What most of its passes keep to counts, of equally many what the more trusted do: low bits that one of them has
    alone are its chain's, and so are those that it has not. Where the sheet says fewer bits and any pass keeps to
    them, that is the tape's.

    Args:
        used: bits that each pass uses, in the order of trust; None where a pass does not tell.
        said: bits, as the sheet says.
        held: bits that the passes' files hold at most.
    """
    words = Counter(smallest_word(bits) for bits in used if bits is not None)
    if not words:
        return TapeWord(said, said, None, min(said, smallest_word(held)))
    word = words.most_common(1)[0][0]
    if said in words:
        word = min(word, said)
    bits_in_use = max(bits for bits in used if bits is not None and smallest_word(bits) == word)
    return TapeWord(said, min(word, said), bits_in_use, word)


def smallest_word(bits: int) -> int:
    """Return the smallest word length of a tape that holds so many bits."""
    return next(word for word in WORDS if bits <= word)


def bits_used(reader: TrackReader, tracks: Sequence[int], bits: int) -> int | None:
    """Return how many bits a pass uses, from the sign down; None where its sound is too little to tell.

    Each track is looked at in places all over it, and keeps to what nearly all of them do; the pass does to what
    all of its tracks do.
    """
    count = min(MOST_WORD_PIECES, reader.length // FIT_SAMPLES)
    starts = np.linspace(0, reader.length - FIT_SAMPLES, count).astype(np.int64).tolist()
    empty: dict[int, list[int]] = {track: [] for track in tracks}
    for start in starts:
        # The tracks of one file are asked for one after another: it is read once.
        for track in tracks:
            piece = reader.read(track, start, FIT_SAMPLES)
            if distinct(np.abs(piece)).size > LEAST_TELLING:
                empty[track].append(empty_bits([piece]))
    kept = [
        int(np.quantile(found, 1 - KEEPING_SHARE, method="higher"))
        for found in empty.values()
        if len(found) >= LEAST_WORD_PIECES
    ]
    return bits - min(kept) if kept else None
