"""Sampled instruments for the tapes, rendered by a synthesizer where the machine has one; nothing where it
has not.

The synthesizer is fluidsynth with whatever General MIDI sound font the system keeps in its usual folder. The
score is made here from a seed and written as a Standard MIDI File.

Source: Standard MIDI Files 1.0 (RP-001); General MIDI System Level 1 (programs; channel 10 for drums).
"""

from __future__ import annotations

import shutil
import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import soundfile

if TYPE_CHECKING:
    from numpy.typing import NDArray

FONTS = Path("/usr/share/sounds/sf2")
FAMILIES = {
    "piano": (0, 1, 4, 5),
    "guitar": (24, 25, 26, 27, 29, 30),
    "bass": (32, 33, 34, 38),
    "strings": (40, 42, 48, 49),
    "brass": (56, 57, 61),
    "reed": (65, 66, 71, 73),
    "organ": (16, 18, 19),
    "choir": (52, 53),
    "kit": (0, 8, 16, 25),
}
TICKS = 960
"""A second has this many, as at 480 a beat and 120 beats a minute."""


@cache
def font() -> Path | None:
    """Return the sound font to play with, None if the machine has none or no synthesizer."""
    if shutil.which("fluidsynth") is None or not FONTS.is_dir():
        return None
    return next(iter(sorted(FONTS.glob("*.sf2"), key=lambda path: path.stat().st_size)), None)


def sampled(random: np.random.Generator, length: int, rate: int, family: str) -> NDArray[np.float64]:
    """Return one instrument's part, shape (length,).

    Raises:
        LookupError: the machine has no synthesizer.
    """
    chosen = font()
    if chosen is None:
        raise LookupError("no synthesizer, or no sound font for it")
    with TemporaryDirectory(prefix="sampled-") as folder:
        score, audio = Path(folder, "score.mid"), Path(folder, "part.wav")
        score.write_bytes(_score(random, length / rate, family))
        command = [
            "fluidsynth",
            "-ni",
            "-q",
            "-r",
            str(rate),
            "-g",
            "0.8",
            "-F",
            str(audio),
            str(chosen),
            str(score),
        ]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        found, _ = soundfile.read(str(audio), dtype="float64", always_2d=True)
    part = np.zeros(length)
    part[: min(length, len(found))] = found[:length, 0]
    return part


def _score(random: np.random.Generator, seconds: float, family: str) -> bytes:
    drums = family == "kit"
    channel = 9 if drums else 0
    program = int(random.choice(FAMILIES[family]))
    events: list[tuple[int, bytes]] = [(0, bytes((0xC0 | channel, program)))]
    at, base = 0.0, int(random.integers(36, 60))
    scale = np.array([0, 2, 3, 5, 7, 8, 10, 12, 14, 15])
    pace = random.uniform(0.12, 0.9)
    while at < seconds:
        keys = (
            random.choice([35, 38, 42, 46, 49, 45], 2)
            if drums
            else base + random.choice(scale, random.integers(1, 4))
        )
        lasting = pace * random.uniform(0.4, 2)
        for key in keys.tolist():
            events.append((round(at * TICKS), bytes((0x90 | channel, key, int(random.integers(40, 127))))))
            events.append((round((at + lasting) * TICKS), bytes((0x80 | channel, key, 0))))
        at += pace * float(random.choice([0.5, 1, 1, 2])) + (pace * 6 if random.random() < 0.05 else 0)
    track, before = bytearray(), 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track += _quantity(tick - before) + message
        before = tick
    track += b"\x00\xff\x2f\x00"
    header = b"MThd" + (6).to_bytes(4, "big") + b"\x00\x00\x00\x01" + (TICKS // 2).to_bytes(2, "big")
    return header + b"MTrk" + len(track).to_bytes(4, "big") + bytes(track)


def _quantity(value: int) -> bytes:
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))
