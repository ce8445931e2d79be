"""The numbers by which this room decides."""

from __future__ import annotations

# settle

LEAST_AT_ONCE = 4
"""Flaws of so many tracks between the same borders are one event, which spoils the others too."""

# standstill

LONGEST_RAMP = 128
"""Samples beside a mute over which the machine may turn the sound down or up: what is louder than so many steps differs
there from another pass at every sample."""

# strewn

MOST_NATS, USUAL_NATS, SCALE_NATS = 12.0, 0.64, 2.0
"""What a track may say of a window at most, what a track of sound has at any moment, and the scale on which more is
less likely: of 85 000 windows of eight tracks, clean, half had 5.1 nats in sum, one in a hundred 13.5, one in 10 000
20.7, none 25."""

CHANCE_NATS, FALL_NATS = 0.5, 4.0
"""What a piece may show by chance and yet count for nothing in the sum of what windows show, one after another; and by
how much that has fallen where a patch has ended: in 16 clean passes of eight tracks, made by the model of the medium
with own sounds, it rose by one nat at most."""

SHOWING_SHARE = 0.8
"""Share of the tracks that can tell which have to show a patch, since all lie in the same sweeps: on some it is how
their sound is made."""

MOST_SLOW = 0.8
"""Share of samples that move, or bend, by a step at most from which sound is too slow or too soft to tell anything."""

REACH = 4
"""Samples on either side of one that are looked at."""

# suspects

NEARBY_SAMPLES, NEARBY_NATS = 12_000, 2.0
"""Flaws come in clusters: so close to one, a quarter of a second at 48 kHz, another is as much likelier."""

SINGLE_NATS = -3.0
"""Odds for a flaw of a look-alike by itself, the only one of its build on its track: one in twenty, in twelve lone
passes that the model of the medium made."""

LEAST_ODDS, MOST_AN_HOUR = -3.5, 20
"""Odds from which a place is worth listening to, and how many of an hour of tape a person will listen to."""
