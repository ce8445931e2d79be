"""Logs cut, flipped and filled with junk: usable, or one plain error; never anything else."""

from __future__ import annotations

import io

import numpy as np
import pytest

from assembler.errors import TimecodeLogError
from assembler.timecode import (
    FRAME_RATES,
    encode_full_frame,
    encode_quarter_stream,
    fit_clock,
    quarter_messages,
    read_csv_log,
    read_midi_log,
    write_midi_log,
)
from assembler.timecode.mtc.decoding import TimecodePoints, decode_quarter_frames

RATE = FRAME_RATES["30"]


def make_file(*, escaped: bool, count: int = 64) -> bytes:
    """Return a log of a full frame and quarter frames from one hour on."""
    data = encode_quarter_stream(432000, count, RATE)
    messages = [encode_full_frame(108000, RATE), *quarter_messages(data)]
    stream = io.BytesIO()
    write_midi_log(stream, np.append(0.0, np.arange(count) / 120), messages, escaped=escaped)
    return stream.getvalue()


def use(data: bytes, *, table: bool = False) -> TimecodePoints | None:
    """Return the points of a log, or None where it is refused as it should be."""
    read = read_csv_log if table else read_midi_log
    try:
        return decode_quarter_frames(read(io.BytesIO(data), 48000), RATE)
    except TimecodeLogError:
        return None


@pytest.mark.parametrize("escaped", [False, True])
def test_file_cut_at_every_byte(*, escaped: bool) -> None:
    """Whatever stands before the cut is used, in its right place, and a cut inside the track is told."""
    whole = make_file(escaped=escaped)
    used = 0
    for cut in range(len(whole)):
        points = use(whole[:cut])
        if points is not None:
            used += 1
            assert np.array_equal(points.frames, 108000 + np.arange(points.frames.size) / 4)
            assert "damaged_log" in [finding.kind for finding in points.findings]
    # Only heads with less than one reading are refused.
    event = 5 if escaped else 3
    assert used >= len(whole) - 22 - 14 - 8 * event - 4


@pytest.mark.parametrize("escaped", [False, True])
def test_every_byte_flipped(*, escaped: bool) -> None:
    """A flipped byte anywhere never leads to another error, nor to a fit that fails."""
    whole = make_file(escaped=escaped)
    for place in range(len(whole)):
        for flip in (0x01, 0x80, 0xFF):
            damaged = bytearray(whole)
            damaged[place] ^= flip
            points = use(bytes(damaged))
            if points is not None and place % 16 == 0:
                assert fit_clock(points, RATE, 48000).stretches


def test_random_bytes() -> None:
    """Files of random events after a good header are used or refused."""
    generator = np.random.default_rng(4)
    header = make_file(escaped=False)[:14]
    for _ in range(300):
        events = generator.integers(0, 256, 400, dtype=np.uint8).tobytes()
        use(header + b"MTrk" + len(events).to_bytes(4, "big") + events)
        use(b"seconds,bytes\n" + events, table=True)


def test_random_quarter_frames() -> None:
    """Quarter frames without sense are refused, or give points that the fit survives."""
    generator = np.random.default_rng(5)
    fitted = 0
    for _ in range(60):
        stream = io.BytesIO()
        # Pieces follow each other, what they say does not: readings that nothing confirms.
        data = (np.arange(64) % 8 << 4 | generator.integers(0, 16, 64)).astype(np.uint8)
        write_midi_log(stream, np.sort(generator.uniform(0, 9, 64)), quarter_messages(data))
        points = use(stream.getvalue())
        if points is not None:
            fitted += 1
            assert fit_clock(points, RATE, 48000).stretches
    assert fitted < 60


def test_table_cut_at_every_byte() -> None:
    """A table cut anywhere is used or refused."""
    data = encode_quarter_stream(432000, 32, RATE)
    rows = [f"{index / 120:.6f},F1 {byte:02X}" for index, byte in enumerate(data.tolist())]
    whole = "\n".join(["seconds,bytes", *rows]).encode()
    used = sum(use(whole[:cut], table=True) is not None for cut in range(len(whole)))
    assert used > len(whole) // 3
