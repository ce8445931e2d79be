"""The page of a set, from its record: what was delivered, from where, what was cured, what was not.

The page needs nothing but itself: no script, no font, no picture from elsewhere. All numbers come from the
record, so that a page can be made again from ``assembly.json``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from assembler.printable import printable
from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.reasons import because_words, with_reason
from assembler.sheet import preparation_words
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from assembler.consolidator.record import Json

TONES = ("#2f5d8a", "#b4713d", "#5c8a4a", "#8a4f7d", "#6b6b6b", "#3d8f8a", "#a68a2c", "#9c4a4a")
"""One tone a pass, in the order of the sheet, told apart by its name as well; from the ninth on they come again."""

MOST_ROWS = 500
"""Rows of one table; past that the page says how many more the record holds."""

DRAWN_WIDTH = 1000.0

# Read when the module is: that it is missing is to be told before the work and not after.
_TEMPLATE = Environment(
    loader=PackageLoader("assembler.report"),
    autoescape=True,
    # A name that turns the direction of the page's own words would forge them.
    finalize=lambda value: printable(value) if isinstance(value, str) else value,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
).get_template("page.html.j2")


@dataclass(frozen=True)
class Bar:
    """A drawn stretch of a track: left edge and width in drawing units, tone, and what to say about it."""

    left: float
    width: float
    tone: str
    title: str


def report_page(record: Mapping[str, Json]) -> bytes:
    """Return the page as UTF-8 HTML.

    Args:
        record: the content of ``assembly.json``.
    """
    # The record's own shape is checked where it is read back; here it comes from the build itself.
    data: Any = record
    session = data["session"]
    rate = frame_rate(session["frame_rate"])
    start = data["start"]["sample"]

    def label(position: int) -> str:
        return format_sample(start + position, rate, session["sample_rate"])

    tones = {one["name"]: TONES[index % len(TONES)] for index, one in enumerate(data["passes"])}
    page = _TEMPLATE.render(
        record=data,
        label=label,
        prepared_words=preparation_words,
        tones=tones,
        seconds=data["length"] / session["sample_rate"],
        lanes=[(track, _bars(track, data["length"], tones, label)) for track in data["tracks"]],
        notes=group_lines(
            TextLine(
                one["kind"],
                one["pass"],
                with_reason(one["text"], **one.get("because", {"rule": "", "nats": None})),
                one.get("theme", ""),
                one.get("count"),
                one["needs_a_person"],
            )
            for one in data["notes"]
        ),
        asking=sum(one["needs_a_person"] for one in data["notes"]),
        marks=[_mark(place, data["length"]) for place in data["uncured"]],
        flaws=_flaw_rows(data, label, start),
        woven=_woven_rows(data["tracks"], label),
        joins=_join_rows(data["tracks"], label),
        most=MOST_ROWS,
    )
    return page.encode("utf-8")


def _bars(
    track: Mapping[str, Any], length: int, tones: Mapping[str, str], label: Callable[[int], str]
) -> list[Bar]:
    return [
        Bar(
            DRAWN_WIDTH * span["start"] / length,
            # A span too short to see is drawn wide enough to be found.
            max(1.5, DRAWN_WIDTH * (span["end"] - span["start"]) / length),
            tones[span["pass"]],
            f"{track['name']}: {span['pass']}, {label(span['start'])} to {label(span['end'])}",
        )
        for span in sorted(track["spans"], key=lambda span: span["start"] - span["end"])
        if span["pass"] is not None
    ]


def _mark(place: Mapping[str, Any], length: int) -> tuple[str, float, float]:
    left = DRAWN_WIDTH * place["start"] / length
    return place["track"], left, max(4.0, DRAWN_WIDTH * (place["end"] - place["start"]) / length)


def _flaw_rows(data: Any, label: Callable[[int], str], start: int) -> list[dict[str, Any]]:  # noqa: ANN401
    rows = []
    for one in data["passes"]:
        for flaw in one["flaws"]:
            held = [s for s in one["stretches"] if s["pass_start"] <= flaw["start"] <= s["pass_end"]]
            at = held[-1]["timeline_start"] + flaw["start"] - held[-1]["pass_start"] - start if held else 0
            end = at + flaw["end"] - flaw["start"]
            outcome = outcome_words(at, end, data["length"], is_cured=flaw["cured"])
            row = {"pass": one["name"], "at": label(at), "position": at, "outcome": outcome}
            reason = because_words(**flaw["because"]).removeprefix("because: ") if "because" in flaw else ""
            rows.append({**flaw, **row, "because": reason})
    return sorted(rows, key=lambda row: (row["position"], row["pass"]))


def _woven_rows(tracks: Sequence[Mapping[str, Any]], label: Callable[[int], str]) -> list[dict[str, Any]]:
    rows = []
    for track in tracks:
        for span in track["spans"]:
            for filled in span.get("filled", ()):
                low = span["start"] + min(first for first, _, _ in filled["at"])
                high = (
                    span["start"] + max(first + step * (count - 1) for first, step, count in filled["at"]) + 1
                )
                rows.append(
                    {
                        "track": track["name"],
                        "from": label(low),
                        "to": label(high),
                        "pass": span["pass"],
                        "other": filled["pass"],
                        "samples": sum(count for _, _, count in filled["at"]),
                        "length": high - low,
                    }
                )
    return rows


def _join_rows(tracks: Sequence[Mapping[str, Any]], label: Callable[[int], str]) -> list[dict[str, Any]]:
    rows = []
    for track in tracks:
        for index, join in enumerate(track["joins"]):
            before, behind = track["spans"][index]["pass"], track["spans"][index + 1]["pass"]
            sides = f"{before or 'silence'} → {behind or 'silence'}"
            rows.append({"track": track["name"], "timecode": label(join["at"]), "sides": sides, **join})
    return rows
