"""A recorder for tests: a process that grows real WAV files and a log as recorders do, faster than real time if wanted.

Run as ``python -m tests.support.recorder SPEC.json``; ``Recording`` writes the file and starts the process.
"""

from __future__ import annotations

import io
import json
import struct
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assembler.timecode import encode_quarter_stream, frame_rate, quarter_messages, write_midi_log
from assembler.wave.samples import pack_samples

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.arrays import Int32s

HOUR_FRAMES = 3600 * 30


@dataclass(frozen=True)
class Recording:
    """What is recorded, and how.

    Args:
        folder: of the pass.
        samples: ``.npy`` file, shape (samples, tracks).
        bits: of the files.
        rate: samples a second.
        speed: times real time.
        flush: bytes of a track after which the buffers are emptied.
        header: what the sizes are meanwhile: "zero", "max" or "flush" (those of the last but one flush).
        form: "RIFF" or "RF64".
        junk: whether a JUNK chunk stands before ``fmt ``.
        poly: one file with all tracks.
        log: "mid", "csv" or "".
        log_until: seconds after which no timecode is logged.
        log_size: what the MIDI track's length is meanwhile: "zero" or "max".
        start_frame: of the first sample, 30 frames a second.
        is_finished: whether the recorder writes the right sizes in the end.
        wait: seconds before it begins.
        begin: when it begins, by the system's clock that never goes back; 0 for at once.
    """

    folder: str
    samples: str
    bits: int = 24
    rate: int = 48000
    speed: float = 10.0
    flush: int = 65536
    header: str = "zero"
    form: str = "RIFF"
    junk: bool = True
    poly: bool = False
    log: str = "csv"
    log_until: float = 1e9
    log_size: str = "zero"
    start_frame: int = HOUR_FRAMES
    is_finished: bool = True
    wait: float = 0.0
    begin: float = 0.0

    @contextmanager
    def running(self) -> Iterator[subprocess.Popen[bytes]]:
        """Record in a process of its own, which is ended at last if it has not finished."""
        spec = Path(self.samples).with_suffix(".json")
        spec.write_text(json.dumps(asdict(self)))
        with subprocess.Popen([sys.executable, "-m", "tests.support.recorder", str(spec)]) as process:
            try:
                yield process
            finally:
                process.kill()


def head(spec: Recording, channels: int, data: int, *, final: bool) -> bytes:
    """Return what stands before the samples, for so many bytes of these."""
    align = channels * spec.bits // 8
    fmt = struct.pack("<HHIIHH", 1, channels, spec.rate, spec.rate * align, align, spec.bits)
    extra = b""
    if spec.form == "RF64":
        extra = b"ds64" + struct.pack("<IQQQI", 28, 0, data if final else 0, 0, 0)
    elif spec.junk:
        extra = b"JUNK" + struct.pack("<I", 28) + bytes(28)
    size = 4 + len(extra) + 24 + 8 + data + data % 2
    if spec.form == "RF64":
        extra = b"ds64" + struct.pack("<IQQQI", 28, size if final else 0, data if final else 0, 0, 0)
        return b"RF64\xff\xff\xff\xffWAVE" + extra + b"fmt \x10\0\0\0" + fmt + b"data\xff\xff\xff\xff"
    unknown = {"zero": 0, "max": 0xFFFFFFFF}.get(spec.header)
    sizes = (size, data) if final or unknown is None else (unknown, unknown)
    riff = b"RIFF" + struct.pack("<I", sizes[0]) + b"WAVE"
    return riff + extra + b"fmt \x10\0\0\0" + fmt + b"data" + struct.pack("<I", sizes[1])


def log_bytes(spec: Recording, seconds: float) -> bytes:
    """Return the whole log of a pass."""
    rate = frame_rate("30")
    count = int(min(seconds, spec.log_until) * 120) // 8 * 8
    data = encode_quarter_stream(spec.start_frame * 4, count, rate)
    at = np.arange(count) / 120.0
    if spec.log == "csv":
        rows = [f"{t:.6f},F1{int(one):02X}" for t, one in zip(at, data, strict=True)]
        return "\n".join(["seconds,bytes", *rows, ""]).encode()
    stream = io.BytesIO()
    write_midi_log(stream, at, quarter_messages(data), division=960, escaped=True)
    return stream.getvalue()


def record(spec: Recording) -> None:
    """Record: sound and log grow together until all is written."""
    time.sleep(spec.wait)
    samples: Int32s = np.load(spec.samples)
    folder = Path(spec.folder)
    folder.mkdir(parents=True, exist_ok=True)
    tracks = samples.shape[1]
    columns = [samples] if spec.poly else [samples[:, track : track + 1] for track in range(tracks)]
    paths = [
        folder / (f"{folder.name}.wav" if spec.poly else f"{n + 1:02d}.wav") for n in range(len(columns))
    ]
    files = [path.open("wb", buffering=0) for path in paths]
    channels = columns[0].shape[1]
    for file in files:
        file.write(head(spec, channels, 0, final=False))
    at_start = len(head(spec, channels, 0, final=False))
    block = spec.flush // (spec.bits // 8)
    log = log_bytes(spec, len(samples) / spec.rate) if spec.log else b""
    log_file = (folder / f"timecode.{spec.log}").open("wb", buffering=0) if spec.log else None
    time.sleep(max(0.0, spec.begin - time.monotonic()))
    began = time.monotonic()
    written = 0
    for low in range(0, len(samples), block):
        high = min(len(samples), low + block)
        time.sleep(max(0.0, began + high / spec.rate / spec.speed - time.monotonic()))
        for file, column in zip(files, columns, strict=True):
            file.write(pack_samples(column[low:high], spec.bits))
            if spec.header == "flush" and low:
                here = file.tell()
                file.seek(0)
                file.write(head(spec, channels, low * channels * spec.bits // 8, final=False))
                file.seek(here)
        if log_file is not None:
            share = min(1.0, high / spec.rate / min(len(samples) / spec.rate, spec.log_until))
            written = _grow_log(
                spec, log_file, log, written, int(share * len(log)), final=high == len(samples)
            )
    data = len(samples) * channels * spec.bits // 8
    for file in files:
        if spec.is_finished:
            file.write(bytes(data % 2))
            file.seek(0)
            file.write(head(spec, channels, data, final=True))
        assert at_start == len(head(spec, channels, data, final=True))
        file.close()
    if log_file is not None:
        log_file.close()


def _grow_log(spec: Recording, file: io.FileIO, log: bytes, written: int, until: int, *, final: bool) -> int:
    """Write the log up to a byte; the length of a MIDI track stands right only in the end."""
    if until <= written:
        return written
    held = bytearray(log[:until])
    if spec.log == "mid" and not final and until > 22:
        held[18:22] = {"zero": bytes(4), "max": b"\xff\xff\xff\xff"}[spec.log_size]
    file.seek(written)
    file.write(held[written:])
    if spec.log == "mid" and final:
        file.seek(18)
        file.write(log[18:22])
    return until


if __name__ == "__main__":
    record(Recording(**json.loads(Path(sys.argv[1]).read_text())))
