"""The numbers by which this room decides."""

from __future__ import annotations

from assembler.aligner.flaws.structures.builds import CLIPPED, LONG_CLIPPED

# place

CONTEXT_SAMPLES = 1024
"""Samples read on each side of a difference: 21 ms at 48 kHz."""

BRIDGE_SAMPLES = 64
"""Differences closer than this are one: inside a flaw, the wrong sample is now and then the right one."""

ROUGH_SCALES = 8.0
"""Prediction errors this many scales large may be noise that sets in; that only says where to cut."""

# stories

FLAW_COST = 12.0
"""A flaw begins about once in so many samples, as a natural logarithm (e^12 is 3 s at 48 kHz)."""

AGREEING_COST = 60.0
"""Two captures that agree are both wrong only where that is beyond doubt: no model of sound is."""

STEPPED_AGREEING = 360.0
"""Where sound has two levels, two flawed captures agree on every other sample."""

OWN_PAST_COST = 12.0
"""What it takes to say that a flawed version foretells the sound behind its flaw."""

LEAST_MARGIN = 24.0

MARGIN_PER_SAMPLE = 0.05

STEPPED_MARGIN = 300.0
"""By how many nats a story must beat every other: no model of sound is exact, so that more is asked of long parts, and
most of sound that holds levels by nature."""

MIXED_CAUTION = 2.0
"""So many times as much is asked where flaws lie over each other."""

SILENT_PER_SAMPLE, MOST_SILENT = 0.2, 160.0
"""More than that is asked where silence is to be right: a stroke that sets in from it is much like noise thrown in."""

ABRUPT_COST = 40.0
"""One pass's flaw ends where another's begins only by chance."""

TORN_COST = 200.0
"""A level held, a line or a copy that is right for one part of it and wrong for the next would be a strange chance."""

STROKE_COST, STRANGE_STROKE_COST = 12.0, 60.0
"""What it takes to tell where a stroke was heard before, and that a machine has played just all of it once more."""

LEAST_SURPRISE = 250.0
"""A block played twice costs at least so many nats as sound; one that costs less repeats itself by nature, or not."""

COPY_COST = 10.0
"""A foretold copy is as likely as sound as it is as a flaw, but for the lag that has to be told."""

EDGE_COST = 6.0
"""To tell within a few hundred samples where an edge stands."""

NOBODY_MARGIN = 180.0
"""By how many nats a version of such sound must beat the story that no version is the tape's."""

NOISE_MARGIN, NOISE_SHARE, NOISE_NATS, LEAST_SCALE = 120.0, 0.9, 4.5, 0.5
"""So much a version must beat the story that none is right, where its cost as sound is nearly that of noise, and so
many nats a sample more than the logarithm of the errors' usual scale (which has no less than half a step)."""

ODD_RATIO = 3.0
"""A flawed version whose prediction errors have not three times the power of its surroundings' just disagrees."""

STEPPED_CAUTION = 12.0
"""Sound that holds levels by nature has edges that nothing foretells; so much more is asked of all evidence there."""

DISPLACED_COST = 265.0
"""What it takes to say, of such sound, that it belongs elsewhere: it need not look odd to be wrong."""

MOST_DISPLACED = 4.0
"""So many nats a sample at most: what costs more is noise, and no block of such sound."""

LONGEST_BLIP = 480
"""So many samples of sound, 10 ms at 48 kHz, foretell none of themselves."""

CLIPPED_COST = 40.0
"""No model foretells that a peak is clipped where others are; that it stays so costs nothing."""

LONG_LEVEL_COST = 40.0
"""Such sound seldom holds a level for longer than it does anywhere around, or rests just where captures differ."""

# costs

WINDOW_SAMPLES = 256

LEAST_OWN = 256

OWN_SCALE_COST = 12.0

RISE_COST = 6.0
"""Sound of another scale than around: once, and for each factor e that it is louder."""

NEXT_SCALE_COST = 3.0
"""To go on at a scale that differs from window to window."""

STRAIGHT_COST_PER_SAMPLE, LINE_COST = 0.7, 6.0
"""What runs straight give or take a step; a line on which all samples lie exactly leaves nothing to tell but its ends
and how it is rounded."""

KIND_COSTS = {"mute": 1.0, "hold": 2.0, CLIPPED: 100.0, LONG_CLIPPED: 32.0, "straight": 6.0, "repeat": 10.0}

STRANGE_LEVEL_COST = 24.0
"""A level that is held though it is not the one before: it has to be told, and machines seldom do that."""

NOISE_COST, NOISE_COST_PER_WINDOW = 2.0, 3.0
"""What it takes to say which flaw it is: a lag, a line's ends, a level of noise (and no less than sound's windows)."""

LEVEL_SAMPLES, LEVEL_COST = 64, 16.0
"""Noise may change its level at every 64th sample."""
