"""The numbers by which this room decides."""

from __future__ import annotations

# matching

TELLING_SAMPLES = 96
"""Samples of a probe that are compared at every shift: enough that chance agreement stays far below half."""

LEAST_VOTES = 0.2
"""Share of the telling samples that must agree on one shift before it is looked at closer."""

LEAST_EVIDENCE = 48
"""Informative samples that must be identical before a shift counts as found. Neighbouring samples of quiet
material are alike, so the count is of samples that differ from the one before them."""

# meeting

SEARCH_SECONDS = (0.02, 0.2, 1.0)
"""How far around timecode's place a pass is looked for, tried in this order. Logs come through an interface with
a delay of its own, so that even an exact fit is off by some milliseconds; more than a second is another place, and
another slip than the one that the log shows."""

LOG_DELAY_SECONDS = 0.025
"""A fixed delay of a timecode interface stays below this (common practice, no source)."""

# agreement

LEAST_CHANGES = 12
"""Changes of value in a place from which a track sounds: a bass note as a square wave has about as many."""

MET_SHARE = 1 / 3
"""Share of the places at which a track is identical from which it belongs: up to half of it may be flawed, and the
places are a sample of it."""

UNTOLD_RATIO = 3.0
"""So many tracks must belong for each one that does not where no log says so: then sound alone tells the place, and a
kit of drums that stand on a track each must not outvote the players. Where a log does, as many will do."""

# tie

MOST_TOUCH_SECONDS = 0.001
"""Timecode that tells less than this does not tell whether reels touch."""

# relation

ANCHOR_SAMPLES = 2048
"""Length of an anchor's probe: enough informative samples even in quiet material, short against most flaws."""

SHORT_SAMPLES = 256
"""Length of an anchor's probe between slips close to each other: eight tracks of it tell as much as one track of an
anchor, and buffers of recorders are seldom shorter (common practice, no source)."""

SEARCH_SAMPLES = 24000
"""Half a second at 48 kHz: the least distance of two slips that are told apart, and how far around its place something
is looked for: an anchor where several in a row were not found, by a slip that no log shows; an identical place for a
join."""

LEAST_ANCHORS = 24
"""Anchors wanted even in a short overlap; as many places are asked about at most, where all tracks are, spread over all
that were found: each is read in both passes. So many shifts are weighed of a pass that merely runs along."""

DOUBTED_VOTES = 8
"""A border that is worse than the best one by no more samples than this is as likely: so many agree by chance."""

# splices

LOUD_SAMPLES = 128
"""Errors are held against those of so many samples before, 2.7 ms at 48 kHz, as the sound's own."""

USUAL_RATIO = 3.0
"""Errors up to so many times the root mean square of those beside them are usual."""

LEAST_SURPRISE = 2.0
"""A splice surprises by so many nats, all tracks together."""

# surplus

ONCE_SHARE = 0.2
"""Share of a stretch that may be equal by chance; between this and most of it nothing is reported."""

LEAST_HELD = 4
"""So many samples of one value, or of silence, may have been put in by the machine, and are nobody's copy."""

FLAW_CHANCE = 0.02
"""A track's copy is flawed, at most, this often."""

LEAST_NATS = 6.0
"""One way is likelier than the other by so much, all tracks together: one chance in 400. By so much, too, a copy stands
out against chance at any place, and against every other place. Of passes that merely run along another shift has to
explain so much more, in nats a sample of all tracks and places together."""

# tracks

PLACES = 12
"""Places at which tracks, or passes, are held against each other, spread over an overlap."""

MOST_LOOKS = 240
"""Places at which a track that seems a stranger is looked at again: enough that one that sounds seldom is met."""

FEW_SHARE = 1 / 8
"""A stranger fits at fewer than this share of the places where it sounds: a note that comes again."""
