"""Where a pass has its position from: the several ways in which a sheet may say so, as one record."""

# Annotations are read while the program runs, by pydantic: no postponed evaluation in this module.
from collections.abc import Mapping
from typing import Final, Literal, TypeAlias

from assembler.sheet.model.values import Record, plain_text, refusal, shown, shown_key

TimecodeKind: TypeAlias = Literal["default", "log", "ltc", "ltc_track", "start", "bext", "audio"]

LOG_SUFFIXES: Final = (".mid", ".midi", ".csv")


class TimecodeSource(Record):
    """Where a pass has its position from.

    ``value`` is the path of a ``log`` or of an ``ltc`` recording, the tape track (counted from 1) that
    carries the timecode of an ``ltc_track``, or the label of a ``start``; None for ``default``, ``bext`` and
    ``audio``.
    """

    kind: TimecodeKind = "default"
    value: str | int | None = None


TIMECODE_ALLOWED = (
    'a .mid or .csv file, { ltc = "file" }, { ltc_track = 8 }, { start = "01:00:00:00" }, "bext" or "audio"'
)


def read_timecode(value: object) -> TimecodeSource:
    """Return what the sheet names as timecode, in one of several ways, as one record."""
    if isinstance(value, TimecodeSource):
        return value
    if isinstance(value, str):
        plain_text(value)
        if value in ("bext", "audio"):
            return TimecodeSource(kind="bext" if value == "bext" else "audio")
        if value.lower().endswith(LOG_SUFFIXES):
            return TimecodeSource(kind="log", value=value)
    if isinstance(value, Mapping) and len(value) == 1:
        return _read_timecode_table(*next(iter(value.items())))
    raise refusal(value, TIMECODE_ALLOWED)


def _read_timecode_table(key: object, value: object) -> TimecodeSource:
    if key in ("ltc", "start") and isinstance(value, str) and value.strip():
        plain_text(value)
        return TimecodeSource(kind="ltc" if key == "ltc" else "start", value=value)
    if key == "ltc_track" and isinstance(value, int) and not isinstance(value, bool) and value >= 1:
        return TimecodeSource(kind="ltc_track", value=value)
    raise ValueError(f"found {{ {shown_key(str(key))} = {shown(value)} }}; allowed: {TIMECODE_ALLOWED}")
