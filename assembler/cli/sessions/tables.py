"""The tables of a session as a terminal shows them: passes, flaws in the order of time, tracks."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.cli.terminal.columns import Column, print_table
from assembler.report import outcome_words, reason_words
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.aligner import AlignedPass, Edit, TrackEdit
    from assembler.cli.terminal.consoles import PlainConsole
    from assembler.consolidator import SessionResult
    from assembler.importer import Position

APART_SHARE = 0.75
"""Passes whose places against each other are no surer than this share of each place itself need no column for it."""


def print_passes(console: PlainConsole, result: SessionResult, *, whole: bool = False) -> None:
    """Print a row for each pass, in the sheet's order of trust: where it lies, how surely, and its clock."""
    passes = result.edit.passes
    positions = [one.imported.position for one in passes]
    sample_ms = 1000 / result.sheet.session.sample_rate

    ends = [_ends(result, one) for one in passes]
    clocks = [one.clock for one in positions]
    apart = [
        Column(
            "± apart",
            ["–" if one.apart_samples is None else f"{one.apart_samples:.2f}" for one in positions],
            5,
            is_number=True,
        )
    ]
    columns = [
        Column("Pass", [one.imported.name for one in passes]),
        Column("Reel", [one.imported.reel for one in passes], 9),
        Column("From", [low for low, _ in ends]),
        Column("To", [high for _, high in ends]),
        Column("Position", [one.source for one in positions], 6),
        Column("Clock", [fit.verdict if fit else "–" for fit in clocks], 8),
        Column("Rate", [str(one.imported.audio.sample_rate) for one in passes], 1, is_number=True),
        Column("Slope ppm", [f"{fit.slope_ppm:+.1f}" if fit else "–" for fit in clocks], 2, is_number=True),
        Column(
            "Jitter ms",
            [f"{1000 * fit.jitter_seconds:.2f}" if fit else "–" for fit in clocks],
            3,
            is_number=True,
        ),
        Column("Missing", [_share(fit.missing_share) if fit else "–" for fit in clocks], 4, is_number=True),
        Column("± samples", [f"{whole_doubt(one):.2f}" for one in positions], 7, is_number=True),
        Column("± ms", [f"{whole_doubt(one) * sample_ms:.3f}" for one in positions], 5, is_number=True),
        *(apart if any(map(_gains_apart, positions)) else []),
        Column("Flaws", [str(len(one.flaws)) for one in passes], is_number=True),
    ]
    print_table(console, columns, whole=whole)


def whole_doubt(position: Position) -> float:
    """Return how far off a place may be, in samples: one standard deviation, with what no log can tell."""
    common = 0.0 if position.clock is None else position.clock.common_samples
    return math.hypot(position.uncertainty_samples, common)


@dataclass(frozen=True)
class FlawLine:
    """A flaw, in one line for all tracks of one outcome and all passes that have it alike."""

    place: int
    passes: tuple[str, ...]
    kind: str
    size: str
    outcome: str
    tracks: str
    reasons: tuple[str, ...]

    @property
    def because(self) -> str:
        """Why it is reported of each pass, in their order; once where that is the same of all."""
        return " / ".join(self.reasons if len(set(self.reasons)) > 1 else self.reasons[:1])


def flaw_lines(result: SessionResult) -> list[FlawLine]:
    """Return the flaws of all passes in the order of time."""
    merged: dict[tuple[object, ...], FlawLine] = {}
    for line in sorted(_flaws(result), key=lambda line: line.place):
        key = line.place, line.kind, line.size, line.outcome, line.tracks
        first = merged.setdefault(key, line)
        if line.passes[0] not in first.passes:
            merged[key] = replace(
                first, passes=first.passes + line.passes, reasons=first.reasons + line.reasons
            )
    return list(merged.values())


def print_flaws(
    console: PlainConsole, result: SessionResult, lines: Sequence[FlawLine], *, whole: bool
) -> None:
    """Print flaws as a table."""
    session = result.sheet.session
    rate = frame_rate(session.frame_rate)
    columns = [
        Column("At", [format_sample(line.place, rate, session.sample_rate) for line in lines]),
        Column("Pass", [", ".join(line.passes) for line in lines]),
        Column("Kind", [line.kind for line in lines]),
        Column("Samples", [line.size for line in lines], 3, is_number=True),
        Column("Outcome", [line.outcome for line in lines]),
        Column("Tracks", [line.tracks for line in lines], 2, is_folded=True),
        Column("Because", [line.because for line in lines], 1),
    ]
    print_table(console, columns, whole=whole)


def print_tracks(console: PlainConsole, edit: Edit, *, whole: bool = False) -> None:
    """Print a row for each delivered track."""
    open_places = Counter(place.track.number for place in edit.uncured if place.accepted is None)
    tracks = edit.tracks
    columns = [
        Column("No.", [str(track.track.number) for track in tracks], is_number=True),
        Column("Track", [track.track.name for track in tracks], is_folded=True),
        Column("Spans", [str(len(track.spans)) for track in tracks], 2, is_number=True),
        Column("Joins", [str(len(track.joins)) for track in tracks], 3, is_number=True),
        Column(
            "Fades", [str(sum(1 for join in track.joins if join.fade)) for track in tracks], 4, is_number=True
        ),
        Column("From passes", [_sources(track) for track in tracks], 5, is_folded=True),
        Column("Uncured", [str(open_places[track.track.number]) for track in tracks], is_number=True),
    ]
    print_table(console, columns, whole=whole)


def _sources(track: TrackEdit) -> str:
    """Return the passes that a track is taken from, in the order in which they are met."""
    names = (
        name
        for span in track.spans
        for name in (span.pass_name, *(filled.pass_name for filled in span.filled))
        if name
    )
    return ", ".join(dict.fromkeys(names))


def _flaws(result: SessionResult) -> Iterator[FlawLine]:
    for one in result.edit.passes:
        if one.time_map is None:
            continue
        reel = next(reel for reel in result.sheet.reels if reel.name == one.imported.reel)
        for flaw in one.flaws:
            places = one.time_map.timeline_ranges(flaw.start, max(flaw.end, flaw.start + 1))
            place = places[0][0] if places else one.time_map.start
            start = place - result.edit.start_sample
            end = start + flaw.end - flaw.start
            yield FlawLine(
                place,
                (one.imported.name,),
                flaw.kind,
                f"{flaw.samples:+d}" if flaw.samples is not None else str(flaw.end - flaw.start),
                outcome_words(start, end, result.edit.length, is_cured=flaw.cured),
                ", ".join(reel.tracks[track] or str(track + 1) for track in flaw.tracks),
                (reason_words(flaw.because.rule.value, flaw.because.nats),),
            )


def _ends(result: SessionResult, one: AlignedPass) -> tuple[str, str]:
    """Return the frames in which a pass begins and ends."""
    if one.time_map is None:
        return "not used", ""
    session = result.sheet.session
    rate = frame_rate(session.frame_rate)
    first, last = (
        format_sample(place, rate, session.sample_rate) for place in (one.time_map.start, one.time_map.end)
    )
    return first, last


def _gains_apart(position: Position) -> bool:
    """Return whether a pass lies surer against the others than by itself: else there is nothing to show."""
    return (
        position.apart_samples is not None
        and position.apart_samples < APART_SHARE * position.uncertainty_samples
    )


def _share(share: float) -> str:
    """Return a share in per cent; little is not reported as nothing."""
    return "<0.1%" if 0 < share < 0.0005 else f"{share:.1%}"
