"""What a run of one value is that a pass holds: a mute or a hold, or the sound itself.

All positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.stepped import holds_levels, interruptions
from assembler.aligner.records.limits import FEW, INSTANT_SAMPLES
from assembler.aligner.sound.levels import suspect_runs
from assembler.aligner.sound.limits import FIT_SAMPLES, LONGEST_PAUSE, PERIODS_SAMPLES

if TYPE_CHECKING:
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def kind_of_run(one: PlacedPass, track: int, run: Range, step: int, full_scale: int) -> str:
    """Return whether a run of one value is a mute or a hold; "" where it is the sound itself, or a rest."""
    start, end = run
    margin = FIT_SAMPLES
    left = one.samples(track, start - margin, start + margin)
    if end - start > 2 * margin:
        # Only the edges of a long run tell anything; its middle is left out.
        right = one.samples(track, end - margin, end + margin)
        samples = np.concatenate((left, right))
    else:
        samples = one.samples(track, start - margin, end + margin)
    for kind, _ in suspect_runs(samples, step, full_scale, at=margin):
        return "" if kind == "mute" and _is_rest(one, track, run, step) else kind
    return ""


def _is_one_step_off(edge: Int32s) -> bool:
    """Return whether sound beside zeros hardly ever changes, and is no farther from zero than its steps are wide."""
    widths = np.abs(np.diff(edge.astype(np.int64)))
    widest = int(widths.max())
    return float(np.mean(widths > 0)) <= FEW and (widest == 0 or abs(int(edge[0])) <= widest)


def _is_rest(one: PlacedPass, track: int, run: Range, step: int) -> bool:
    """Return whether a wave that holds its levels stops and does not go on in phase, as it does for a rest.

    A faint tail in coarse steps holds zero like every other level.
    """
    start, end = run
    beside = (start - PERIODS_SAMPLES, start), (end, end + PERIODS_SAMPLES)
    before, behind = (
        one.samples(track, *edge) for edge in ((start - INSTANT_SAMPLES, start), (end, end + INSTANT_SAMPLES))
    )
    is_one_of_steps = _is_one_step_off(before[::-1]) or _is_one_step_off(behind)
    if not is_one_of_steps and not all(holds_levels(one.samples(track, *side), step) for side in beside):
        return False
    if end - start > LONGEST_PAUSE:
        return True
    samples = one.samples(track, beside[0][0], beside[1][1])
    return not any(
        low < PERIODS_SAMPLES + end - start and high > PERIODS_SAMPLES
        for _, (low, high) in interruptions(samples, step)
    )
