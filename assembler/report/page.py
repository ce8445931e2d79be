"""The page of a set, from its record: what was delivered, from where, what was cured, what was not.

The page needs nothing but itself: no script, no font, no picture from elsewhere. All numbers come from the
record, so that a page can be made again from ``assembly.json``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from assembler import palette
from assembler.pages import page_template
from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.reasons import reason_words, with_reason
from assembler.report.views import Views
from assembler.sheet import NO_ADVICE, preparation_cautions, preparation_words
from assembler.states import State, shares_of, shares_words, state_words
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from jinja2 import Template

    from assembler.record.recorded.tracks import RecordedJoin, RecordedTrack
    from assembler.record.recorded.whole import RecordedReel, RecordedSet, RecordedUncured

MOST_ROWS = 500
"""Rows of one table; past that the page says how many more the record holds."""

DRAWN_WIDTH = 1000.0

NO_VIEWS = Views()


# Read when the module is: that it is missing is to be told before the work and not after.
@cache
def load_page() -> Template:
    """Load all that makes a page, and return its template: to be done before long work and not after.

    Raises:
        ImportError: a part of the library is missing.
    """
    return page_template("assembler.report", "page.html.j2")


@dataclass(frozen=True)
class Bar:
    """A drawn stretch of a track: left edge and width in drawing units, tone, and what to say about it."""

    left: float
    width: float
    tone: str
    title: str


@dataclass(frozen=True)
class FlawRow:
    """A flaw of a pass: where it lies in the set, from its first sample, what became of it, and why it is told."""

    position: int
    at: str
    pass_name: str
    kind: str
    samples: int
    tracks: tuple[int, ...]
    outcome: str
    reason: str


@dataclass(frozen=True)
class WovenRow:
    """A woven stretch: where, of which pass, and how much of it is filled from which other one."""

    track: str
    low: str
    high: str
    pass_name: str
    other: str
    samples: int
    length: int


@dataclass(frozen=True)
class JoinRow:
    """A join: where, and what is on both sides of it."""

    track: str
    at: str
    sides: str
    join: RecordedJoin


def report_page(record: RecordedSet, views: Views = NO_VIEWS) -> bytes:  # noqa: ARG001
    """Return the page of a set as UTF-8 HTML.

    Args:
        record: of the set, as `read_record` returns it.
        views: what there is to see and hear of its places.
    """
    rate = frame_rate(record.session.frame_rate)

    def label(position: int) -> str:
        return format_sample(record.start.sample + position, rate, record.session.sample_rate)

    tones = {one.name: palette.PASSES[index % len(palette.PASSES)] for index, one in enumerate(record.passes)}
    page = load_page().render(
        record=record,
        label=label,
        prepared_words=preparation_words,
        prepared_cautions=preparation_cautions,
        no_advice=NO_ADVICE,
        palette=palette,
        tones=tones,
        seconds=record.length / record.session.sample_rate,
        lanes=[(track, _bars(track, record.length, tones, label)) for track in record.tracks],
        saved=[(reel.name, *_saved(reel, record, label)) for reel in record.reels if reel.states],
        state_tones=[(state_words(state), tone) for state, tone in palette.STATES.items()],
        notes=group_lines(
            TextLine(
                one.kind,
                one.pass_name,
                with_reason(one.text, one.because.rule, one.because.nats) if one.because else one.text,
                one.theme,
                one.count,
                one.needs_a_person,
            )
            for one in record.notes
        ),
        asking=sum(one.needs_a_person for one in record.notes),
        marks=[_mark(place, record.length) for place in record.uncured],
        uncured=[place for place in record.uncured if place.accepted is None],
        accepted=[place for place in record.uncured if place.accepted is not None],
        flaws=_flaw_rows(record, label),
        woven=_woven_rows(record, label),
        joins=_join_rows(record, label),
        most=MOST_ROWS,
    )
    return page.encode("utf-8")


def _bars(
    track: RecordedTrack, length: int, tones: Mapping[str, str], label: Callable[[int], str]
) -> list[Bar]:
    return [
        Bar(
            DRAWN_WIDTH * span.start / length,
            # A span too short to see is drawn wide enough to be found.
            max(1.5, DRAWN_WIDTH * (span.end - span.start) / length),
            tones[span.pass_name],
            f"{track.name}: {span.pass_name}, {label(span.start)} to {label(span.end)}",
        )
        for span in sorted(track.spans, key=lambda span: span.start - span.end)
        if span.pass_name is not None
    ]


def _saved(reel: RecordedReel, record: RecordedSet, label: Callable[[int], str]) -> tuple[str, list[Bar]]:
    """Return the shares of a tape's states in words, and bars along the set: each column in the worst state in it."""
    stretches = reel.worst_states()
    # In whole numbers: a stretch that ends with the set ends with the last column.
    width = int(DRAWN_WIDTH)
    columns: list[State | None] = [None] * width
    order = list(State)
    for one in sorted(stretches, key=lambda stretch: order.index(stretch.state)):
        start = max(0, one.start - record.start.sample)
        end = min(record.length, one.end - record.start.sample)
        if start < end:
            low, high = start * width // record.length, -(-end * width // record.length)
            columns[low:high] = [one.state] * (high - low)
    bars = []
    at = 0
    for state, run in groupby(columns):
        size = len(list(run))
        if state is not None:
            low, high = (column * record.length // width for column in (at, at + size))
            title = f"{reel.name}: {state_words(state)}, {label(low)} to {label(high)}"
            bars.append(Bar(at, size, palette.STATES[state], title))
        at += size
    return shares_words(shares_of(stretches)), bars


def _mark(place: RecordedUncured, length: int) -> tuple[str, float, float]:
    left = DRAWN_WIDTH * place.start / length
    return place.track, left, max(4.0, DRAWN_WIDTH * (place.end - place.start) / length)


def _flaw_rows(record: RecordedSet, label: Callable[[int], str]) -> list[FlawRow]:
    rows = []
    for one in record.passes:
        for flaw in one.flaws:
            held = [s for s in one.stretches if s.pass_start <= flaw.start <= s.pass_end]
            at = 0
            if held:
                at = held[-1].timeline_start + flaw.start - held[-1].pass_start - record.start.sample
            length = flaw.end - flaw.start
            outcome = outcome_words(at, at + length, record.length, is_cured=flaw.is_cured)
            samples = length if flaw.samples is None else flaw.samples
            reason = reason_words(flaw.because.rule, flaw.because.nats) if flaw.because else ""
            rows.append(FlawRow(at, label(at), one.name, flaw.kind, samples, flaw.tracks, outcome, reason))
    return sorted(rows, key=lambda row: (row.position, row.pass_name))


def _woven_rows(record: RecordedSet, label: Callable[[int], str]) -> list[WovenRow]:
    rows = []
    for track in record.tracks:
        for span, filled in track.woven:
            low, high = (span.start + place for place in filled.extent)
            rows.append(
                WovenRow(
                    track=track.name,
                    low=label(low),
                    high=label(high),
                    pass_name=span.pass_name or "",
                    other=filled.pass_name,
                    samples=filled.samples,
                    length=high - low,
                )
            )
    return rows


def _join_rows(record: RecordedSet, label: Callable[[int], str]) -> list[JoinRow]:
    return [
        JoinRow(
            track.name,
            label(join.at),
            f"{before.pass_name or 'silence'} → {behind.pass_name or 'silence'}",
            join,
        )
        for track in record.tracks
        for join, (before, behind) in zip(track.joins, pairwise(track.spans), strict=True)
    ]
