"""How many times faster than the tape aligning and finding flaws is, and in how much memory, for a row of sessions.

Each session has 8 tracks of 24 bit at 48 kHz; 30 flaws for every 5 minutes of a pass where the row says so. In one run:
the yardstick (the same files read and compared, or one pass counted, by plain numpy) and ``assembler check``, each as
often as asked for; the quickest of each is told. Columns:

    x real time   length of the tape over the time of the check: less than it can be where others use the machine
    by one core   the same over the check's processor time, that of all its processes, start of the program included
    x yardstick   processor time of the check over that of the yardstick
    MiB           most memory of all processes of the check, what they share counted once

Rows: ``clean``: two passes that agree; ``flaws``: two with flaws; ``noise``: also 10 s of noise on all tracks of one;
``three``: three passes with flaws; ``alone``: one pass with flaws; ``quiet`` and ``square``: two passes with flaws, of
noise of a few steps and of a square-wave synthesizer. Elsewhere the music is dense. ``medium-clean``, ``medium`` and
``medium-one``: sounds, flaws and logs by the model of the medium (``medium_sessions``), of two passes, without flaws
and with, and of one; as many flaws a minute as its sessions of 24 s have, some of which no pass has right.

Run: python -m scripts.bench.check_speed [--minutes 5 20] [--rows NAME ...] [--runs N] [--folder FOLDER]
         [--against CHECKOUT]
With ``--folder`` the sessions are kept there and used again. With ``--against`` the code of another checkout is
measured in turn with this one, run by run, and has a row before each: what else the machine does bears on both alike.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from scripts.bench import usage
from scripts.bench.medium_sessions import make_session
from scripts.bench.trial_sessions import TRACKS, draw_flaw, make_tape, put_flaw
from scripts.bench.trial_sounds import SAMPLE_RATE

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s

BIT_DEPTH = 24
HEADER_BYTES = 44
PIECE_SECONDS = 60
FLAWS_PER_PIECE = 6
NOISE_SECONDS = 10
YARDSTICK_BYTES = 3 << 17
SHEET = """\
[session]
title = "Speed"
sample_rate = 48000
bit_depth = 24
frame_rate = "30"

[[reel]]
name = "A"
tracks = ["1", "2", "3", "4", "5", "6", "7", "8"]
"""
TAKE = """
[[pass]]
name = "{name}"
reel = "A"
audio = "{name}/*.wav"
timecode = {{ start = "01:00:00:00" }}
"""


@dataclass(frozen=True)
class Row:
    """What a session holds."""

    passes: int = 2
    character: str = "dense"
    flaws: int = FLAWS_PER_PIECE
    has_noise: bool = False


MEDIUM_SEED = 7
MEDIUM = {"medium-clean": "clean", "medium": "two", "medium-one": "one"}
"""Rows, and the kind of session that the model of the medium makes for each."""
ROWS = {
    "clean": Row(flaws=0),
    "flaws": Row(),
    "noise": Row(has_noise=True),
    "three": Row(passes=3),
    "alone": Row(passes=1),
    "quiet": Row(character="quiet"),
    "square": Row(character="square"),
}


@dataclass(frozen=True)
class Run:
    """What a process took: seconds, seconds of processor time, mebibytes."""

    seconds: float
    processor: float
    memory: float


def main() -> None:
    """Measure and print a table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--minutes", type=int, nargs="+", default=[5])
    options.add_argument("--rows", nargs="+", choices=[*ROWS, *MEDIUM], default=[*ROWS, *MEDIUM])
    options.add_argument("--runs", type=int, default=2)
    options.add_argument("--folder", type=Path)
    options.add_argument("--against", type=Path)
    asked = options.parse_args()
    checkouts = [*([asked.against] if asked.against else []), Path.cwd()]
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="check-speed-"))
    print(
        f"{'row':14}{'minutes':>8}{'seconds':>9}{'x real time':>13}{'by one core':>13}{'x yardstick':>13}{'MiB':>6}"
    )
    for name in asked.rows:
        for minutes in asked.minutes:
            session = folder / f"{name}-{minutes}"
            if not session.exists():
                if name in MEDIUM:
                    apart(write_medium, session, MEDIUM[name], minutes)
                else:
                    apart(write_session, session, ROWS[name], minutes)
            print_rows(name, minutes, session.resolve(), asked.runs, checkouts)
            if asked.folder is None:
                shutil.rmtree(session)


