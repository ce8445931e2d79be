"""What is reported of how the passes of a reel lie: whose slip is open, which log is wrong, what runs along."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from assembler.aligner.place.meeting import PassToPlace
    from assembler.aligner.records.timemap import Slip


def blame_note(one: PassToPlace, reference: PassToPlace, slip: Slip) -> Note:
    """Return the note on a slip that nothing shows to be either pass's."""
    lost = f"{abs(slip.samples)} samples {'lost' if slip.samples > 0 else 'repeated'}"
    return Note(
        "undecided",
        f"{one.name}: {lost}, or {reference.name} the other way round; "
        f"no third pass, no log and no sound tells, taken as a slip of {one.name}",
        pass_name=one.name,
        start=slip.pass_sample,
        end=slip.pass_sample,
    )


def unlike_note(one: PassToPlace, other: PassToPlace) -> Note:
    """Return the note on a pass that runs along with another one and is nowhere identical."""
    text = f"{one.name} runs along with {other.name} but is nowhere identical: a capture chain is not bit-transparent"
    return Note("not_transparent", text, pass_name=one.name)


def contradiction_note(one: PassToPlace, reference: PassToPlace, off: float, sample_rate: int) -> Note:
    """Return the note on sound and logs that disagree by more than an interface's delay: one of these is wrong."""
    way = "later" if off > 0 else "earlier"
    text = (
        f"{one.name} lies {abs(off) / sample_rate:.3f} s {way} by its sound in {reference.name} than by its log; its "
        f"sound is followed, but a log is wrong, perhaps the reel's place too: {log_question(one, reference, off)}"
    )
    return Note("undecided", text, pass_name=one.name)


def log_question(one: PassToPlace, other: PassToPlace, off: float) -> str:
    """Return what may be wrong with one of two logs, the likelier first: a log that is started late is soon made."""
    late = other if off > 0 else one
    return f"was {late.name}'s log started that much after its audio, or are the two logs exchanged?"
