"""The list as JSON for scripts and as lines for a terminal or a pipe."""

from __future__ import annotations

from math import exp
from typing import TYPE_CHECKING, Any

from assembler.retakes.words import counted, kind_words, track_numbers
from assembler.verdict.states import shares_words

if TYPE_CHECKING:
    from assembler.retakes.model import Retakes, Roll, TimedSuspect

MOST_SUSPECTS = 20
"""Places to listen to that are reported in lines and on the page; JSON has them all."""


def retakes_json(retakes: Retakes) -> dict[str, Any]:
    """Return the list as plain values for JSON: rolls, reels, suspects."""
    return {
        "rolls": [_roll_record(roll) for roll in retakes.rolls],
        "reels": [
            {
                "name": reel.name,
                "may_come_off": reel.may_come_off,
                "rolls": reel.rolls,
                "seconds": round(reel.seconds, 3),
                "states": {str(state): share for state, share in reel.states.items()},
                "words": reel.words,
            }
            for reel in retakes.reels
        ],
        "suspects": [
            {
                "reel": one.suspect.reel,
                "start": one.suspect.start,
                "end": one.suspect.end,
                "tracks": list(one.suspect.tracks),
                "kind": one.suspect.kind,
                "odds": round(one.suspect.odds, 1),
                "timecode": one.timecode,
            }
            for one in retakes.suspects
        ],
    }


def _roll_record(roll: Roll) -> dict[str, Any]:
    return {
        "reel": roll.reel,
        "roll_to": roll.roll_to,
        "from": roll.play_from,
        "to": roll.play_to,
        "start": roll.start,
        "end": roll.end,
        "seconds": round(roll.seconds, 3),
        "tracks": list(roll.tracks),
        "kinds": list(roll.kinds),
        "plays": roll.plays,
        "why": roll.why,
        "passes": [{"pass": one.pass_name, "text": one.text} for one in roll.passes],
    }


CAUTION = (
    "Play only what the tape can stand another play of. Let each roll run on for a second after its end, and capture "
    "every play; keep the level low while you listen for faults."
)


def retakes_lines(retakes: Retakes) -> list[str]:
    """Return the list in plain lines."""
    lines = [f"{retakes.title}: {counted(len(retakes.rolls), 'roll')} to play"]
    if retakes.rolls:
        lines.append(CAUTION)
    for number, roll in enumerate(retakes.rolls, 1):
        held = "; ".join(f"{one.pass_name}: {one.text}" for one in roll.passes)
        places = f"roll to {roll.roll_to}, play {roll.play_from} to {roll.play_to}"
        lines += [
            f"{number}. Reel {roll.reel}: {places}: {roll.track_words}",
            f"   why: {roll.why}",
            f"   {plays_words(roll.plays)}: {held}",
        ]
    for reel in retakes.reels:
        lines += [f"Reel {reel.name}: {reel.words}", f"   {shares_words(reel.states)}"]
    if retakes.suspects:
        lines.append("Listen here, with the level turned down first; nothing is certain:")
        lines += [f"   {suspect_words(one)}" for one in retakes.suspects[:MOST_SUSPECTS]]
    return lines


def plays_words(plays: int) -> str:
    """Return how often a place has been played."""
    return f"played {counted(plays, 'time')} so far" if plays else "never played so far"


def suspect_words(one: TimedSuspect) -> str:
    """Return a place to listen to in a line."""
    tracks = track_numbers(one.suspect.tracks)
    share = 1 / (1 + exp(-one.suspect.odds))
    return (
        f"reel {one.suspect.reel}, {one.timecode}, track{'s' * (len(one.suspect.tracks) != 1)} {tracks}: "
        f"{kind_words(one.suspect.kind)}? {100 * share:.0f} % likely"
    )
