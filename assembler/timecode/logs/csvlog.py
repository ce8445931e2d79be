"""Timecode logs as comma-separated text: a header ``seconds,bytes`` or ``sample,bytes``, message bytes in hex.

Time counts from the pass's first sample. Bytes may stand with or without blanks; a row may hold several messages.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, BinaryIO, Final

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.findings import Finding
from assembler.timecode.logs.messages import Collector, MidiLog, make_log

if TYPE_CHECKING:
    from collections.abc import Iterable

# Four hours of quarter frames at 20 bytes a row; the bound keeps time and memory small for any input.
LARGEST_CSV_BYTES: Final = 36 * 2**20

# Digits after the point beyond these mean nothing; messages kept so that the same text is read once.
_MOST_DIGITS: Final = 12
_MOST_KNOWN: Final = 1024
_HEADERS: Final = ("seconds", "sample")
# Four hours of quarter frames and some, blank lines counted.
_MOST_ROWS: Final = 2_500_000


def read_csv_log(stream: BinaryIO, sample_rate: int) -> MidiLog:
    """Return the timecode log in comma-separated text.

    Args:
        stream: at the file's first byte; UTF-8, with or without a byte order mark, any line ends.
        sample_rate: samples in a second, for a ``sample`` column.

    Raises:
        TimecodeLogError: not such a file, a row that cannot be read (with its line), no timecode in it, or more
            than 36 MiB.
    """
    data = stream.read(LARGEST_CSV_BYTES + 1)
    if len(data) > LARGEST_CSV_BYTES:
        limit = LARGEST_CSV_BYTES // 2**20
        raise TimecodeLogError(f"larger than {limit} MiB: too large for the log of a tape (4 hours fit)")
    # Line by line: a list of all lines would take many times the memory of the file.
    lines = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig")
    try:
        unit = _read_header(lines.readline().rstrip("\n"))
        collected, digits, fault = _read_rows(lines)
    except UnicodeDecodeError as error:
        raise TimecodeLogError("not text (UTF-8)") from error
    findings = []
    if fault is not None:
        if data.endswith((b"\n", b"\r")) or lines.readline():
            raise fault
        # A last line without its end is where the file was cut off.
        findings.append(Finding("damaged_log", None, f"the file is cut off in {fault.place}"))
    seconds_per_unit = 1.0 if unit == "seconds" else 1.0 / sample_rate
    tick = 10.0**-digits if unit == "seconds" else seconds_per_unit
    fulls = [message.time for message in collected.full_frames]
    return make_log(
        collected,
        np.array(collected.quarter_times, dtype=np.float64) * seconds_per_unit,
        np.array(fulls, dtype=np.float64) * seconds_per_unit,
        findings,
        tick,
    )


def _read_header(line: str) -> str:
    names = [name.strip().lower() for name in line.split(",")]
    if len(names) != 2 or names[0] not in _HEADERS or names[1] != "bytes":
        found = line if len(line) <= 40 else line[:40] + "…"
        raise TimecodeLogError(
            f"header is {found!r}; allowed: 'seconds,bytes' or 'sample,bytes'", place="line 1"
        )
    return names[0]


def _read_rows(lines: Iterable[str]) -> tuple[Collector, int, TimecodeLogError | None]:
    """Return the messages, the most digits after a decimal point, and what ended reading before the last line did."""
    collected = Collector()
    digits = 0
    # Nearly all rows repeat one of 128 messages.
    known: dict[str, bytes] = {}
    for number, line in enumerate(lines, start=2):
        if number > _MOST_ROWS:
            problem = f"more than {_MOST_ROWS} rows: too many for the log of a tape (4 hours fit)"
            raise TimecodeLogError(problem)
        if not line.strip():
            continue
        try:
            time, data = _read_row(line, number, known)
        except TimecodeLogError as fault:
            return collected, min(digits, _MOST_DIGITS), fault
        digits = max(digits, len(line.partition(",")[0].partition(".")[2].rstrip()))
        collected.add_bytes(time, data)
    return collected, min(digits, _MOST_DIGITS), None


def _read_row(line: str, number: int, known: dict[str, bytes]) -> tuple[float, bytes]:
    time_text, comma, text = line.partition(",")
    if not comma:
        raise TimecodeLogError(f"{_shorten(line)} has no comma", place=f"line {number}")
    time = _read_time(time_text, number)
    data = known.get(text)
    if data is None:
        data = _read_hex(text, number)
        if len(known) < _MOST_KNOWN:
            known[text] = data
    return time, data


def _read_time(text: str, number: int) -> float:
    try:
        time = float(text)
    except ValueError:
        raise TimecodeLogError(f"{_shorten(text)} is not a time", place=f"line {number}") from None
    if not math.isfinite(time):
        raise TimecodeLogError(f"{_shorten(text)} is not a time", place=f"line {number}")
    return time


def _read_hex(text: str, number: int) -> bytes:
    try:
        return bytes.fromhex(text.strip().strip('"'))
    except ValueError:
        problem = f"{_shorten(text)} are not message bytes in hex, as F1 00"
        raise TimecodeLogError(problem, place=f"line {number}") from None


def _shorten(text: str) -> str:
    text = text.strip()
    return repr(text if len(text) <= 40 else text[:40] + "…")
