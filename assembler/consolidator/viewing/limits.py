"""The numbers of views: how much a page may hold, how much of a place is shown, how loud a clip may be."""

from __future__ import annotations

from typing import Final

MOST_CLIP_BYTES: Final = 8_000_000
"""Of FLAC, some 40 places; a third more as text. More would fit into a page's 25 MB beside `MOST_WINDOW_BYTES` and its
tables, but to encode it is most of what views cost a build."""

MOST_WINDOW_BYTES: Final = 4_000_000
"""Of waveforms, each number written out with a comma."""

FLAC_SHARE: Final = 0.7
"""Of its samples' bytes, what a clip is reckoned to take before it is made: dense music with noise. Only what has been
made is held against the limit."""

NUMBER_BYTES: Final = {16: 5, 24: 7}
"""What a number of a waveform is reckoned to take, by word length, before it is made: music at -20 dB. Only what has
been made is held against the limit."""

COLUMNS: Final = (600, 300, 200, 120)
"""Columns of a window; the most with which all places have room."""

EDGE_SAMPLES: Final = 48
"""Shown on either side of a border, a millisecond at 48 kHz."""

LEAST_AROUND_SAMPLES: Final = 256
"""Shown on either side of a place."""

MOST_AROUND_SECONDS: Final = 1.0
"""Shown, and heard, on either side of a place."""

LONGEST_DRAWN_SECONDS: Final = 10.0
"""A longer place is drawn at its borders alone: as a whole it would be that much of every pass, read again."""

LONGEST_HEARD_SECONDS: Final = 2.0
"""Of a longer place that much is heard, from its beginning."""

CLIP_BITS: Final = 16

MARGIN_SAMPLES: Final = 64
"""Held back beside a flaw: its last samples may be the tape's by chance, or not quite."""

RAMP_SECONDS: Final = 0.005
"""In which a clip is lowered and let go: short enough to keep what is around, long enough not to click."""

SLOT_SECONDS: Final = 0.01
"""Loudness is compared in slots of this length, peaks beside."""

QUIET_SHARE: Final = 2.0**-8
"""Of full scale, -48 dB: to that a burst may rise in surroundings that are quieter, or silent."""
