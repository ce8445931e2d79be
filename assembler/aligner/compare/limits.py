"""The numbers by which this room decides."""

from __future__ import annotations

from assembler.aligner.flaws.limits import LONGEST_BURST
from assembler.aligner.sound.limits import FIT_SAMPLES, PERIODS_SAMPLES

# notes

LEAST_ALIKE = 0.05
"""Passes are captures of the same numbers if one in twenty short stretches of sound is identical in both: silence is
alike everywhere, and so is a sample now and then by chance. Where fewer sound, half of all stretches have to
differ as well: a chain's noise is in silence, too. Of passes that share less than twenty stretches nothing is said:
one flaw may take them all."""

# track

MOST_DIFFERENCES = 20000
"""Differences on one track from which they are told and no longer judged."""

# lone

LONE_MARGIN = max(2 * PERIODS_SAMPLES, LONGEST_BURST) + 2 * FIT_SAMPLES
"""What is read beside a lone block: a repeat with its original, a burst, and the sound around them."""

# sparse

MOST_NEAR = 400
"""More runs of one value than this among the samples of a block are the material's own: gated, faint or synthetic
sound."""

# chain

CHAIN_REACH = 24
"""Samples on either side by which a chain's filter is told: what a fraction of a sample and a converter take."""

CHAIN_REACHES, LESS_NOISE = (4, CHAIN_REACH), 0.8
"""Filters tried after a mere gain; a wider one counts where it leaves no more than this share of the error."""

NOISE_BLOCK, NOISE_BLOCKS = 64, 751
"""Samples over which a chain's noise is measured, and how many of these tell what is usual around a place (1 s)."""

LOUDEST_LOCAL = 4.0
"""So much louder than all over a chain's noise may be at a place; what is more is no noise."""
