"""A model of the medium: how a digital tape carries sound, and what becomes of what cannot be read.

A tape's words lie in sweeps of blocks (`format`). What keeps blocks from being read makes a play (`causes`); the
machine mends what its code can and conceals the rest (`concealment`, `machine`); the recorder behind it loses,
doubles or repeats samples (`recorder`). The truth about every sample is kept: what it was made as, and why.

Everything rests on what is published of such tapes. It knows nothing of how flaws are found and shares no rule with
it. The demo session is made by it, and so are the captures of `scripts/bench/medium_trials.py`.
"""
