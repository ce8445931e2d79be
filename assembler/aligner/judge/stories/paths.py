"""The cheapest story through each state of each part: shortest paths, forwards and backwards."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.judge.stories.parts import Parts
from assembler.aligner.judge.stories.scene import Scene
from assembler.aligner.judge.stories.turns import beginning, entering, leaving
from assembler.aligner.judge.stories.verdict import Verdict, verdict_on

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Float64s, Int32s


class Stories:
    """All stories of a place: in each part one version is the tape's, or none is; what each costs."""

    def __init__(
        self,
        versions: Sequence[Int32s],
        structures: Sequence[Sequence[Structure]],
        around: Surroundings,
        parts: Sequence[Range],
        open_ends: tuple[bool, bool],
        holders: Sequence[int],
        flawed_beside: tuple[Sequence[bool], Sequence[bool]],
    ) -> None:
        before, behind = (np.array(flawed) for flawed in flawed_beside)
        self._scene = Scene(versions, structures, around, parts, open_ends, np.array(holders), before, behind)
        self._parts = Parts(self._scene)

    def verdicts(self) -> list[Verdict]:
        """Return what the cheapest stories say of each part."""
        totals = self._totals()
        # Where now one version seems right, now another or none, flaws lie over each other.
        told = {
            int(np.argmin(total))
            for total, same in zip(totals, self._scene.same, strict=True)
            if not same.all()
        }
        return [
            verdict_on(self._scene, self._parts, number, total, is_mixed=len(told) > 1)
            for number, total in enumerate(totals)
        ]

    def _totals(self) -> list[Float64s]:
        """Return for each part and state what the cheapest story costs that has the part in that state."""
        count = len(self._scene.parts)
        local = [self._parts.costs(number) for number in range(count)]
        tables = [entering(self._scene, number) for number in range(1, count)]
        forward = [beginning(self._scene) + local[0]]
        for table, own in zip(tables, local[1:], strict=True):
            forward.append((forward[-1][:, None] + table).min(axis=0) + own)
        backward = [leaving(self._scene)]
        for table, own in zip(reversed(tables), reversed(local[1:]), strict=True):
            backward.append((table + own + backward[-1]).min(axis=1))
        return [ahead + behind for ahead, behind in zip(forward, reversed(backward), strict=True)]
