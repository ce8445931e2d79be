"""How long a build takes, against the least that any build has to do, and how much memory it needs.

Makes a session of 8 tracks and two passes (10 minutes, 24 bit, 48 kHz unless told otherwise), then, in one run:
the yardstick (``sha256sum`` over the captures, ``cp`` of as many bytes as are delivered, ``sha256sum`` over the
copies), and ``assembler build``. Peak memory is the build process's largest resident set.

    python scripts/bench/build_speed.py [--minutes 10] [--folder FOLDER] [--profile]
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

RATE = 48000
TRACKS = 8
BLOCK = 1 << 18
SHEET = """\
[session]
title = "Speed"
sample_rate = 48000
bit_depth = 24
frame_rate = "30"

[[reel]]
name = "A"
tracks = ["1", "2", "3", "4", "5", "6", "7", "8"]

[[pass]]
name = "A1"
reel = "A"
audio = "A1/*.wav"
timecode = { start = "01:00:00:00" }

[[pass]]
name = "A2"
reel = "A"
audio = "A2/*.wav"
timecode = { start = "01:00:00:00" }
"""


def main() -> None:
    """Measure and print a table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--minutes", type=float, default=10)
    options.add_argument("--folder", type=Path)
    options.add_argument("--profile", action="store_true")
    chosen = options.parse_args()
    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="build-speed-"))
    folder.mkdir(exist_ok=True)
    try:
        if not (folder / "session.toml").exists():
            write_session(folder, round(chosen.minutes * 60 * RATE))
        run(folder, profile=chosen.profile)
    finally:
        if chosen.folder is None:
            shutil.rmtree(folder)


def write_session(folder: Path, length: int) -> None:
    """Write two passes of noise-like material with a few flaws in each; block by block."""
    for name in ("A1", "A2"):
        (folder / name).mkdir()
    for track in range(TRACKS):
        random = np.random.default_rng(track)
        files = [
            soundfile.SoundFile(str(folder / name / f"{track + 1}.wav"), "w", RATE, 1, "PCM_24")
            for name in ("A1", "A2")
        ]
        for start in range(0, length, BLOCK):
            count = min(BLOCK, length - start)
            time_axis = np.arange(start, start + count) / RATE
            tone = 0.2 * np.sin(2 * np.pi * (110 * (track + 1)) * time_axis) * np.sin(0.3 * time_axis)
            tape = ((tone + 1e-4 * random.standard_normal(count)) * 2**31).astype(np.int32) & ~255
            for index, file in enumerate(files):
                flawed = tape.copy()
                at = (start // BLOCK * 7919 + 50000 * index) % max(1, count - 4000)
                if (start // BLOCK) % 4 == 2 * index:
                    flawed[at : at + 3000] = 0
                file.write(flawed)
        for file in files:
            file.close()
    (folder / "session.toml").write_text(SHEET)


def run(folder: Path, *, profile: bool) -> None:
    """Time the yardstick and the build side by side and print both."""
    captures = sorted(str(path) for path in folder.glob("A*/*.wav"))
    delivered = sorted(str(path) for path in folder.glob("A1/*.wav"))
    copies, target = folder / "copies", folder / "set"
    for leftover in (copies, target):
        shutil.rmtree(leftover, ignore_errors=True)
    # Once through everything first, so that both find the captures in memory alike.
    subprocess.run(["cat", *captures], stdout=subprocess.DEVNULL, check=True)
    copies.mkdir()
    parts = [
        timed(["sha256sum", *captures]),
        timed(["cp", *delivered, str(copies)]),
        timed(["sha256sum", *(str(path) for path in copies.iterdir())]),
    ]
    shutil.rmtree(copies)
    command = [
        sys.executable,
        "-m",
        "assembler",
        "build",
        str(folder / "session.toml"),
        "-o",
        str(target),
        "--no-cache",
    ]
    if profile:
        command[1:1] = ["-m", "cProfile", "-o", str(folder / "profile.out")]
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    build = timed(command, allowed=(0, 1))
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    verify = timed([sys.executable, "-m", "assembler", "verify", str(target)])
    shutil.rmtree(target)
    yardstick = sum(parts)
    print(f"hash captures {parts[0]:7.2f} s")
    print(f"copy          {parts[1]:7.2f} s")
    print(f"hash copies   {parts[2]:7.2f} s")
    print(f"yardstick     {yardstick:7.2f} s")
    print(f"build         {build:7.2f} s = {build / yardstick:.2f} x yardstick")
    print(f"verify        {verify:7.2f} s = {verify / yardstick:.2f} x yardstick")
    print(
        f"peak memory   {peak / 1024:7.0f} MiB (largest of all children; {before / 1024:.0f} before the build)"
    )


def timed(command: list[str], *, allowed: tuple[int, ...] = (0,)) -> float:
    """Return the seconds that a command took."""
    started = time.perf_counter()
    status = subprocess.run(command, stdout=subprocess.DEVNULL, check=False).returncode
    if status not in allowed:
        raise SystemExit(f"{command[0]} ended with {status}")
    return time.perf_counter() - started


if __name__ == "__main__":
    main()
