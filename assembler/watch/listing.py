"""What a check of finished passes comes to, as events: flaws that were not reported while they grew, and the list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.retakes import find_retakes, retakes_json, retakes_lines
from assembler.watch.events import Event

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.watch.checking import Checked
    from assembler.watch.following import Follower


def flaws_found(result: Checked, ended: Sequence[Follower]) -> Iterator[Event]:
    """Yield the flaws of passes that have just ended, but for those told while they were recorded."""
    waiting = {follower.name: follower for follower in ended}
    for one in () if result.edit is None else result.edit.passes:
        follower = waiting.get(one.imported.name)
        for flaw in () if follower is None else one.flaws:
            left = follower.leftover(flaw.kind, flaw.start, flaw.end, flaw.tracks) if follower else []
            if left and follower is not None:
                more: dict[str, object] = {} if flaw.samples is None else {"samples": flaw.samples}
                yield follower.flaw(flaw.kind, flaw.start, flaw.end, left, more)


def retakes_event(result: Checked) -> Event:
    """Return what must be played again, or why that is not known."""
    if result.edit is None or result.sheet is None:
        words = result.problem or "nothing is finished yet"
        return Event("retakes", "", words, more={"rolls": [], "reels": [], "suspects": []})
    retakes = find_retakes(result.sheet, result.edit)
    return Event(
        "retakes", "", result.problem, more=retakes_json(retakes), lines=tuple(retakes_lines(retakes))
    )