def print_rows(name: str, minutes: int, session: Path, runs: int, checkouts: list[Path]) -> None:
    """Measure a session and print a row for each checkout."""
    command = [
        sys.executable,
        "-m",
        "assembler",
        "check",
        str(session / "session.toml"),
        "--quiet",
        "--no-cache",
    ]
    yardsticks: list[float] = []
    checks: dict[Path, list[Run]] = {checkout: [] for checkout in checkouts}
    for _ in range(runs):
        yardsticks.append(compared(session))
        for checkout, taken in checks.items():
            taken.append(measured(command, checkout))
    for taken in checks.values():
        seconds = min(run.seconds for run in taken)
        processor = min(run.processor for run in taken)
        print(
            f"{name:14}{minutes:8}{seconds:9.1f}{60 * minutes / seconds:13.0f}{60 * minutes / processor:13.0f}"
            f"{processor / min(yardsticks):13.1f}{max(run.memory for run in taken):6.0f}",
            flush=True,
        )


def measured(command: list[str], checkout: Path | None = None) -> Run:
    """Return what a command took, all its processes together; what they share is counted once."""
    found = usage.measured(command, (0, 1), checkout)
    return Run(found.seconds, found.processor, found.own)


def compared(session: Path) -> float:
    """Return the processor time in which each pass's files are read and compared with the first one's, byte by byte."""
    first, *others = sorted(path for path in session.iterdir() if path.is_dir())
    started = time.process_time()
    for path in sorted(first.glob("*.wav")):
        files = [(folder / path.name).open("rb") for folder in (first, *others)]
        for file in files:
            file.seek(HEADER_BYTES)
        while True:
            blocks = [np.fromfile(file, np.uint8, YARDSTICK_BYTES) for file in files]
            if not blocks[0].size:
                break
            for block in blocks[1:] or [np.zeros_like(blocks[0])]:
                both = min(block.size, blocks[0].size)
                np.count_nonzero(blocks[0][:both] != block[:both])
        for file in files:
            file.close()
    return time.process_time() - started


def apart(work: Callable[..., None], *arguments: object) -> None:
    """Do work in a process of its own: what it holds is not to be counted as the check's memory."""
    process = get_context("spawn").Process(target=work, args=arguments)
    process.start()
    process.join()
    if process.exitcode:
        raise SystemExit(f"the session could not be made: {process.exitcode}")


def write_session(folder: Path, row: Row, minutes: int) -> None:
    """Write a session, a minute at a time."""
    names = [f"A{number + 1}" for number in range(row.passes)]
    for name in names:
        (folder / name).mkdir(parents=True)
    files = {name: [open_track(folder / name, track) for track in range(TRACKS)] for name in names}
    for minute in range(minutes):
        rng = np.random.default_rng([minute, 5])
        tape = make_tape(row.character, BIT_DEPTH, PIECE_SECONDS * SAMPLE_RATE, rng)
        for index, name in enumerate(names):
            captured = capture(tape, row, rng)
            if row.has_noise and index == 0 and minute == minutes // 2:
                place = slice(20 * SAMPLE_RATE, (20 + NOISE_SECONDS) * SAMPLE_RATE)
                captured[:, place] = rng.integers(-(1 << 20), 1 << 20, captured[:, place].shape, np.int32)
            for track, file in enumerate(files[name]):
                file.write(captured[track] << 8)
    for file in (file for tracks in files.values() for file in tracks):
        file.close()
    (folder / "session.toml").write_text(SHEET + "".join(TAKE.format(name=name) for name in names))


def write_medium(folder: Path, kind: str, minutes: int) -> None:
    """Write a session by the model of the medium."""
    folder.mkdir(parents=True)
    make_session(folder, kind, MEDIUM_SEED, seconds=60 * minutes, tracks=TRACKS, own=True)


def open_track(folder: Path, track: int) -> soundfile.SoundFile:
    """Return a new file for a track."""
    return soundfile.SoundFile(str(folder / f"{track + 1}.wav"), "w", SAMPLE_RATE, 1, "PCM_24")


def capture(tape: Int32s, row: Row, rng: np.random.Generator) -> Int32s:
    """Return a flawed copy of a piece of the tape."""
    copy = tape.copy()
    for _ in range(row.flaws):
        put_flaw(copy, draw_flaw(0, tape.shape[1], rng), BIT_DEPTH, rng)
    return copy


if __name__ == "__main__":
    main()
