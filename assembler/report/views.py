"""What the page shows of one place: waveforms of every pass there and of the result, and short clips to hear.

Made while a set is rendered; the page draws and plays them and adds nothing. Positions count from the
first sample of the set.
"""

from __future__ import annotations

from dataclasses import dataclass

RESULT = ""
"""The source of what was delivered; any other source is the name of a pass."""

DIFFERENCE = "difference"
"""The source of a trace that shows how far passes lie apart; no pass is meant."""


@dataclass(frozen=True)
class Trace:
    """One drawn line of a window.

    Args:
        source: a pass, `RESULT`, or `DIFFERENCE`.
        low: least value of each column, in steps of the delivered word; None where the source holds nothing.
        high: greatest value of each column; the same object as ``low`` where a column is one sample.
    """

    source: str
    low: tuple[int | None, ...]
    high: tuple[int | None, ...]


@dataclass(frozen=True)
class Window:
    """A stretch of one track as every source has it.

    Args:
        title: what it shows: "whole place", "where it begins", "where it ends", "join".
        start: first sample of the first column.
        step: samples in a column; 1 where single samples are drawn.
        traces: the passes in the order of trust, then the result, then the difference.
    """

    title: str
    start: int
    step: int
    traces: tuple[Trace, ...]


@dataclass(frozen=True)
class Clip:
    """A few seconds to hear.

    Args:
        source: a pass, or `RESULT`.
        start: first sample.
        audio: one FLAC file, one channel, at the session's rate.
        is_held_back: whether louder parts were lowered to the level around them.
    """

    source: str
    start: int
    audio: bytes
    is_held_back: bool


@dataclass(frozen=True)
class View:
    """What there is to see and hear of a place or a computed join on one track.

    Args:
        track: number of the delivered track.
        start: first sample of the flaw, or where the fade begins.
        end: first sample after it.
        windows: empty where the limit of the page was reached.
        clips: empty where the limit of the page was reached.
    """

    track: int
    start: int
    end: int
    windows: tuple[Window, ...]
    clips: tuple[Clip, ...]


@dataclass(frozen=True)
class Views:
    """All views of a set, in time order, and how many more there would be without the limit.

    Args:
        views: at most one for a track and a range.
        without_clips: places whose clips were left out.
        without_windows: places whose waveforms were left out.
    """

    views: tuple[View, ...] = ()
    without_clips: int = 0
    without_windows: int = 0
