"""What is found in a log or a stripe, told with its place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

OTHER_SOURCES: Final = "give the pass a start, or bext or audio as its timecode"
"""What an error advises where a log cannot place its pass."""

CHECK_RATE: Final = "check the sheet's frame_rate"
"""What an error advises where labels are not those of the sheet's rate."""

# A log with more findings than this tells the first ones and how many there were.
_MOST_FINDINGS_OF_A_KIND: Final = 20


@dataclass(frozen=True)
class Finding:
    """Something odd that a person should know, and that did not stop the work.

    Args:
        kind: one word for programs, as ``gap``.
        seconds: where in the log, from the pass's first sample; None where no single place is meant.
        text: one plain sentence for people.
    """

    kind: str
    seconds: float | None
    text: str


def tell_damage(findings: Sequence[Finding]) -> str:
    """Return, to go on with in an error, what was odd about a file so that it cannot be used; empty if nothing was."""
    return next((f"; {finding.text}" for finding in findings if finding.kind in ("damaged_log", "order")), "")


def shorten_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings with at most twenty of a kind, and a last one that says how many are left out."""
    kept: list[Finding] = []
    counts: dict[str, int] = {}
    for finding in findings:
        counts[finding.kind] = counts.get(finding.kind, 0) + 1
        if counts[finding.kind] <= _MOST_FINDINGS_OF_A_KIND:
            kept.append(finding)
    for kind, count in counts.items():
        if count > _MOST_FINDINGS_OF_A_KIND:
            more = count - _MOST_FINDINGS_OF_A_KIND
            kept.append(Finding(kind, None, f"{more} more of this kind"))
    return tuple(kept)
