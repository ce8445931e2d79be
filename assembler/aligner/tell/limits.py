"""The numbers by which this room decides."""

from __future__ import annotations

# outcome

MOST_LISTED, COARSE_SAMPLES = 1000, 1 << 16
"""Where a track has more uncured places than this, those of one kind that lie so close (1.4 s at 48 kHz) are
listed as one: nobody looks at each of them, and the list stays bounded by the length of the set."""

# reel

FAR_SECONDS = 3600
"""Passes further from all others than this are asked about."""

MOST_NAMED = 4
"""Passes, or places, named in one note; of more the number is reported."""

# causes

PLACE_SECONDS = (0.00025, 0.001)
"""A flaw is found to begin up to so long before or after its moment of the turn; both are tried."""

TURN_SHARE = 0.02
"""What turns slowly changes its pace, as a spool does: so large a share of a turn is allowed for instead."""

MOST_CHANCE = 1e-5
"""How often flaws without a pace may seem to have one: rather miss a part that turns than report one that does not."""

LONGEST_TURN_SECONDS = 5.0
"""The spools of a tape machine turn no slower: 0.3 m of tape on a turn at 9.5 cm/s. Common practice, no source."""
