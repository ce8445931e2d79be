"""What is still true of all that was reported: one line a pass, the last flaws, and what must be played again."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from assembler.watch.events import length_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.watch.events import Event

MOST_RECENT: Final = 20
"""Flaws kept to be shown; all of them have been reported."""


FINISHED: Final = "finished"
"""How a pass ends that nothing went wrong with."""

_CLOCKS: Final = {"lost": "timecode lost", "none": "no timecode"}


@dataclass(frozen=True)
class PassLine:
    """What is known of a pass by now.

    Args:
        name: of the pass.
        state: "recording", or how it ended.
        length: its length in words.
        timecode: label of its last sample, "" where none is known.
        clock: what is wrong with its timecode, "" for nothing.
        level: its loudest track in decibels of full scale; None in silence.
        tracks: how many are wrong as a whole, by what they are: dead, alike.
        flaws: how many were reported.
    """

    name: str
    state: str = "recording"
    length: str = ""
    timecode: str = ""
    clock: str = ""
    level: float | None = None
    tracks: Mapping[str, int] = field(default_factory=dict)
    flaws: int = 0


@dataclass
class Board:
    """All that a person has to see, kept by taking events as they come.

    Args:
        passes: by name, the newest last.
        recent: the last flaws, newest last.
        rolls: what must be played again, as in the list's JSON.
        reels: of each tape whether it may come off, likewise.
        suspects: where to listen, likewise.
        note: a word on that list, as why there is none.
    """

    passes: dict[str, PassLine] = field(default_factory=dict)
    recent: list[Event] = field(default_factory=list)
    rolls: Sequence[Mapping[str, Any]] = ()
    reels: Sequence[Mapping[str, Any]] = ()
    suspects: Sequence[Mapping[str, Any]] = ()
    note: str = "nothing is finished yet"

    def take(self, event: Event) -> None:
        """Take what was reported."""
        if event.event == "retakes":
            self.rolls, self.reels = event.more["rolls"], event.more["reels"]
            self.suspects = event.more.get("suspects", ())
            self.note = event.words
            return
        line = self.passes.get(event.pass_name, PassLine(event.pass_name))
        self.passes[event.pass_name] = self._changed(line, event)

    def _changed(self, line: PassLine, event: Event) -> PassLine:
        match event.event:
            case "recording":
                return replace(
                    line,
                    state="no sound comes" if event.kind == "stalled" else "recording",
                    length=length_words(event.more["samples"], event.more["sample_rate"]),
                    timecode=event.timecode or "",
                    level=max((one for one in event.more["levels"] if one is not None), default=None),
                )
            case "flaw":
                return replace(line, flaws=line.flaws + self._note(event))
            case "taken_back":
                self._forget(event)
                return replace(line, flaws=max(0, line.flaws - len(event.more["places"])))
            case "timecode":
                if event.kind == "found":
                    self.recent = [one for one in self.recent if not _is_without_clock(one, event.pass_name)]
                else:
                    self._note(event)
                return replace(line, clock=_CLOCKS.get(event.kind, ""))
            case "dead_track":
                self._note(event)
                count = line.tracks.get(event.kind, 0) + len(event.tracks)
                return replace(line, tracks={**line.tracks, event.kind: count})
            case _:
                if event.words != FINISHED:
                    self._note(event)
                return replace(line, state=re.split("[:,]", event.words, maxsplit=1)[0])

    def _forget(self, event: Event) -> None:
        """Keep no longer what was no flaw after all."""
        starts = {start for start, _ in event.more["places"]}
        self.recent = [
            one
            for one in self.recent
            if (one.pass_name, one.kind, one.tracks) != (event.pass_name, event.kind, event.tracks)
            or one.start not in starts
        ]

    def _note(self, event: Event) -> bool:
        """Keep what is wrong; return whether it is new, and not a flaw told again when it had ended."""
        known = [one for one in self.recent if _is_same(one, event)]
        self.recent = [*(one for one in self.recent if one not in known), event][-MOST_RECENT:]
        return not known


def _is_without_clock(event: Event, pass_name: str) -> bool:
    """Return whether it says that a pass has no timecode so far, which is over once it has some."""
    return (event.event, event.kind, event.pass_name) == ("timecode", "none", pass_name)


def _is_same(first: Event, second: Event) -> bool:
    return (first.pass_name, first.kind, first.start, first.tracks) == (
        second.pass_name,
        second.kind,
        second.start,
        second.tracks,
    )
