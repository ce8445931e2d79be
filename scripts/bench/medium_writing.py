"""A session on disk: captures, timecode logs and the sheet.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code (quarter frames: eight messages tell the frame at
which the first of them is sent; rate codes 1 for 25 and 3 for 30 frames).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import soundfile

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.demo.medium.recorder import Capture

LATEST = 0.0008
"""Seconds by which an interface is late at most."""
FEWEST_MESSAGES = 60
"""A log with fewer, where the tape was hardly in step, is not named in the sheet: the pass is found by its sound."""


def write_session(
    folder: Path,
    captures: list[Capture],
    *,
    rate: int,
    frames: int,
    sheet_bits: int,
    zero: int,
    random: np.random.Generator,
) -> Path:
    """Write everything and return the sheet.

    Args:
        folder: exists.
        captures: in the order of trust.
        rate: samples a second.
        frames: timecode frames a second, 25 or 30.
        sheet_bits: word length that the sheet tells.
        zero: timeline sample of the tape's first sample.
        random: for the lateness of the logs.
    """
    tracks = len(captures[0].words)
    names = ", ".join(f'"T{track + 1}"' for track in range(tracks))
    text = (
        f'[session]\ntitle = "Medium"\nsample_rate = {rate}\nbit_depth = {sheet_bits}\nframe_rate = "{frames}"\n\n'
        f'[[reel]]\nname = "A"\ntracks = [{names}]\n'
    )
    for one in captures:
        (folder / one.name).mkdir()
        for track, words in enumerate(one.words):
            subtype = f"PCM_{one.file_bits}"
            soundfile.write(str(folder / one.name / f"{track + 1}.wav"), words << 8, rate, subtype)
        log = _log(one, rate, frames, zero, random)
        (folder / one.name / "timecode.csv").write_text(log)
        text += f'\n[[pass]]\nname = "{one.name}"\nreel = "A"\naudio = "{one.name}/*.wav"\n'
        if log.count("\n") < FEWEST_MESSAGES:
            text += 'timecode = "audio"\n'
    sheet = folder / "session.toml"
    sheet.write_text(text)
    return sheet


def _log(one: Capture, rate: int, frames: int, zero: int, random: np.random.Generator) -> str:
    """Return the quarter frames that come while a pass runs, at the recorder's own count of samples."""
    start, end = int(one.place[0]) + zero, int(one.place[-1]) + zero
    # Samples for a quarter of a frame may be no whole number: 44100 / 120.
    first, last = -(-start * 4 * frames // rate), end * 4 * frames // rate
    lines = ["seconds,bytes"]
    late = random.uniform(0, LATEST, last - first + 1)
    latest = 0.0
    # Where samples came twice the places go back; a message comes when its sample comes first.
    reached = np.maximum.accumulate(one.place)
    for quarter, delay in zip(range(first, last + 1), late.tolist(), strict=True):
        sample = quarter * rate // (4 * frames)
        index = min(int(np.searchsorted(reached, sample - zero)), len(one.locked) - 1)
        if not one.locked[index]:
            continue
        beside = quarter / (4 * frames) - sample / rate
        latest = max(latest, index / rate + beside + delay)
        lines.append(f"{latest:.6f},F1{quarter_byte(quarter, frames):02X}")
    return "\n".join(lines) + "\n"


def quarter_byte(quarter: int, frames: int) -> int:
    """Return the data byte of a quarter frame, counted from 00:00:00:00; a reading of eight begins at even frames.

    >>> [f"{quarter_byte(n, 30):02x}" for n in range(8)]
    ['00', '10', '20', '30', '40', '50', '60', '76']
    """
    reading, piece = divmod(quarter, 8)
    seconds, frame = divmod(2 * reading, frames)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    code = {25: 1, 30: 3}[frames]
    values = (frame, second, minute, hour % 24 | code << 5)
    value = values[piece // 2]
    return piece << 4 | (value >> 4 if piece & 1 else value & 15)
