"""The numbers by which this room decides."""

from __future__ import annotations

from assembler.aligner.flaws.structures.builds import CLIPPED, LONG_CLIPPED

# stories

FLAW_COST = 12.0
"""A flaw begins about once in so many samples, as a natural logarithm (e^12 is 3 s at 48 kHz); so does sound of a
scale of its own, and a flawed version that foretells the sound behind its flaw."""

LEAST_MARGIN, MARGIN_PER_SAMPLE = 24.0, 0.05
"""By how many nats a story must beat every other: no model of sound is exact, so that more is asked of long parts."""

SILENT_PER_SAMPLE, MOST_SILENT = 0.2, 160.0
"""More than that is asked where silence is to be right: a stroke that sets in from it is much like noise thrown in."""

STRANGE_LEVEL_COST = 24.0
"""A level that is held though it is not the one before: it has to be told, and machines seldom do that."""

CHANCE_COST = 40.0
"""What is so by chance alone: that one pass's flaw ends where another's begins; that a peak is clipped where others
are, which no model foretells; that sound holds a level for longer than anywhere around, or rests just there; that a
machine has played just all of a stroke once more."""

TORN_COST = 200.0
"""A level held, a line or a copy that is right for one part of it and wrong for the next would be a strange chance."""

LEAST_SURPRISE = 250.0
"""A block played twice costs at least so many nats as sound; one that costs less repeats itself by nature, or not."""

WHERE_COST = 10.0
"""What it takes to tell where: where noise changes its level; where a block, or a stroke, was heard before: a foretold
copy is as likely as sound as it is as a flaw but for that."""

NOISE_MARGIN, NOISE_NATS = 120.0, 4.5
"""So much a version must beat the story that none is right, where its cost as sound is nearly that of noise, and so
many nats a sample more than the logarithm of the errors' usual scale."""

STEPPED_CAUTION = 12.0
"""Sound that holds levels by nature has edges that nothing foretells; so much more is asked of all evidence there."""

DISPLACED_COST = 265.0
"""What it takes to say, of such sound, that it belongs elsewhere: it need not look odd to be wrong."""

# costs

DETAIL_COST = 6.0
"""Where a line ends and how it is rounded; where an edge stands, within a few hundred samples; each factor e by which
sound is louder than around."""

STRAIGHT_COST_PER_SAMPLE = 0.7
"""What runs straight give or take a step; a line on which all samples lie exactly leaves nothing to tell but its ends
and how it is rounded."""

KIND_COSTS = {
    "mute": 1.0,
    "hold": 2.0,
    CLIPPED: 100.0,
    LONG_CLIPPED: 32.0,
    "straight": DETAIL_COST,
    "repeat": WHERE_COST,
}
"""What it takes to say which machine's make a flaw is: a peak that is clipped is hardly one."""

NOISE_COST, WINDOW_COST = 2.0, 3.0
"""What it takes to say which flaw it is: a lag, a line's ends, a level of noise; and for each window of noise, or of
sound at a scale that differs from window to window."""
