"""What a pass's log shows, as notes for the engineer: with places in timecode and in the pass."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assembler.timecode import format_sample, frame_rate
from assembler.verdict.notes import Note, NoteKind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.importer.places.position import Position
    from assembler.sheet import Session
    from assembler.timecode import ClockFit, Finding

_NOTE_KINDS: Final[Mapping[str, NoteKind]] = {
    "log_clock": "log_clock",
    "not_clocked": "not_clocked",
    "mislabelled": "not_clocked",
    "relabelled": "relabelled",
    "timecode_gap": "timecode_gap",
    "timecode_jump": "timecode_jump",
    "restart": "timecode_jump",
    "reverse": "timecode_jump",
    "count": "undecided",
    "count_open": "undecided",
}
"""What the log shows, as a note; everything else is of the kind "other"."""

_COUNTED_KINDS: Final = frozenset({"plain_quarter_frames", "stray", "unread"})
_ALIKE_KINDS: Final = frozenset({*_COUNTED_KINDS, "coarse_clock", "colour_flag"})
"""What many logs of a session have in common: remarks on a log as a whole, told in one line together. The words of the
counted ones begin with their number."""

_TOLD_SECONDS: Final = 1.0
"""A log that begins or ends further than this from the ends of its pass is reported."""


def clock_notes(name: str, position: Position, length: int, session: Session) -> list[Note]:
    """Return the notes on the log of a pass; none where it has no log.

    Args:
        name: of the pass.
        position: where its log puts it.
        length: of the pass in samples.
        session: for its rates.
    """
    if position.clock is None:
        return []
    notes = [_finding_note(name, finding, position, length, session) for finding in position.clock.findings]
    notes += _cover_notes(name, position.clock, length, session.sample_rate)
    return notes + _rewound_notes(name, position, session)


def _finding_note(name: str, finding: Finding, position: Position, length: int, session: Session) -> Note:
    kind = _NOTE_KINDS.get(finding.kind, "other")
    if finding.seconds is None:
        theme, count = _theme(finding)
        return Note(kind, f"{name}: {finding.text}", pass_name=name, theme=theme, count=count)
    at = round(finding.seconds * session.sample_rate)
    where = f"{finding.seconds:.2f} s"
    sample = at + position.shift_at(at)
    # While the tape stood still or was wound the pass has no place.
    is_still = any(slip.pass_sample <= at < slip.pass_sample + slip.still_samples for slip in position.slips)
    if 0 <= at < length and sample >= 0 and not is_still:
        where = f"{_label(sample, session)} ({finding.seconds:.2f} s in)"
    return Note(kind, f"{name} at {where}: {finding.text}", pass_name=name, start=at, end=at)


def _label(sample: int, session: Session) -> str:
    return format_sample(sample, frame_rate(session.frame_rate), session.sample_rate)


def _theme(finding: Finding) -> tuple[str, int | None]:
    """Return what a remark on a whole log has in common with other logs', and its own number."""
    if finding.kind not in _ALIKE_KINDS:
        return "", None
    number, _, words = finding.text.partition(" ")
    if finding.kind in _COUNTED_KINDS and number.isdecimal():
        return words, int(number)
    return finding.text, None


def _cover_notes(name: str, clock: ClockFit, length: int, sample_rate: int) -> list[Note]:
    """Tell where timecode begins or ends elsewhere than the pass does."""
    start, end = clock.stretches[0].log_start, clock.stretches[-1].log_end
    seconds = length / sample_rate
    if start >= seconds or end <= 0.0:
        text = (
            f"{name}: its log tells timecode from {start:.2f} s to {end:.2f} s, but the pass lasts from 0 to "
            f"{seconds:.2f} s: its place is reckoned over the distance; is it another pass's log?"
        )
        return [Note("undecided", text, pass_name=name)]
    texts = []
    if start > _TOLD_SECONDS:
        texts.append(f"timecode begins {start:.2f} s in; what comes before is placed by what follows")
    if end < seconds - _TOLD_SECONDS:
        texts.append(
            f"timecode ends {seconds - end:.2f} s before the pass does; what follows is placed by what was"
        )
    if start < -_TOLD_SECONDS:
        texts.append(f"timecode begins {-start:.2f} s before the pass does")
    if end > seconds + _TOLD_SECONDS:
        texts.append(f"timecode goes on for {end - seconds:.2f} s after the pass")
    return [Note("timecode_gap", f"{name}: {text}", pass_name=name) for text in texts]


def _rewound_notes(name: str, position: Position, session: Session) -> list[Note]:
    """Tell where a tape was wound back in mid-pass to before where the pass begins: that part has no place."""
    notes = []
    for slip in position.slips:
        after = slip.pass_sample + slip.still_samples
        start, place = position.shift_at(0), after + position.shift_at(after)
        if place < start - _TOLD_SECONDS * session.sample_rate and place >= 0:
            text = (
                f"{name} at {after / session.sample_rate:.2f} s: the tape was wound back to {_label(place, session)}, "
                f"before {_label(start, session)} where the pass begins; what it plays up to there is not used. "
                "Cut the capture there into two passes"
            )
            notes.append(Note("undecided", text, pass_name=name, start=after, end=after))
    return notes
