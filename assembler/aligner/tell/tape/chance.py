"""What chance explains, in logarithms."""

from __future__ import annotations

import numpy as np


def log_tail(least: int, trials: int, share: float) -> float:
    """Return the logarithm of the chance that of so many trials, each hit by ``share``, at least so many are hit."""
    if least <= 0:
        return 0.0
    hits = np.arange(least, trials + 1)
    # Of the logarithms of factorials; the library's own tail takes a second to load.
    factorials = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, trials + 1)))))
    terms = factorials[trials] - factorials[hits] - factorials[trials - hits]
    terms += hits * np.log(share) + (trials - hits) * np.log1p(-share)
    return min(0.0, float(np.logaddexp.reduce(terms)))
