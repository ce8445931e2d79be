"""What mixer and converters make of a part: 16-bit numbers with the noise of both in them.

The mixer's noise is normal, its strength common practice, no source. The converter's is triangular, two steps from end
to end, as dither is. Because of them no stretch of a recorded track
is exactly digital silence, save where a digital mixer's mute sent zeros to the tape.

Source of the triangular noise: S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and Dither: A
Theoretical Survey", J. Audio Eng. Soc. 40(5), 1992.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int32s

BIT_DEPTH: Final = 16
MIXER_NOISE: Final = 2.0  # steps, RMS: 84 dB below full scale
_FULL_SCALE: Final = 2 ** (BIT_DEPTH - 1)


def record_track(part: Float64s, generator: np.random.Generator, *, peak: float = 0.7) -> Int32s:
    """Return a part as the tape holds it.

    Args:
        part: shape (samples,); its loudest sample is brought to ``peak``; an empty part is an idle input.
        generator: the noise.
        peak: share of full scale, under 1.

    Returns:
        Shape (samples,), whole numbers of 16 bits.
    """
    loudest = float(np.max(np.abs(part), initial=0.0))
    gain = peak * _FULL_SCALE / loudest if loudest else 0.0
    noise = generator.random(part.size) - generator.random(part.size)
    noise += generator.normal(0.0, MIXER_NOISE, part.size)
    steps = np.floor(part * gain + noise + 0.5)
    return np.clip(steps, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int32)
