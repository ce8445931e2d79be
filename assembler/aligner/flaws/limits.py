"""The numbers by which this room decides."""

from __future__ import annotations

# structures

KEY_SAMPLES = 16

LEAST_REPEAT = 4 * KEY_SAMPLES
"""So many equal samples that do not just hold a level say that a block stands twice; then it is compared whole."""

MOST_IN_A_ROW = 3
"""A level held inside another one makes two in a row, one from one clipped peak to the next three; one so many times as
long as all others beside is no wave's."""

LEAST_ADJOINED, LEAST_EDGES = 256, 6

MOST_PROBES = 64

CLIPPED_RATIO = 2.0
"""From how many samples on a level is a clipped peak, and how much longer than any around it."""

LEAST_LEVEL, LEVEL_NATS, MOST_LEVELS = 24, 60.0, 4
"""A level of noise is looked at from so many samples on, where it saves so much; and so many changes at most."""

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
LINE_GRAIN = 16
"""The longest line around is known to this part of what would rule a line out."""

LINE_SAMPLES, LEVEL_SAMPLES = 2048, 64
"""No line is followed further; what has not moved by a step after so many samples is a level."""

MOST_LINES = 4

LINE_STEPS = 2.0
"""A line is rounded, and a sample beside it may belong to it."""

CHANCE_NATS = 20.0
"""Sound that runs straight now and then by nature does so for long once in e^20 samples."""

# interrupting

STRAIGHT_CONTEXT = 256

LEAST_BEND_STEPS, LEAST_KINK_STEPS = 64, 16
"""The sound beside a straight line bends by so much from sample to sample, and so much where the line begins and
ends: a slow wave is nearly straight for a while, but bends little beside that too."""

LEAST_LAG, LARGEST_LAG = 128, 4096
"""Blocks that a machine plays twice; longer ones may be a sequencer's, shorter ones a tone's periods."""

LEAST_CHANGING = 0.75
"""Share of a repeated block's samples that differ from the one before: a square wave's level tells no block."""

SPLICE_RATIO = 2.0
"""How far a splice lies over nearly all prediction errors before it."""

ROUGH_SAMPLES, ROUGH_REACH, LONE_ROUGH_RATIO = 32, 16, 4.0

MOST_CLICK = 8

# faint

MOST_LEVEL_STEPS = 64

MOST_CHANCE = 1e-12
"""Chance at most of what is told by what the noise beside it does: an hour of a track has 1.7e8 samples."""

# stepped

MOST_CHANGING = 0.25
"""Share of samples that differ from the one before: what changes more often holds no levels."""

LONE_EDGE_ERROR = 0.7
"""Samples that an edge may lie off its wave where no other pass bears witness: rounding, and a rough fit."""

STEPPED_MOST_CHANCE = 0.25
"""Chance at most by which a note that sets in anywhere would be in phase: for 100 samples a period, a window of 25."""

LEAST_LONG = 2400
"""Half a period of 10 Hz at 48 kHz."""

LEAST_NOISE = 0.5
"""Share of noise's samples that are values of their own."""

# noise

SCALES = ((512, 24), (128, 10))
"""Windows that are looked at, and the order of their predictors."""

WINDOWS_AT_ONCE = 128

WHITE, COLOURED = 0.6, 0.25
"""Share of a window's power that its predictor leaves: noise above, the sound beside it below."""

BESIDE_WINDOWS = 4

LONGEST_BURST = 16384

LEAST_BESIDE = 0.15

MOST_QUIET_STEPS, LEAST_OVER_QUIET = 16, 8
"""Beside noise in silence nothing is louder than so many steps, and the noise is that many times louder."""

NOISE_LEAST_LEVEL_STEPS = 8
