"""Every story of a place in which captures differ, the cheapest one, and by how much it leads.

Question: which version is the tape's in each part of this place, or is none?
Input: the versions and what each is built of; what sound looks like around; parts to tell stories of.
Output: for each part a verdict.

In each part one version is the tape's sound, or none is; each of the others shows a flaw there, which began and ended
somewhere. What a whole story costs is the sum of what its parts cost and of what it costs that flaws begin, end and
meet. The cheapest one is a shortest path, with what every other story costs at least.

- `scene`: what stories are told of; what each version costs in a part, as the tape's sound and as a flaw.
- `paths`: the cheapest story through each state of each part, and what it costs to go from one part into the next.
- `verdict`: what is said of a part for that, or left open.

The numbers stand in `judge.limits`.
"""

from __future__ import annotations

from assembler.aligner.judge.stories.paths import verdicts_on
from assembler.aligner.judge.stories.scene import Scene
from assembler.aligner.judge.stories.verdict import HELD_ON, LOOK_ALIKE, Judged, Verdict

__all__ = ["HELD_ON", "LOOK_ALIKE", "Judged", "Scene", "Verdict", "verdicts_on"]
