"""The numbers by which concealment is told, each with its unit, what it decides and what it rests on."""

from __future__ import annotations

PRIOR_LOST = 0.01
"""What is known of a sample before any loss nearby: one in a hundred differing patches, counted as one sample. No
sample is taken for lost more surely by its neighbours than that one is for kept."""

SOME_LOST = 0.1
"""Share of losses nearby that is held against none: a weak head's, and little of a patch."""

NONE_NATS = 2.0
"""Nats by which none nearby is likelier than some, where captures differ, before any is looked at."""

BEND_SHARE = 0.2
"""What a bend counts for against those around: each sample stands in its own bend and in those of both neighbours, and
in soft sound, which is mostly rounding, neighbouring bends hang together beyond that. At a third a few samples of
captures not our own were settled wrong, as the smoothest, at a quarter three, at a fifth none."""

LEAST_BEND = 0.35
"""Steps: rounding alone bends sound by about so much."""

BROKEN_HOLD_COST = 9.0
"""Nats: a sample held though the next one is good. By the published rule the last of several lost ones is a mean."""

PIECE_SAMPLES = 64
"""Longer rows of differing samples are cut: what links neighbours reaches over one sample only."""

DECIDED_NATS = 3.0
"""Lead from which a sample is settled; one in e^3 of those at the limit may be wrong, and hardly any are at it."""

LEAST_EVIDENCE = 1.0
"""Nats that the lost samples of a patch are unlikely to be means and holds by nature; lead of a sample that is not
settled from which it speaks for the pass that has it: one in six is wrong."""

LEAST_SURPRISE = 0.2
"""Nats that a lost sample has to be unlikely by nature, on the average: sound that holds levels tells nothing."""

LONGEST_RUN = 8
"""Longer rows of differing samples say nothing of what a machine makes of several: they may be other flaws."""
