"""Small sessions for tests: a tape of seeded sound, captures of it written by libsndfile, logs, sheets.

All invented. A tape is ``int32``, shape (samples, tracks), at its native word length.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from assembler.cli.commands import run
from assembler.timecode import encode_quarter_stream, frame_rate, quarter_messages, write_midi_log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pytest
    from numpy.typing import NDArray

    from assembler.arrays import Int32s

RATE = 48000
HOUR = 3600 * RATE


def make_tape(seconds: float, tracks: int = 2, *, seed: int = 1, bits: int = 16, rate: int = RATE) -> Int32s:
    """Return a tape: partials that come and go over converter noise of a few steps."""
    random = np.random.default_rng(seed)
    count = round(seconds * rate)
    time = np.arange(count) / rate
    full = 2.0 ** (bits - 1)
    columns = []
    for _ in range(tracks):
        sound = np.zeros(count)
        for partial in random.uniform(60, 3000, 6):
            envelope = 0.5 + 0.5 * np.sin(2 * np.pi * random.uniform(0.2, 3) * time + random.uniform(0, 6))
            sound += 0.06 * envelope * np.sin(2 * np.pi * partial * time + random.uniform(0, 6))
        noise = random.standard_normal(count) * 1.5 * 2.0 ** (bits - 16)
        columns.append(np.round(np.clip(sound * full + noise, -full, full - 1)))
    return np.stack(columns, axis=1).astype(np.int32)


def write_wave(path: Path, samples: NDArray[np.int32], bits: int, rate: int = RATE) -> None:
    """Write samples of a word length of 16, 20 or 24 as an ordinary WAV (20 bits stand in 24)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    subtype = "PCM_16" if bits == 16 else "PCM_24"
    soundfile.write(path, np.left_shift(samples, 32 - bits), rate, subtype=subtype)


def write_log(
    path: Path,
    start_frame: float,
    seconds: float,
    *,
    frame_rate_name: str = "30",
    seed: int = 1,
    jitter_seconds: float = 0.001,
    escaped: bool = False,
    division: int = 960,
) -> None:
    """Write quarter frames for a pass whose first sample lies at ``start_frame`` (a fraction is allowed)."""
    rate = frame_rate(frame_rate_name)
    first = int(np.ceil(start_frame * 4))
    count = int(seconds * float(rate.exact) * 4)
    at = (np.arange(first, first + count) / 4 - start_frame) / float(rate.exact)
    at = np.sort(at + np.random.default_rng(seed).uniform(0, jitter_seconds, count))
    # A machine tells whole readings: the first of eight messages goes out on an even frame.
    data = encode_quarter_stream(first, count, rate)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as stream:
        write_midi_log(stream, at, quarter_messages(data), division=division, escaped=escaped)


@dataclass
class Layout:
    """A session on disk while it is put together: reels, passes, and anything else the sheet is to say."""

    folder: Path
    bits: int = 16
    rate: int = RATE
    frame_rate: str = "30"
    session: dict[str, object] = field(default_factory=dict)
    reels: list[tuple[str, list[str]]] = field(default_factory=list)
    passes: list[dict[str, object]] = field(default_factory=list)
    more: str = ""

    def add_reel(self, name: str, tracks: Sequence[str]) -> None:
        """Note a reel."""
        self.reels.append((name, list(tracks)))

    def add_pass(
        self, name: str, reel: str, samples: Int32s, start: str | int, *, poly: bool = False, **keys: object
    ) -> None:
        """Write a capture (one mono file a track, or one polyphonic file) and note the pass.

        ``start`` is a label, or a timeline sample for which a log with jitter is written.
        """
        place = self.folder / "captures" / name
        if poly:
            write_wave(place / "all.wav", samples, self.bits, self.rate)
        else:
            for track in range(samples.shape[1]):
                write_wave(place / f"{track + 1:02d}.wav", samples[:, track], self.bits, self.rate)
        entry: dict[str, object] = {"name": name, "reel": reel, "audio": f"captures/{name}/*.wav", **keys}
        if isinstance(start, str):
            entry.setdefault("timecode", {"start": start})
        else:
            exact = float(frame_rate(self.frame_rate).exact)
            seconds = samples.shape[0] / self.rate
            seed = len(self.passes) + 1
            write_log(
                place / "timecode.mid",
                start / self.rate * exact,
                seconds,
                frame_rate_name=self.frame_rate,
                seed=seed,
            )
        self.passes.append(entry)

    def write(self) -> Path:
        """Write the sheet and return its path."""
        session = {
            "title": "Small session",
            "sample_rate": self.rate,
            "bit_depth": self.bits,
            "frame_rate": self.frame_rate,
            **self.session,
        }
        lines = ["[session]", *(f"{key} = {toml_value(value)}" for key, value in session.items())]
        for name, tracks in self.reels:
            lines += ["", "[[reel]]", f"name = {toml_value(name)}", f"tracks = {toml_value(tracks)}"]
        for entry in self.passes:
            lines += ["", "[[pass]]", *(f"{key} = {toml_value(value)}" for key, value in entry.items())]
        path = self.folder / "session.toml"
        path.write_text("\n".join([*lines, "", self.more]), encoding="utf-8")
        return path


def toml_value(value: object) -> str:
    """Return a value as a sheet has it."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    if hasattr(value, "isoformat"):
        return str(value)
    # TOML takes no halves of a pair, in which JSON writes what lies past U+FFFF.
    pairs = r"\\ud[89ab][0-9a-f]{2}\\ud[c-f][0-9a-f]{2}"
    return re.sub(pairs, lambda pair: json.loads(f'"{pair[0]}"'), json.dumps(value))


def run_json(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, Any]:
    """Run a command with ``--json``; return its status and the object it printed."""
    status = run([*(str(argument) for argument in arguments), "--json"])
    out = capsys.readouterr()
    return status, json.loads(out.out) if out.out else out.err


def delivered(target: Path, bits: int = 16) -> Int32s:
    """Return all tracks of a set in the order of their names, shape (samples, tracks), read by libsndfile."""
    columns = []
    for path in sorted((target / "data" / "tracks").iterdir()):
        samples, _ = soundfile.read(path, dtype="int32")
        columns.append(np.right_shift(samples, 32 - bits))
    return np.stack(columns, axis=1).astype(np.int32)
