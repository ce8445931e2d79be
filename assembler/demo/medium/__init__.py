"""A model of the medium: how a digital tape carries sound, and what becomes of what cannot be read.

Question: what leaves a machine that plays a damaged tape, and why is each sample what it is?
Input: samples of all tracks, a seed, what befalls the tape and the recorder.
Output: what is captured, and the truth about every sample. Everything rests on what is published of such tapes; it
knows nothing of how flaws are found and shares no rule with it. The demo and `scripts/bench/medium_trials.py` use it.

Each in its file:

- `format`: sweeps of blocks, the interleave, what the code can mend. `causes`: what keeps blocks from being read.
- `concealment`: what stands in for words that are lost. `machine`: a tape played, from words to samples.
- `recorder`: samples lost, doubled or repeated behind the machine.
"""
