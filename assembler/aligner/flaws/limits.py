"""The numbers by which this room decides."""

from __future__ import annotations

# structures

LEAST_TELLING = 16
"""Samples, or changes, that say something chance does not: a key by which a block is known again, a peak cut off flat,
what stands between two notes."""

LEAST_REPEAT = 4 * LEAST_TELLING
"""So many equal samples that do not just hold a level say that a block stands twice; then it is compared whole."""

MOST_IN_A_ROW = 3
"""A level held inside another one makes two in a row, one from one clipped peak to the next three. Two-level waves and
clipped peaks hold so many levels, and no other one for as long."""

LEAST_ADJOINED = 256
"""Samples of a block of levels that may be played twice, and of silence in which a block begins or ends."""

LEAST_EDGES = 6
"""Edges of a wave of two levels: fewer show no period."""

MOST_PROBES = 64
"""Places that are asked for a block that stands twice, and earlier places at which each is sought: it bounds work."""

CLIPPED_RATIO = 2.0
"""How much longer than any around a level is that is no clipped peak, nor a wave's."""

LEVEL_NATS = 60.0
"""A level of noise is looked at where it saves so much, over as many samples as sound is foretold from: so long lasts
what changes all the time, and what is thrown in."""

ABRUPT_RATIO = 3.0
"""Powers of so many errors on either side of a border differ by so much."""

ROUNDING_POWER = 1.0 / 12.0
"""Of errors that are rounded to whole steps."""

# lines

LEAST_STRAIGHT = 8
"""Samples on one line, give or take a step, from which it is looked at."""

LEAST_LINE, LINE_RATIO, LEAST_CLIMB = 16, 1.4, 4
"""A line in slow sound is a machine's from so many samples and steps on, where it is so many
times as long as any around."""

LINE_SAMPLES = 2048
"""No line is followed further; so much is read beside a block, so that a line is seen whole in one of them."""

LINE_STEPS = 2.0
"""A line is rounded, and a sample beside it may belong to it."""

# interrupting

LEAST_KINK_STEPS = 16
"""Sound bends by so much where a straight line begins and ends, and by more beside it: a slow wave is nearly straight
for a while, but bends little beside that too."""

STRAIGHT_CONTEXT = 256
"""Samples on either side of a line over which the sound bends."""

LEAST_LAG, LARGEST_LAG = 128, 4096
"""Blocks that a machine plays twice; longer ones may be a sequencer's, shorter ones a tone's periods."""

LEAST_CHANGING = 0.75
"""Share of a repeated block's samples that differ from the one before: a square wave's level tells no block."""

SPLICE_RATIO = 2.0
"""How far a splice lies over nearly all prediction errors before it."""

LONE_ROUGH_RATIO = 4.0
"""Noise bends so many times as sharply as the sound beside it."""

MOST_CLICK = 8
"""Longer ones are bursts, or something else."""

# interrupting

MOST_LEVEL_STEPS = 64
"""Noise of a few steps is no louder; sound in which lines are told bends by more from sample to sample."""

# stepped

MOST_CHANGING = 0.25
"""Share of samples that differ from the one before: what changes more often holds no levels, and sounds."""

LONE_EDGE_ERROR = 0.7
"""Samples that an edge may lie off its wave where no other pass bears witness: rounding, and a rough fit."""

STEPPED_MOST_CHANCE = 0.25
"""Chance at most by which a note that sets in anywhere would be in phase: for 100 samples a period, a window of 25."""

LEAST_NOISE = 0.5
"""Share of noise's samples that are values of their own."""

# noise

SCALES = ((512, 24), (128, 10))
"""Windows that are looked at, and the order of their predictors."""

WINDOWS_AT_ONCE = 128
"""What stays in the processor's own memory: it decides time, nothing else."""

WHITE, COLOURED = 0.6, 0.25
"""Share of a window's power that its predictor leaves: noise above, the sound beside it below."""

BESIDE_WINDOWS = 4
"""Windows on either side of noise in which sound foretells itself."""

LONGEST_BURST = 16384
"""No flaw of a lone pass is longer, a third of a second at 48 kHz, that is told by what goes on behind it."""

MOST_QUIET_STEPS, LEAST_OVER_QUIET = 16, 8
"""Beside noise in silence nothing is louder than so many steps, and the noise is that many times louder."""

LEAST_LEVEL_STEPS = 8
"""Sound in which a click or a burst is told is that loud, as an effective value."""
