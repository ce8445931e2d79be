"""What sample values mean on a tape: its word length, measured by what its captures hold, again as they grow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assembler.aligner.sound.scale import bits_used, smallest_word
from assembler.watch.sound.examining import Scales

if TYPE_CHECKING:
    from assembler.aligner.records.passes import TrackReader

LEAST_WORD_SECONDS: Final = 2.0
"""Sound by which a tape's word length is measured first."""

MOST_WORD_SECONDS: Final = 60.0
"""Sound after which it is not measured again."""


@dataclass
class TapeScale:
    """The word length of the tape that a growing capture is of.

    Args:
        rate: samples in a second.
    """

    rate: int
    _word: int = 0
    _until: float = 0.0

    def of(self, audio: TrackReader, bits: int, said: int) -> Scales:
        """Return what values mean by now.

        Args:
            audio: of the capture so far.
            bits: that values are delivered in.
            said: word length by the sheet, until it is measured.
        """
        seconds = audio.length / self.rate
        if seconds >= max(LEAST_WORD_SECONDS, self._until):
            self._until = 4.0 * seconds if seconds < MOST_WORD_SECONDS else float("inf")
            used = bits_used(audio, range(audio.tracks), bits)
            self._word = 0 if used is None else min(bits, smallest_word(used))
        word = self._word or min(bits, said)
        return Scales(self.rate, 1 << (bits - word), (1 << (bits - 1)) - 1)
