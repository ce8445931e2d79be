"""Where a capture is spliced: samples lost or repeated break the sound of all tracks between the same two samples.

Where another capture is flawed, or was never made, comparison can't tell where a slip lies. But what goes on after
a splice is not what the sound before it foretells, nor is what lies before it what the sound after it would have come
from; and that on every track that sounds. Strokes and edges surprise in one direction and on one track; the ends of
mutes and held levels don't count, as nothing is known on one side of them; noise is foretold by nothing, and tells
nothing.

Audio is ``int32``, shape ``(samples,)``, one array per track.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.limits import LEAST_SURPRISE, LOUD_SAMPLES, USUAL_RATIO
from assembler.aligner.records.limits import CLEARLY, HALF, LEAST_TELLING, NEAR_SAMPLES
from assembler.aligner.sound.levels import fit_predictor, prediction_errors
from assembler.aligner.sound.limits import FIT_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Float64s, Int32s, Int64s


def splice_surprise(tracks: Sequence[Int32s]) -> Float64s:
    """Return by how many nats each sample, with the one before it, surprises as the first one after a splice.

    Returns:
        Shape ``(samples,)``; zero within ``FIT_SAMPLES`` of both ends.
    """
    total = np.zeros(tracks[0].size)
    for samples in tracks:
        total += _track_surprise(samples)
    total[:FIT_SAMPLES] = 0.0
    total[max(0, total.size - FIT_SAMPLES) :] = 0.0
    return total


def outstanding(surprise: Float64s) -> int | None:
    """Return the one place that surprises far more than all others; None where there is none."""
    best = int(surprise.argmax())
    rest = surprise.copy()
    rest[max(0, best - NEAR_SAMPLES) : best + NEAR_SAMPLES + 1] = 0.0
    is_clear = surprise[best] >= max(LEAST_SURPRISE, CLEARLY * float(rest.max()))
    return best if is_clear else None


def _track_surprise(samples: Int32s) -> Float64s:
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    sound = samples.astype(np.float64)
    forwards = _ratios(sound)
    # Backwards in time a sample's error stands with the last sample before the splice.
    backwards = np.roll(_ratios(sound[::-1])[::-1], 1)
    changes = np.flatnonzero(np.diff(samples)) + 1
    is_still = np.ones(samples.size, np.float64)
    is_still[changes] = 0.0
    still = (
        scipy.ndimage.uniform_filter1d(is_still, LEAST_TELLING, mode="nearest") > 1.0 - 0.5 / LEAST_TELLING
    )
    held = scipy.ndimage.maximum_filter1d(still, 2 * LEAST_TELLING)
    ratio = np.minimum(forwards, backwards) / USUAL_RATIO
    return np.asarray(np.where(held, 0.0, np.log(np.maximum(ratio, 1.0))), np.float64)


def _ratios(sound: Float64s) -> Float64s:
    """Return each sample's prediction error over the usual one of the samples before it."""
    errors = np.zeros(sound.size)
    for start in range(0, sound.size, FIT_SAMPLES):
        low = max(0, start - FIT_SAMPLES)
        piece = sound[low : start + 2 * FIT_SAMPLES]
        found = prediction_errors(piece, fit_predictor(piece))
        errors[start : start + FIT_SAMPLES] = found[start - low : start - low + FIT_SAMPLES]
    ends = np.arange(sound.size)
    usual, level = _recent(errors, ends), _recent(sound, ends)
    # What nothing foretells breaks nowhere: noise beside sound, were it soft, would.
    return np.asarray(np.where(usual <= HALF * level, np.abs(errors) / (usual + 1.0), 0.0), np.float64)


def _recent(values: Float64s, ends: Int64s) -> Float64s:
    """Return the root mean square of the values before each place."""
    power = np.concatenate(([0.0], np.cumsum(values**2)))
    starts = np.maximum(ends - LOUD_SAMPLES, 0)
    return np.asarray(np.sqrt((power[ends] - power[starts]) / np.maximum(ends - starts, 1)), np.float64)
