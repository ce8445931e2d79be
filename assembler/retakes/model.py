"""What is to be played again, in frozen records. Positions are timeline samples, labels the tape's own timecode."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.verdict.states import State, Suspect


@dataclass(frozen=True)
class PassWords:
    """What one pass has where a roll is asked for, in an engineer's words."""

    pass_name: str
    text: str


@dataclass(frozen=True)
class Roll:
    """One play: roll to a place before it, play through it, stop.

    Args:
        reel: name of the tape.
        roll_to: label to roll to; the pre-roll lies between it and ``play_from``.
        play_from: label of the frame that holds ``start``.
        play_to: label of the first frame that begins at ``end`` or after it.
        start: first sample that must be played.
        end: first one after it.
        seconds: of playing, pre-roll included.
        tracks: tape tracks from 0 that need it.
        track_words: the same as the sheet names them, and as the machine counts them.
        kinds: what is wrong there: kinds of flaw, "missing", "undecided", "seen_once", "suspect".
        plays: how many passes have played it so far.
        vain_plays: how many of them a place had that is flawed in all of them.
        why: in words.
        passes: what each pass of the tape has there, in the order of the sheet.
    """

    reel: str
    roll_to: str
    play_from: str
    play_to: str
    start: int
    end: int
    seconds: float
    tracks: tuple[int, ...]
    track_words: str
    kinds: tuple[str, ...]
    plays: int
    vain_plays: int
    why: str
    passes: tuple[PassWords, ...]


@dataclass(frozen=True)
class ReelRetakes:
    """What is left to do on one tape.

    Args:
        name: of the reel.
        may_come_off: nothing on it is to be played.
        rolls: how many.
        seconds: of playing still to do, pre-rolls included.
        states: share of each state, 0 to 1, each stretch counted by its worst track.
        words: one plain line on whether it may come off.
    """

    name: str
    may_come_off: bool
    rolls: int
    seconds: float
    states: Mapping[State, float]
    words: str


@dataclass(frozen=True)
class TimedSuspect:
    """A place to listen to, and its label on the tape."""

    suspect: Suspect
    timecode: str


@dataclass(frozen=True)
class Retakes:
    """The whole list.

    Args:
        title: of the session.
        rolls: tape by tape in the order of the sheet, in order of time.
        reels: in the order of the sheet.
        suspects: places to listen to, likeliest first.
    """

    title: str
    rolls: tuple[Roll, ...]
    reels: tuple[ReelRetakes, ...]
    suspects: tuple[TimedSuspect, ...]

    @property
    def is_done(self) -> bool:
        """Whether nothing is to be played."""
        return all(reel.may_come_off for reel in self.reels)
