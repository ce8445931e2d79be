"""How much of one core ``assembler watch`` uses, and how late it tells: a recorder at real time, eight tracks, 24 bit.

    python -m scripts.bench.watch_load [--seconds 60] [--tracks 8] [--poly] [--retake]

With ``--retake`` a finished pass lies beside the one that is recorded, so that each window is held against it. Also
prints how long the start takes on a folder of finished captures against one ``check`` of it (``--start MINUTES``).
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.support.recorder import Recording
from tests.support.sessions import HOUR, RATE, Layout, make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s

MUTE_SAMPLES = 900


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--tracks", type=int, default=8)
    parser.add_argument("--poly", action="store_true")
    parser.add_argument("--retake", action="store_true")
    parser.add_argument("--start", type=float, default=0.0, metavar="MINUTES")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        if chosen.start:
            measure_start(Path(place), chosen.start, chosen.tracks)
        else:
            measure_load(Path(place), chosen.seconds, chosen.tracks, poly=chosen.poly, retake=chosen.retake)


def measure_load(place: Path, seconds: int, tracks: int, *, poly: bool, retake: bool) -> None:
    """Record at real time and print the processor's share and how late mutes were told."""
    tape = make_tape(seconds, tracks, bits=24)
    source = place
    if retake:
        source = laid_out(place, tape)
    captured = tape.copy()
    mutes = range(5 * RATE, (seconds - 5) * RATE, 7 * RATE + 1234)
    for start in mutes:
        captured[start : start + MUTE_SAMPLES] = 0
    np.save(place / "samples.npy", captured)
    with subprocess.Popen(
        [sys.executable, "-m", "assembler", "watch", str(source), "--json"], stdout=subprocess.PIPE, text=True
    ) as watch:
        time.sleep(8.0 if retake else 4.0)
        used = processor_seconds(watch.pid)
        recording = Recording(
            str(place / "captures" / "A2"), str(place / "samples.npy"), speed=1.0, poly=poly
        )
        with recording.running():
            began = time.monotonic()
            late = lateness(watch, began)
        spent = time.monotonic() - began
        share = (processor_seconds(watch.pid) - used) / spent
        watch.send_signal(signal.SIGINT)
    print(f"{tracks} tracks, {seconds} s{', polyphonic' * poly}{', beside a pass' * retake}:")
    print(f"  {100 * share:.1f} % of one core over {spent:.0f} s")
    usual, worst = (np.median(late), max(late)) if late else (np.nan, np.nan)
    print(f"  mutes told {len(late)} of {len(mutes)}, {usual:.2f} s late, worst {worst:.2f} s")


def laid_out(place: Path, tape: Int32s) -> Path:
    """Write a session of one finished pass and return its sheet."""
    layout = Layout(place, bits=24)
    layout.add_reel("A", [f"Track {n + 1}" for n in range(tape.shape[1])])
    layout.add_pass("A1", "A", tape, HOUR)
    for path in (place / "captures" / "A1").iterdir():
        os.utime(path, (time.time() - 60, time.time() - 60))
    return layout.write()


def lateness(watch: subprocess.Popen[str], began: float) -> list[float]:
    """Return how many seconds after each mute's end it was told, the recorder's own buffers counted in."""
    late: list[float] = []
    assert watch.stdout is not None  # noqa: S101
    for line in watch.stdout:
        event = json.loads(line)
        if event["event"] == "ended":
            return late
        if event.get("kind") == "mute":
            late.append(time.monotonic() - began - event["end"] / RATE)
    return late


def processor_seconds(pid: int) -> float:
    """Return the processor time that a process has used so far (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure_start(place: Path, minutes: float, tracks: int) -> None:
    """Print how long a watch takes to its first list against one check."""
    sheet = laid_out(place, make_tape(60 * minutes, tracks, bits=24))
    began = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "assembler", "check", str(sheet), "--json", "--no-cache"],
        stdout=subprocess.DEVNULL,
        check=False,
    )
    checked = time.monotonic() - began
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    began = time.monotonic()
    with subprocess.Popen(
        [sys.executable, "-m", "assembler", "watch", str(sheet), "--json", "--no-cache"],
        stdout=subprocess.PIPE,
        text=True,
    ) as watch:
        assert watch.stdout is not None  # noqa: S101
        for line in watch.stdout:
            if json.loads(line)["event"] == "retakes":
                break
        listed = time.monotonic() - began
        watch.send_signal(signal.SIGINT)
    print(f"{tracks} tracks of {minutes:g} min: check {checked:.1f} s, watch's first list {listed:.1f} s")
    print(
        f"  processor seconds of the watch {resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before:.1f}"
    )


if __name__ == "__main__":
    main()
