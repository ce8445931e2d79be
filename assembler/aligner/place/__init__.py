"""Where each pass of a reel lies on the timeline, to the sample.

Question: at which shift is a pass identical with another one; where does it slip, and whose slip is it?
Input: imported passes with the places that their logs give them.
Output: time maps, tracks as they are wired, groups of passes that hold the same numbers, passes refused and why.

In the order in which they act:

- `matching`: telling samples of a probe vote for a shift, the winner is confirmed on all.
- `anchors`: such places all over an overlap.
- `agreement`: whether the places prove anything; what repeats proves none.
- `search`: a pass sought by its sound alone.
- `wiring/`: which track of the tape each track of a pass is.
- `slips/`: where a shift changes, whose slip that is.
- `relation`: a pass against another one, as stretches of one shift.
- `along/`: passes that run along and are nowhere identical, by likeness.
- `meeting`: where two passes are expected to meet by their logs.
- `reels/`: all passes of a reel, and reels that hold the same track.
- `idle`: digital silence before a machine locked and after it stopped.

The *reference* is the pass that another one, the *probe*, is held against or searched in. Places are probe samples with
their shifts; `expected` gives the shift expected at a probe sample, `overlap` the probe samples expected inside the
reference, and `radius` how far around what is expected to look, in samples.

The numbers stand in `limits`.
"""
