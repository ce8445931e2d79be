"""Charts of the timecode logs: how far the messages of each lie from what was fitted, and what is stated of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.whole import RecordedSet
    from assembler.report.parts.marks import Marks

WIDTH, HEIGHT = 1000.0, 120.0


@dataclass(frozen=True)
class Event:
    """A jump of a log, or a slip of a pass: where, in drawing units, and in words."""

    left: float
    kind: str
    words: str


@dataclass(frozen=True)
class ClockChart:
    """The chart of one log.

    Args:
        name: of the pass.
        tone: class of its colour.
        points: of the polygon around the residuals, as SVG has them.
        band: top and height of the stated uncertainty, one standard deviation to either side.
        middle: height of no residual.
        scale: samples at the upper edge; the lower one is as far.
        start, end: first and last place drawn, as labels.
        events: jumps and slips.
        words: all of it in a sentence.
    """

    name: str
    tone: str
    points: str
    band: tuple[float, float]
    middle: float
    scale: float
    start: str
    end: str
    events: tuple[Event, ...]
    words: str


def clock_charts(record: RecordedSet, marks: Marks) -> list[ClockChart]:
    """Return a chart for each pass whose log's residuals are recorded."""
    return [clock_chart(one, record, marks) for one in record.passes if one.clock.residuals]


def clock_chart(one: RecordedPass, record: RecordedSet, marks: Marks) -> ClockChart:
    """Return the chart of a pass whose log's residuals are recorded, in the order of the pass."""
    residuals = one.clock.residuals
    first, last = residuals[0].sample, residuals[-1].sample
    for flaw in one.flaws:
        if flaw.kind == "slip":
            first, last = min(first, flaw.start), max(last, flaw.start)
    low, high = min(r.low for r in residuals), max(r.high for r in residuals)
    stated = one.clock.whole_uncertainty_samples
    scale = max(abs(low), abs(high), stated, 1e-9) * 1.15

    def across(sample: int) -> float:
        return WIDTH * (sample - first) / max(1, last - first)

    def down(value: float) -> float:
        return HEIGHT / 2 - HEIGHT / 2 * value / scale

    events = tuple(_events(one, record, marks, first, last, across))
    upper = [f"{across(r.sample):.1f},{down(r.high) - 0.6:.1f}" for r in residuals]
    lower = [f"{across(r.sample):.1f},{down(r.low) + 0.6:.1f}" for r in reversed(residuals)]
    counts = {kind: sum(event.kind == kind for event in events) for kind in ("jump", "slip")}
    told = ", ".join(f"{count} {kind}{'' if count == 1 else 's'}" for kind, count in counts.items())
    return ClockChart(
        one.name,
        f"p{marks.pass_numbers[one.name] % 8}",
        " ".join(upper + lower),
        (down(stated), down(-stated) - down(stated)),
        HEIGHT / 2,
        scale,
        marks.frame(marks.in_set(one, first)),
        marks.frame(marks.in_set(one, last)),
        events,
        f"messages lie {low:+.1f} to {high:+.1f} samples from the fit; "
        f"stated uncertainty ±{stated:.2f} samples; {told}".replace("-", "−"),
    )


def _events(
    one: RecordedPass,
    record: RecordedSet,
    marks: Marks,
    first: int,
    last: int,
    across: Callable[[int], float],
) -> Iterator[Event]:
    for flaw in one.flaws:
        if flaw.kind == "slip":
            what = f"{abs(flaw.samples or 0)} samples {'lost' if (flaw.samples or 0) > 0 else 'repeated'}"
            yield Event(
                across(flaw.start), "slip", f"slip at {marks.place(marks.in_set(one, flaw.start))}, {what}"
            )
    for note in record.notes:
        if note.kind == "timecode_jump" and note.pass_name == one.name and note.start is not None:
            at = min(max(note.start, first), last)
            yield Event(across(at), "jump", note.text)
