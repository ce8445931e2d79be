"""The numbers by which this room decides."""

from __future__ import annotations

# structures

MOST_IN_A_ROW = 3
"""A level held inside another one makes two in a row, one from one clipped peak to the next three. Two-level waves and
clipped peaks hold so many levels, and no other one for as long."""

LEAST_EDGES = 6
"""Edges of a wave of two levels: fewer show no period."""

ABRUPT_RATIO = 3.0
"""Power of prediction errors on one side of a border against that on the other, or of noise against its surroundings':
what has less just disagrees."""

ROUNDING_POWER = 1.0 / 12.0
"""Of errors that are rounded to whole steps."""

# lines

LEAST_STRAIGHT = 8
"""Samples on one line, give or take a step, from which it is looked at."""

LINE_RATIO = 1.4
"""A line in slow sound is a machine's where it is so many times as long as any around."""

LINE_SAMPLES = 2048
"""No line is followed further; so much is read beside a block, so that a line is seen whole in one of them."""

# alone

LEAST_LAG = 128
"""Of blocks that a machine plays twice on one track shorter ones may be a tone's periods."""

LONE_ROUGH_RATIO = 4.0
"""Noise bends so many times as sharply as the sound beside it."""

# alone

MOST_LEVEL_STEPS = 64
"""Noise of a few steps is no louder; sound in which lines are told bends by more from sample to sample."""

# stepped

LONE_EDGE_ERROR = 0.7
"""Samples that an edge may lie off its wave where no other pass bears witness: rounding, and a rough fit."""

# noise

SCALES = ((512, 24), (128, 10))
"""Windows that are looked at, and the order of their predictors."""

WINDOWS_AT_ONCE = 128
"""What stays in the processor's own memory: it decides time, nothing else."""

WHITE = 0.6
"""Share of a window's power that its predictor leaves in noise."""

LONGEST_BURST = 16384
"""No flaw of a lone pass is longer, a third of a second at 48 kHz, that is told by what goes on behind it."""

MOST_QUIET_STEPS = 16
"""Sound of no more is quiet: nothing beside noise in silence is louder. Where a straight line begins and ends sound
bends by no less, and by more beside it: a slow wave is nearly straight for a while, but bends little beside that,
too."""
