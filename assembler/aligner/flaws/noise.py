"""Noise thrown into sound, as one capture shows it by itself: bursts.

Sound foretells itself: a predictor fitted to a short window leaves little of its power unexplained. A burst is a hole
in that: white, of one level from end to end, set in and cut off from one sample to the next, with the sound going on
behind it as it was before. A consonant, a cymbal or a drum is white too, but swells and dies away.

The thresholds are ours.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LONGEST_BURST, MOST_QUIET_STEPS, SCALES, WHITE
from assembler.aligner.flaws.white import Products, white_shares
from assembler.aligner.records.limits import CLEARLY, FAR_MORE, FEW, INSTANT_SAMPLES, NEIGHBOURS
from assembler.aligner.records.ranges import has_full_word, ranges_of
from assembler.aligner.sound.levels import fit_predictor, prediction_errors
from assembler.aligner.sound.limits import (
    FIT_SAMPLES,
    LEAST_FALL,
    LEAST_JUMP_STEPS,
    MOST_UNSTEADY,
    NOISE_SAMPLES,
    PREDICTOR_ORDER,
)
from assembler.arrays import within

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s


def bursts(samples: Int32s, step: int) -> list[Range]:
    """Return the bursts of one track, in order."""
    found: list[Range] = []
    products = Products(samples)
    for size, order in SCALES:
        for rough in _holes(samples, products, size, order):
            place = _proved(samples, rough, step)
            if place is not None and not any(start < place[1] and place[0] < end for start, end in found):
                found.append(place)
    return sorted(found)


def islands(samples: Int32s, step: int) -> list[Range]:
    """Return noise of one level thrown into silence, or into noise of a few steps, in order.

    A gate cuts noise out of silence as well, but does so again and again.
    """
    found = []
    quiet = MOST_QUIET_STEPS * step
    sounds = ~within(samples, quiet)
    if samples.size > LONGEST_BURST + 2 * INSTANT_SAMPLES and not has_full_word(~sounds):
        return []  # it sounds from end to end
    for start, end in ranges_of(sounds, bridge=INSTANT_SAMPLES):
        beside = samples[max(0, start - FIT_SAMPLES) : start], samples[end : end + FIT_SAMPLES]
        if (
            not PREDICTOR_ORDER <= end - start <= LONGEST_BURST
            or min(side.size for side in beside) < FIT_SAMPLES
        ):
            continue
        noise = samples[start:end].astype(np.float64)
        is_alone = max(int(np.abs(side).max()) for side in beside) <= quiet
        if is_alone and np.mean(noise**2) > (FAR_MORE * quiet) ** 2 and _is_even(noise):
            found.append((start, end))
    return found


def _holes(samples: Int32s, products: Products, size: int, order: int) -> list[Range]:
    """Return where windows are white between windows of sound that foretells itself."""
    shares, hop = white_shares(samples, products, size, order), size // 2
    found = []
    for first, last in ranges_of(shares > WHITE, bridge=1):
        # The window that holds a border is neither.
        before = shares[max(0, first - 1 - NEIGHBOURS) : max(0, first - 1)]
        behind = shares[last + 1 : last + 1 + NEIGHBOURS]
        if min(before.size, behind.size) < NEIGHBOURS or (last - first) * hop > LONGEST_BURST:
            continue
        if max(before.max(), behind.max()) < FEW:
            found.append(((first - 1) * hop, (last + 1) * hop + size))
    return found


def _proved(samples: Int32s, rough: Range, step: int) -> Range | None:
    """Return a burst to the sample, if it is one: set in, cut off, even, white, the sound going on behind it."""
    low, high = rough
    if low < FIT_SAMPLES or high + FIT_SAMPLES > samples.size:
        return None
    piece = samples[low - FIT_SAMPLES : high + FIT_SAMPLES].astype(np.float64)
    start = _first_odd(piece, FIT_SAMPLES, step)
    backwards = _first_odd(piece[::-1], FIT_SAMPLES, step)
    if start is None or backwards is None or piece.size - backwards - start < PREDICTOR_ORDER:
        return None
    end = piece.size - backwards
    noise = piece[start:end]
    levels = [float(np.sqrt(np.mean(side**2))) for side in (piece[:FIT_SAMPLES], piece[-FIT_SAMPLES:])]
    if min(levels) < max(LEAST_JUMP_STEPS * step, LEAST_FALL * max(levels)) or not _is_even(noise):
        return None
    if _goes_on_below(piece, start, end) or _goes_on_below(piece[::-1], piece.size - end, piece.size - start):
        return None
    return start + low - FIT_SAMPLES, end + low - FIT_SAMPLES


def _goes_on_below(piece: Float64s, start: int, end: int) -> bool:
    """Return whether the sound before noise can be heard in it too: then noise was added by whoever made the sound.

    The strongest tone before the noise is looked for, at its pitch, in as much of the noise as is as long.
    """
    before = piece[start - NOISE_SAMPLES : start]
    spectrum = np.abs(np.fft.rfft(before * np.hanning(before.size), 16 * before.size))
    pitch = np.pi * float(np.argmax(spectrum)) / (8 * before.size)
    noise = piece[start : min(end, start + NOISE_SAMPLES)]
    heard = _tone(noise, pitch)
    return heard > WHITE * _tone(before, pitch)


def _tone(samples: Float64s, pitch: float) -> float:
    """Return the amplitude of a tone; pitch in radians per sample."""
    return 2.0 * float(np.abs(np.mean(samples * np.exp(-1j * pitch * np.arange(samples.size)))))


def _first_odd(piece: Float64s, context: int, step: int) -> int | None:
    """Return the first sample that the sound before it does not foretell."""
    errors = np.abs(prediction_errors(piece, fit_predictor(piece[:context])))
    usual = float(errors[PREDICTOR_ORDER:context].max()) + step
    odd = np.flatnonzero(errors[context:] > CLEARLY * usual)
    return context + int(odd[0]) if odd.size else None


def _is_even(noise: Float64s) -> bool:
    """Return whether noise is white, of one level, and as loud at its very ends."""
    power = float(np.mean(noise**2))
    ends = [float(np.mean(end**2)) for end in (noise[:INSTANT_SAMPLES], noise[-INSTANT_SAMPLES:])]
    if min(ends) < WHITE * power:
        return False
    thirds = [float(np.mean(third**2)) for third in np.array_split(noise, 3)]
    if noise.size >= 3 * INSTANT_SAMPLES and max(thirds) > MOST_UNSTEADY * min(thirds):
        return False
    order = min(PREDICTOR_ORDER, noise.size // 12)
    errors = prediction_errors(noise, fit_predictor(noise, order))[order:]
    return float(np.mean(errors**2)) > WHITE * power
