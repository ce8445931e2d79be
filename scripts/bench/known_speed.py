"""How long a check takes of a session that is known already, and after a short pass was added to one of two reels.

The session has two reels of two passes with 30 flaws for every 5 minutes, 8 tracks of 24 bit at 48 kHz. Rows:

    first     a check that knows nothing
    second    the same again: wanted is at most a tenth of the first
    comment   the same with a comment in the sheet
    added     a retake of 20 s of reel A was added
    without   the same with ``--no-cache``
    build     a build of it that knows what a check found; ``anew``: one that does not

Columns: seconds, processor time, and the seconds as a share of the first check's; the quickest of ``--runs`` counts.

Run: python -m scripts.bench.known_speed [--minutes 20] [--runs N]
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import soundfile

from scripts.bench.check_speed import BIT_DEPTH, ROWS, SHEET, TAKE, Run, apart, measured, write_session

RETAKE_SECONDS = 20
RATE = 48_000


def main() -> None:
    """Measure and print a table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--minutes", type=int, default=20)
    options.add_argument("--runs", type=int, default=2)
    asked = options.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="known-speed-"))
    os.environ["ASSEMBLER_CACHE"] = str(folder / "cache")
    try:
        sheet = write_two_reels(folder, asked.minutes)
        print(f"{'row':10}{'seconds':>9}{'processor':>11}{'share':>8}")
        measure(folder, sheet, asked.runs)
    finally:
        shutil.rmtree(folder)


def measure(folder: Path, sheet: Path, runs: int) -> None:
    """Measure each row in turn."""
    check = [sys.executable, "-m", "assembler", "check", str(sheet), "--json"]
    build = [sys.executable, "-m", "assembler", "build", str(sheet), "-o"]
    first = row("first", [measured(check)], None)
    row("second", [measured(check) for _ in range(runs)], first)
    sheet.write_text("# a comment\n" + sheet.read_text())
    row("comment", [measured(check) for _ in range(runs)], first)
    add_retake(folder, sheet)
    row("added", [measured(check)], first)
    row("without", [measured([*check, "--no-cache"])], first)
    row("build", [measured([*build, str(folder / "known")])], first)
    row("anew", [measured([*build, str(folder / "anew"), "--no-cache"])], first)


def row(name: str, taken: list[Run], first: Run | None) -> Run:
    """Print a row and return its quickest run."""
    best = min(taken, key=lambda one: one.seconds)
    share = best.seconds / (first or best).seconds
    print(f"{name:10}{best.seconds:9.1f}{best.processor:11.1f}{share:8.3f}", flush=True)
    return best


def write_two_reels(folder: Path, minutes: int) -> Path:
    """Write the session and return its sheet."""
    for reel in "AB":
        apart(write_session, folder / reel, ROWS["flaws"], minutes)
    names = [", ".join(f'"{number}"' for number in range(first, first + 8)) for first in (1, 9)]
    second = SHEET[SHEET.index("[[reel]]") :].replace('"A"', '"B"').replace(names[0], names[1])
    text = f"{SHEET}\n{second}"
    for reel in "AB":
        for number in (1, 2):
            text += TAKE.format(name=f"{reel}/A{number}").replace('reel = "A"', f'reel = "{reel}"')
    sheet = folder / "session.toml"
    sheet.write_text(text)
    settle(folder)
    return sheet


def add_retake(folder: Path, sheet: Path) -> None:
    """Add a pass that holds a stretch of reel A, from its middle on."""
    (folder / "A" / "A3").mkdir()
    for path in sorted((folder / "A" / "A2").iterdir()):
        start = soundfile.info(str(path)).frames // 2
        samples, _ = soundfile.read(str(path), RETAKE_SECONDS * RATE, start, dtype="int32")
        soundfile.write(str(folder / "A" / "A3" / path.name), samples, RATE, f"PCM_{BIT_DEPTH}")
    seconds = start // RATE
    label = f"01:{seconds // 60:02d}:{seconds % 60:02d}:00"
    sheet.write_text(sheet.read_text() + TAKE.format(name="A/A3").replace("01:00:00:00", label))
    settle(folder / "A" / "A3")


def settle(folder: Path) -> None:
    """Make files as old as those are that nobody is writing to."""
    then = time.time() - 60
    for path in folder.rglob("*.wav"):
        os.utime(path, (then, then))


if __name__ == "__main__":
    main()
