"""The numbers by which this room decides."""

from __future__ import annotations

# models

PERIOD_STRIDE = 3
"""Every third sample tells a period as well; those too short for that, 3 kHz at 48 kHz, are left to the predictor."""

# surroundings

FIT_SAMPLES = 1024
"""Samples on each side of a place that tell what sounds there, and that a predictor is fitted to: 21 ms at 48 kHz."""

LEAST_SCALE_STEPS = 0.02
"""The scale of what is foretold exactly, as silence in silence."""

PERIODS_SAMPLES = 4096
"""Samples beside a place in which its period is sought, or that tell whether sound holds its levels: 85 ms at 48 kHz,
four periods of 47 Hz. Blocks that a machine plays twice are at most this long; longer ones may be a sequencer's."""

LEAST_JUMP_STEPS = 8
"""Sound that holds levels jumps between them by so many steps, as a rule; noise of a few steps holds its own too."""

LEAST_BETTER, CLEARLY_BETTER = 0.05, 1.0
"""A model for synthetic sound is used where it saves so many nats a sample; and no other, where it saves so many."""

# levels

LEAST_RUN = 32
"""Equal samples in a row, 0.7 ms at 48 kHz, from which a run is looked at."""

PREDICTOR_ORDER = 24
"""Samples that a predictor foretells from: half a millisecond at 48 kHz holds the shape of voices and strings."""

NOISE_SAMPLES, LONGEST_PAUSE = 512, 2000
"""Samples, some 11 ms at 48 kHz, under a sweep, over which is counted what sound does by nature, as whether noise is
steady, on either side, and what is strewn over it, as losses, whose borders are known as well as that; and the longest
pause in noise that is looked at so."""

MOST_UNSTEADY = 1.6
"""Noise that varies by no more pauses for no 42 ms (at 48 kHz) by itself, if it is more than dither."""

# waves

LEAST_EDGES_BEFORE, LEAST_EDGES_BEHIND = 4, 2
"""Edges that tell a period and two phases, with one to prove them, before a place or in a row; behind it two have only
to fit, and are enough to doubt what lies before them."""

MOST_EDGES = 400
"""Edges of a note that a wave is fitted to, or a block is known by: more would tell no better."""

EDGE_ERROR = 1.0
"""Edges stand at whole samples, so that each lies within one of where the period puts it."""

# rests

MOST_ALIKE = 4
"""Rests on one track of one pass that may be mutes, lines or changes of noise in one place, stops of all tracks: more
are how the sound itself goes, or is played."""

RESTING_SHARE = 0.7
"""Where so large a share of silences may be rests, as of mutes hardly ever, they are."""

LEAST_REST = 480
"""No instrument rests for less than 10 ms at 48 kHz, as a rule."""

LEAST_FALL = 0.3
"""Level of 5 ms behind a mute against 5 ms before it, and of sound on one side of what was thrown in against that on
the other: the same sound, which may have died away meanwhile."""

MOST_SOFT = 0.05
"""What sets in from zero begins with so small a share of its peak."""

LEAST_BEAT = 2400
"""What music keeps comes every 50 ms or more at 48 kHz; what turns in a machine comes more often, and no tone of sound
that holds levels holds one for as long."""

# scale

MOST_WORD_PIECES = 128
"""Pieces of each track that are looked at for the bits it uses, spread over all of it."""

LEAST_WORD_PIECES = 4
"""A track of which fewer pieces sound, on which there may be a burst alone, tells nothing of the tape."""

KEEPING_SHARE = 0.8
"""So many of a track's pieces keep to its word length; a burst, or a fade that was computed, keeps to none."""

# change

PIECE_SAMPLES = 16384
"""A third of a second at 48 kHz: short against a change of tune, long against the period of a bass string."""

MOST_PIECES = 16
"""Places at which two captures are held against each other, spread over all that both hold."""

LEVEL_TOLD_DB, FRACTION_TOLD = 0.01, 0.02
"""Smaller than this neither is told; a level that is written with two decimals would read as none."""

SURE_DEVIATIONS = 4.0
"""What is told of a chain, or of reels that do not touch, stands out by so many standard deviations."""

DITHER_STEPS = 0.6
"""Rounding leaves no bell-shaped errors narrower than this, and a constant, or noise, that is smaller may come from it:
0.29 steps (uniform over one step), 0.41 where both sides are rounded, 0.5 with triangular dither of two steps, and
together with plain rounding of the other side 0.58."""
