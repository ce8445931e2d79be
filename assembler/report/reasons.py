"""Why a flaw or an open place is reported, in the words of terminal and page."""

from __future__ import annotations

RULE_WORDS = {
    "concealed": "stands as concealment leaves lost samples",
    "strewn_losses": "more means and held levels than sound has, on most tracks at once",
    "standstill": "all tracks stand still at once",
    "written_twice": "all tracks hold at once what they held before",
    "stuck_bit": "one bit of the words is stuck",
    "dead_track": "no sound on the whole track, which another pass has",
    "outvoted": "other passes agree",
    "likeliest_story": "likeliest story of the place",
    "look_alike": "sound may look like that by itself",
    "held_on": "goes on from where it is a flaw",
    "agreed_build": "a machine's doing, though passes agree",
    "cut_off": "cuts sound off and lets it in again",
    "drawn_line": "a straight line in every pass",
    "foretold": "sound goes on after it as foretold",
    "in_phase": "the wave goes on in phase after it",
    "same_moment": "several tracks at the same moment",
    "other_tracks": "flawed at the same samples on other tracks",
    "beside_slip": "beside a slip, borne out by no other pass",
    "smeared": "beside its own flaw, smeared where its chain is undone",
    "too_many_differences": "too many differences to judge one by one",
    "slip": "sound before it and after it fits only so",
}
"""By the names of the record."""


def reason_words(rule: str, nats: float | None) -> str:
    """Return why something is reported, in a few words.

    Args:
        rule: as the record has it; one that a later version has added is told by its name.
        nats: its lead; None where it has none.
    """
    words = RULE_WORDS.get(rule, rule.replace("_", " "))
    return words if nats is None else f"{words}, {nats:.{0 if abs(nats) >= 10 else 1}f} nats"


def because_words(rule: str, nats: float | None) -> str:
    """Return why something is reported, as it stands behind what is reported."""
    return f"because: {reason_words(rule, nats)}"


def with_reason(text: str, rule: str, nats: float | None) -> str:
    """Return the text of a note with why it is reported; as it is where no rule is known."""
    return f"{text}; {because_words(rule, nats)}" if rule else text
