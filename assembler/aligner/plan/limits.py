"""The numbers by which this room decides."""

from __future__ import annotations

# path

FLAWED_SAMPLE = 1e6
"""A flawed sample is the greatest evil: worth any number of joins in a session of a day."""

SAMPLE_IN_PART = 1e5
"""The tape's own sound, perhaps beside its place, or every second sample of it, is better than none; it stays a flaw
that is listed."""

BARE_CUT = 1e3
"""A join without a common good sample: nothing proves it."""

DIFFERING_JOIN = 1e2
"""A join of sides that differ: it has to be faded."""

ANY_JOIN = 1.0
"""Small, so that a pass is not left and taken again between two flaws that stand close: an edit of a thousand
joins is right and unreadable. With TRUST_PER_SAMPLE this keeps a retake for gaps under 20000 samples (0.4 s)."""

TRUST_PER_SAMPLE = 1e-4
"""A sample from a pass one place lower in the order of trust."""

GUARD_SAMPLES = 240
"""A join of identical sides keeps this distance (5 ms at 48 kHz) from the flaw it avoids, where there is room."""

# takes

FORMAT = 1
"""Of a plan as text: raised when an older program could not read it."""
