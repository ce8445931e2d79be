"""How much two workers do of what one does.

Small invented sessions, two passes of eight tracks with a mute, built by a batch of one worker and by one of two, by
turns; then all is verified. Prints seconds and processor seconds, ratios, and times real time.

Run: python -m scripts.bench.batch_speed [--sessions 12] [--seconds 10] [--rounds 3]
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import tempfile
import time
from pathlib import Path
from statistics import median

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # as the command line has it, so that workers can be forked

from assembler import build_collection, verify_collection
from tests.support.sessions import HOUR, Layout, make_tape


def write_sessions(folder: Path, sessions: int, seconds: float) -> None:
    """Write sessions, each its own sound."""
    for number in range(sessions):
        tape = make_tape(seconds, 8, seed=number)
        muted = tape.copy()
        muted[20_000:20_500] = 0
        layout = Layout(folder / f"tape{number:03d}")
        layout.add_reel("A", [f"Track {track}" for track in range(1, 9)])
        layout.add_pass("A1", "A", muted, HOUR)
        layout.add_pass("A2", "A", tape, HOUR)
        layout.write()


def processor_seconds() -> float:
    """Return what this process and the workers that have ended have used of the processors."""
    own, ended = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + ended.ru_utime + ended.ru_stime


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=12)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    took: dict[int, list[tuple[float, float]]] = {1: [], 2: []}
    with tempfile.TemporaryDirectory() as place:
        write_sessions(Path(place) / "sessions", given.sessions, given.seconds)
        for _ in range(given.rounds):
            for jobs, times in took.items():
                root = Path(place) / "root"
                shutil.rmtree(root, ignore_errors=True)
                began, used = time.monotonic(), processor_seconds()
                build_collection([Path(place) / "sessions"], root, jobs=jobs, cache_mebibytes=0)
                times.append((time.monotonic() - began, processor_seconds() - used))
        began = time.monotonic()
        verify_collection(root, jobs=2)
        verified = time.monotonic() - began
    one, two = (median(wall for wall, _ in times) for times in took.values())
    busy = [median(used for _, used in times) for times in took.values()]
    tape = given.sessions * given.seconds
    print(
        f"one worker {one:.1f} s, two {two:.1f} s: {one / two:.2f} times as much; verified in {verified:.1f} s"
    )
    print(
        f"processor seconds: one {busy[0]:.1f}, two {busy[1]:.1f}; {busy[0] / given.sessions:.2f} a session"
    )
    print(
        f"a worker: {tape / one:.0f} times real time; two: {tape / two:.0f}; verifying {tape / verified:.0f}"
    )


if __name__ == "__main__":
    main()
