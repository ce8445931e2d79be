"""Whether a log drops frames, settled from all logs of a session: what one log leaves open, another may answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.importer.places.settling import LoggedClock
from assembler.timecode import answer_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.importer.places.position import Position
    from assembler.timecode import Count, FrameRate


@dataclass(frozen=True)
class CountedPass:
    """A pass, the tape it is of, and what its own source says.

    Args:
        name: of the pass.
        reel: the tape's name.
        found: its place, or its log's clock.
    """

    name: str
    reel: str
    found: Position | LoggedClock


@dataclass(frozen=True)
class _Proof:
    """A log that passes the start of a minute, so that its labels show how it counts."""

    name: str
    reel: str
    source: str
    count: Count


def settle_counts(passes: Sequence[CountedPass], rate: FrameRate) -> list[Position | LoggedClock]:
    """Return what each pass's source says, with open questions of drop frame answered where another log can.

    Labels stand on the tape, so that any pass of a reel answers for its others, whatever their rate codes say.
    Reels may be striped each in its own way, so that one reel's labels say nothing of another's. But what raises the
    doubt is a code or flag alone: where the same word came through a log of the same form and is shown to be that
    interface's habit, it says nothing against the sheet, here as there. Where two logs that could answer contradict
    each other, a person is asked.

    Args:
        passes: all of the session.
        rate: of the sheet.
    """
    proofs = [
        _Proof(one.name, one.reel, one.found.source, one.found.draft.count)
        for one in passes
        if isinstance(one.found, LoggedClock)
        and one.found.draft.count is not None
        and (one.found.draft.count.bears_out or one.found.draft.count.is_wrong)
    ]
    return [_settle(one, proofs, rate) for one in passes]


def _settle(one: CountedPass, proofs: Sequence[_Proof], rate: FrameRate) -> Position | LoggedClock:
    found = one.found
    if not isinstance(found, LoggedClock) or found.draft.count is None or found.draft.count.says is None:
        return found
    if not any(finding.kind == "count_open" for finding in found.draft.findings):
        return found
    says = found.draft.count.says
    answer = _find_answer(one.reel, found.source, says, proofs)
    if answer is None:
        return found
    whose = f"{answer.name} of {'the same reel' if answer.reel == one.reel else f'reel {answer.reel}'}"
    answered = answer_count(says, rate, whose, answer.count)
    findings = tuple(
        answered if finding.kind == "count_open" else finding for finding in found.draft.findings
    )
    return replace(found, draft=replace(found.draft, findings=findings))


def _find_answer(reel: str, source: str, says: str, proofs: Sequence[_Proof]) -> _Proof | None:
    """Return the log that answers a pass; None where none can, or where they contradict each other."""
    own = [proof for proof in proofs if proof.reel == reel]
    if own:
        return own[0] if len({proof.count.is_wrong for proof in own}) == 1 else None
    alike = [proof for proof in proofs if proof.source == source and proof.count.says == says]
    # That another reel counts otherwise than the sheet does not prove that this one does.
    return alike[0] if alike and all(proof.count.bears_out for proof in alike) else None
