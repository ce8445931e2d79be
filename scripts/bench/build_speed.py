"""How long a build takes, against the least that any build has to do, and how much memory it needs.

Makes a session of 8 tracks and two passes (10 minutes, 24 bit, 48 kHz unless told otherwise), then, as often as asked
for, in one run, one after the other:

    shell    ``sha256sum`` over the captures, ``cp`` of as many bytes as are delivered, ``sha256sum`` over the copies;
             some of these use the processor's instructions for hashing, some do not
    ideal    the same in Python, by one process: each capture read once and hashed with hashlib, the delivered bytes
             written, synced, and read back and hashed
    build    ``build_set`` with ``--jobs`` processes, nothing known before
    verify   ``assembler verify`` of the set

Printed are seconds, ratios to both yardsticks (least, median, most), the processor seconds of each stage of the build
over all of its processes, and the most memory that these have at once: resident, and with what they share counted once.
Where others use the machine, the ratio of processor seconds says more than that of seconds.

    python -m scripts.bench.build_speed [--minutes 10] [--runs 3] [--jobs N] [--folder FOLDER]
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from scripts.bench.usage import Usage, measured

RATE = 48000
TRACKS = 8
BLOCK = 1 << 18
READ_BYTES = 1 << 20
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
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--minutes", type=float, default=10)
    options.add_argument("--runs", type=int, default=3)
    options.add_argument("--jobs", type=int)
    options.add_argument("--folder", type=Path)
    options.add_argument("--stage", nargs=2, metavar=("WHAT", "JOBS"), help=argparse.SUPPRESS)
    chosen = options.parse_args()
    # For stages as the command line has it before numbers are loaded: else threads of that library bar forking.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="build-speed-"))
    if chosen.stage:
        {"ideal": ideal, "build": build}[chosen.stage[0]](folder, int(chosen.stage[1]) or None)
        return
    folder.mkdir(exist_ok=True)
    try:
        if not (folder / "session.toml").exists():
            write_session(folder, round(chosen.minutes * 60 * RATE))
        run(folder, chosen.runs, chosen.jobs)
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


def run(folder: Path, runs: int, jobs: int | None) -> None:
    """Time yardsticks and build side by side and print all."""
    captures = sorted(str(path) for path in folder.glob("A*/*.wav"))
    # Once through everything first, so that all find the captures in memory alike.
    subprocess.run(["cat", *captures], stdout=subprocess.DEVNULL, check=True)
    itself = [sys.executable, "-m", "scripts.bench.build_speed", "--folder", str(folder), "--stage"]
    target = folder / "set"
    found: dict[str, list[Usage]] = {"shell": [], "ideal": [], "build": [], "verify": []}
    for _ in range(runs):
        clear(folder)
        found["shell"].append(shell(folder, captures))
        clear(folder)
        found["ideal"].append(measured([*itself, "ideal", "0"]))
        clear(folder)
        found["build"].append(measured([*itself, "build", str(jobs or 0)]))
        found["verify"].append(measured([sys.executable, "-m", "assembler", "verify", str(target), "--json"]))
    clear(folder)
    for name, usages in found.items():
        print(
            f"{name:8}{spread([one.seconds for one in usages], 's')}; processor "
            f"{spread([one.processor for one in usages], 's')}"
        )
    for name in ("shell", "ideal"):
        pairs = list(zip(found["build"], found[name], strict=True))
        print(
            f"build against {name}: {spread([one.seconds / other.seconds for one, other in pairs], 'x')}; processor "
            f"{spread([one.processor / other.processor for one, other in pairs], 'x')}"
        )
    middle = sorted(found["build"], key=lambda one: one.processor)[runs // 2]
    for stage, seconds, spent in middle.stages:
        print(f"    {stage:24}{seconds:7.2f} s, processor {spent:7.2f} s")
    print(
        f"memory of {middle.processes} processes: {max(one.resident for one in found['build']):.0f} MiB resident, "
        f"{max(one.own for one in found['build']):.0f} MiB with what they share counted once"
    )


def spread(values: list[float], unit: str) -> str:
    """Return least, median and most in words."""
    return f"{min(values):.2f}, {statistics.median(values):.2f}, {max(values):.2f} {unit}"


def clear(folder: Path) -> None:
    """Remove what a run has made."""
    for made in (folder / "copies", folder / "set"):
        shutil.rmtree(made, ignore_errors=True)


def shell(folder: Path, captures: list[str]) -> Usage:
    """Return what the shell's own tools take."""
    copies = folder / "copies"
    copies.mkdir()
    names = [str(copies / Path(path).name) for path in captures if Path(path).parent.name == "A1"]
    script = ["sha256sum", *captures, ">/dev/null;", "cp", *captures[: len(names)], str(copies)]
    script += [";", "sha256sum", *names, ">/dev/null"]
    return measured(["sh", "-c", " ".join(script)])


def ideal(folder: Path, _jobs: int | None) -> None:
    """Hash the captures, write as many bytes as are delivered, sync them, read them back and hash them."""
    copies = folder / "copies"
    copies.mkdir()
    for path in sorted(folder.glob("A*/*.wav")):
        copy = copies / path.name if path.parent.name == "A1" else Path(os.devnull)
        with path.open("rb") as source, copy.open("wb") as out:
            running = hashlib.sha256()
            while block := source.read(READ_BYTES):
                running.update(block)
                out.write(block)
        if path.parent.name == "A1":
            with copy.open("rb") as back:
                os.fsync(back.fileno())
                hashlib.file_digest(back, "sha256")


def build(folder: Path, jobs: int | None) -> None:
    """Build the set, and print the name of each stage as it begins."""
    from assembler import build_set  # noqa: PLC0415 - loading is part of it

    seen: list[str] = []

    def told(what: str, _share: float) -> None:
        if what not in seen:
            seen.append(what)
            print(what, flush=True)

    build_set(folder / "session.toml", folder / "set", jobs=jobs, progress=told)


if __name__ == "__main__":
    main()
