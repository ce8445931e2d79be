"""``joins.csv``: the joins of a set for a spreadsheet, made from the record."""

from __future__ import annotations

import csv
import io
import re
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from assembler.record.recorded.whole import RecordedSet

JOIN_COLUMNS = (
    "track", "number", "at", "timecode", "fade", "law", "correlation", "difference_peak", "from_pass", "to_pass"
)  # fmt: skip
# What spreadsheets take for the start of a formula: OWASP, "CSV Injection". Apostrophes before it are looked through,
# so that taking one away from such a cell always gives the name.
_FORMULA = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")


def joins_csv(record: RecordedSet) -> bytes:
    """Return one row a join, in the order of tracks and places; line ends are CR LF as RFC 4180 has them.

    A name that a spreadsheet would compute has an apostrophe before it.
    """
    rate, sample_rate = frame_rate(record.session.frame_rate), record.session.sample_rate
    out = io.StringIO(newline="")
    rows = csv.writer(out)
    rows.writerow(JOIN_COLUMNS)
    for track in record.tracks:
        for join, (before, behind) in zip(track.joins, pairwise(track.spans), strict=True):
            rows.writerow(
                (
                    plain_cell(track.name),
                    track.number,
                    join.at,
                    format_sample(record.start.sample + join.at, rate, sample_rate),
                    join.fade,
                    join.law,
                    join.correlation,
                    join.difference_peak,
                    plain_cell(before.pass_name or ""),
                    plain_cell(behind.pass_name or ""),
                )
            )
    return out.getvalue().encode("utf-8")


def plain_cell(name: str) -> str:
    """Return a name as a spreadsheet takes it for a text: one that it would compute has an apostrophe before it."""
    return f"'{name}" if _FORMULA.match(name) else name
