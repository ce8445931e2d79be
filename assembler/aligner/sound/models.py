"""Ways to foresee a sample of sound from those before it, and how far off they are.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from assembler.aligner.records.limits import HALF, LEAST_TELLING
from assembler.aligner.sound.levels import prediction_errors
from assembler.aligner.sound.limits import PERIOD_STRIDE

if TYPE_CHECKING:
    from assembler.aligner.sound.two_levels.pulse import Pulse
    from assembler.arrays import Float64s, Int32s


@dataclass(frozen=True)
class Model:
    """One way to foresee a sample, and how far off it is in good sound.

    Args:
        predictor: coefficients, nearest sample first; empty where the sample a lag before is the prediction.
        lag: of a sound that repeats itself, in samples; 0 for the others.
        scales: shape (k,), of its errors in steps: usual and root mean square on either side.
        pulse: the wave that every sample is, where that is known.
    """

    predictor: Float64s
    lag: int
    scales: Float64s = field(default_factory=lambda: np.ones(1))
    pulse: Pulse | None = None

    def errors(self, samples: Int32s, step: int, start: int = 0) -> Float64s:
        """Return the prediction error of each sample, in steps; zero where too little comes before."""
        if self.pulse is not None:
            return self.pulse.errors(samples, start) / step
        sound = samples.astype(np.float64)
        if not self.lag:
            return prediction_errors(sound, self.predictor) / step
        errors = np.zeros(sound.size)
        errors[self.lag :] = (sound[self.lag :] - sound[: -self.lag]) / step
        return errors


def period_of(sound: Int32s) -> int:
    """Return the lag at which nearly all samples repeat exactly, far more than neighbours do; 0 where there is none."""
    half = sound.size // 2
    held = float(np.mean(np.diff(sound) == 0)) if half > LEAST_TELLING else 1.0
    if held in (0.0, 1.0):
        return 0
    recent = sound[half:][::PERIOD_STRIDE]
    windows = sliding_window_view(sound, sound.size - half)[: half - LEAST_TELLING + 1, ::PERIOD_STRIDE]
    shares = (windows == recent).mean(axis=1)
    best = int(np.flatnonzero(shares == shares.max())[-1])
    return half - best if 1.0 - shares[best] < HALF * (1.0 - held) else 0


def error_costs(errors: Float64s, scale: float) -> Float64s:
    """Return the cost of each prediction error, in steps: Student's t with two degrees of freedom, by whole steps.

    Its heavy tails let strokes and edges, which no predictor foresees, cost little more than they must.
    """
    high, low = (np.abs(errors) + 0.5) / scale, (np.abs(errors) - 0.5) / scale
    near = (high / np.sqrt(2.0 + high * high) - low / np.sqrt(2.0 + low * low)) / 2.0
    density = (2.0 + (errors / scale) ** 2) ** -1.5 / scale
    return np.asarray(
        -np.log(np.where(np.abs(errors) < 30.0 * scale + 30.0, near, density) + 1e-300), np.float64
    )
