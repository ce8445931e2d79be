"""What a capture chain did to the numbers: level, place between the samples, word length, noise.

Two captures of one place of a tape are identical if both chains are bit-transparent. Where they run along closely and
are not, what lies between them is measured: one is taken as the other at a gain, a fraction of a sample later, cut
to fewer bits, with noise added. Pure: arrays in, a small record out. Audio is ``float64`` or ``int32``, shape
``(samples,)``, in sample values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import NEARLY_ALL
from assembler.aligner.sound.chain.measures import empty_bits_of_both, fraction_behind, most_alike
from assembler.aligner.sound.limits import DITHER_STEPS, FRACTION_TOLD, LEVEL_TOLD_DB, SURE_DEVIATIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Float64s, Int32s


@dataclass(frozen=True)
class Change:
    """What one capture of a track is, given another one of the same place.

    Args:
        correlation: of the two, normalised, at the place between samples that was found; -1 to 1.
        level_db: how much louder the second one is.
        fraction: of a sample that the second one lies later.
        empty_bits: lowest bits that are zero in every sample of the first, and of the second.
        offset: constant that is added, in sample values.
        noise: root mean square of what these leave unexplained, in sample values.
        is_identical: whether the two are the same numbers.
        is_dithered: whether more than rounding came with a shorter word length.
        step: one step of the tape's word length, in sample values.
    """

    correlation: float
    level_db: float
    fraction: float
    empty_bits: tuple[int, int]
    offset: float
    noise: float
    is_identical: bool
    is_dithered: bool
    step: int

    @property
    def is_alike(self) -> bool:
        """Return whether the two are one sound, upright or inverted."""
        return abs(self.correlation) >= NEARLY_ALL

    @property
    def is_level_only(self) -> bool:
        """Return whether nothing but the level differs."""
        others = self.fraction or self.offset or self._unexplained() or self._bits()
        return bool(self.level_db) and self.correlation > 0 and not others

    def words(self, first: str, second: str, bits: int) -> str:
        """Return what differs, in an engineer's words.

        Args:
            first: name of the capture that the other is held against.
            second: name of the other.
            bits: of a sample value: the delivered word length.
        """
        found = []
        if self.correlation < 0:
            found.append("its polarity is inverted")
        if self._bits():
            cut, whole = (second, first) if self.empty_bits[1] > self.empty_bits[0] else (first, second)
            left = bits - max(self.empty_bits)
            how = "dithered" if self.is_dithered else "cut"
            zeros = max(self.empty_bits) - self._padding()
            found.append(
                f"{cut} is {how} to {left} bits: its lowest {zeros} bits are always zero, those of {whole} are not"
                if zeros > 0
                else f"{whole} uses bits below the tape's {bits - self._padding()}, those of {cut} are zero"
            )
        if self.level_db:
            found.append(f"its level is {self.level_db:+.2f} dB off (a gain)")
        if self.fraction:
            found.append(
                f"it lies {self.fraction:+.2f} sample off the grid (a rate converter or an analogue path)"
            )
        if self.offset:
            found.append(f"a constant of {self.offset / self.step:+.1f} LSB is added")
        if unexplained := self._unexplained():
            found.append(unexplained)
        return " and ".join(found) or "its numbers are rounded otherwise"

    def _bits(self) -> bool:
        return self.empty_bits[0] != self.empty_bits[1]

    def _padding(self) -> int:
        return self.step.bit_length() - 1

    def _unexplained(self) -> str:
        shortened = DITHER_STEPS * 2.0 ** max(self.empty_bits) if self._bits() else 0.0
        if self.noise <= max(DITHER_STEPS * self.step, shortened):
            return ""
        return f"noise of {self.noise / self.step:.1f} LSB rms is added (dither, a mixer or an analogue path)"


def find_change(pieces: Sequence[tuple[Int32s, Int32s]], step: int) -> Change | None:
    """Return what a capture is, given another one; None where one of them is silent.

    Pieces are of one length, aligned to the whole sample.
    """
    pairs = [(a.astype(np.float64), b.astype(np.float64)) for a, b in pieces if a.any() and b.any()]
    pairs = most_alike(pairs)
    if not pairs:
        return None
    fraction = _fraction(pairs)
    inner = [_inner(_later(a, fraction), b) for a, b in pairs]
    means = [float(np.mean(np.concatenate([row[i] for row in inner]))) for i in (0, 1)]
    own, both, other = (
        sum(float(np.dot(row[i] - means[i], row[j] - means[j])) for row in inner)
        for i, j in ((0, 0), (0, 1), (1, 1))
    )
    if min(own, other) <= 0.0:
        return None
    gain = both / own
    count = sum(a.size for a, _ in inner)
    noise = float(np.sqrt(max(0.0, other - gain * both) / count))
    level = 20 * float(np.log10(max(abs(gain), 1e-9)))
    error_db = 20 / float(np.log(10)) * noise / float(np.sqrt(own)) / max(abs(gain), 1e-9)
    is_off = abs(level) > max(LEVEL_TOLD_DB / 2, SURE_DEVIATIONS * error_db)
    largest = max(float(np.abs(b - a).max()) for a, b in pairs)
    empty = empty_bits_of_both([a for a, _ in pieces], [b for _, b in pieces])
    offset = means[1] - gain * means[0]
    # Cutting bits off always goes one way, which is an offset too.
    is_added = abs(offset) > DITHER_STEPS * step and empty[0] == empty[1]
    return Change(
        both / float(np.sqrt(own * other)),
        level if is_off else 0.0,
        fraction,
        empty,
        offset if is_added else 0.0,
        noise,
        largest == 0,
        # Cutting or rounding the bits off makes no larger differences.
        largest >= 1 << max(empty),
        step,
    )


def _inner(first: Float64s, second: Float64s) -> tuple[Float64s, Float64s]:
    """Return pieces without their ends, which moving them by a fraction has spoilt."""
    edge = first.size // 8
    return first[edge : first.size - edge], second[edge : second.size - edge]


def _fraction(pairs: Sequence[tuple[Float64s, Float64s]]) -> float:
    """Return the fraction of a sample that the second ones lie later; 0 where it is not sure to be there."""
    told = np.array([fraction_behind(first, second) for first, second in pairs])
    slopes, weights = told[told[:, 1] > 0].T
    if not slopes.size:
        return 0.0
    found = float(np.average(slopes, weights=weights))
    spread = float(np.sqrt(np.average((slopes - found) ** 2, weights=weights) / slopes.size))
    return found if abs(found) > max(FRACTION_TOLD, SURE_DEVIATIONS * spread) else 0.0


def _later(sound: Float64s, fraction: float) -> Float64s:
    """Return sound a fraction of a sample later; its ends are faded and not right."""
    if not fraction:
        return sound
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    spectrum = np.fft.rfft(sound * scipy.signal.windows.tukey(sound.size, 0.2))
    turn = np.exp(-1j * np.linspace(0.0, np.pi, spectrum.size) * fraction)
    return np.asarray(np.fft.irfft(spectrum * turn, sound.size), np.float64)
