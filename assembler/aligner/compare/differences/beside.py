"""What is known already beside a place that is judged: flaws of the same pass that go on in it.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.limits import LOOKED_AT
from assembler.aligner.records.limits import BRIDGE_SAMPLES, MOST_GAP_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


class Beside:
    """The flaws of one track that are known already.

    Args:
        passes: in their places.
        track: from 0 in tape order.
        flaws: known of it.
    """

    def __init__(self, passes: Sequence[PlacedPass], track: int, flaws: Iterable[FoundFlaw]) -> None:
        self._passes = {one.name: one for one in passes}
        self._track = track
        self._known: dict[str, list[tuple[int, int, str]]] = {one.name: [] for one in passes}
        self.add(flaws)

    def add(self, flaws: Iterable[FoundFlaw]) -> None:
        """Take further flaws into account."""
        for flaw in flaws:
            insort(self._known[flaw.pass_name], (flaw.start, flaw.end, flaw.kind))

    def is_flawed_before(self, name: str, place: Range) -> bool:
        """Return whether a pass is flawed right before a place; a level held is one event for as long as it lasts."""
        known = self._known[name]
        at = bisect_left(known, (place[0], 0, ""))
        return self._is_flawed_through(name, place) or any(
            end <= place[1]
            and (
                place[0] <= end + BRIDGE_SAMPLES
                or (
                    kind in ("mute", "hold")
                    and place[0] <= end + MOST_GAP_SAMPLES
                    and self._holds(name, (end - 1, place[0] + 1))
                )
            )
            for _, end, kind in known[max(0, at - LOOKED_AT) : at]
        )

    def is_flawed_behind(self, name: str, place: Range) -> bool:
        """Return whether a pass is flawed right behind a place."""
        known = self._known[name]
        at = bisect_left(known, (place[1] - BRIDGE_SAMPLES, 0, ""))
        return self._is_flawed_through(name, place) or any(
            start <= place[1] + BRIDGE_SAMPLES and place[0] <= start
            for start, _, _ in known[at : at + LOOKED_AT]
        )

    def _is_flawed_through(self, name: str, place: Range) -> bool:
        """Return whether a flaw begins before a place and ends behind it, as around what another pass lost."""
        known = self._known[name]
        at = bisect_left(known, (place[0], 0, ""))
        return any(place[1] < end for _, end, _ in known[max(0, at - LOOKED_AT) : at])

    def _holds(self, name: str, where: Range) -> bool:
        return not np.ptp(self._passes[name].samples(self._track, *where))
