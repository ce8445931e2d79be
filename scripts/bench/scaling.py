"""How the work of a check grows with length, passes, flaws and reels: ratios of processor time, in one run.

Each law compares sessions of 8 tracks, 24 bit, 48 kHz, as `check_speed` makes them; every session is checked as often
as asked for, in turn with the others, by one process of its own, and the least processor time of each counts. Loading
the program is not in it: in short sessions that would hide growth.

    length    two passes with flaws, of 4 times the length: 4.1 times at most
    passes    4 and 8 passes with flaws against 2: in proportion, 2 and 4 times at most; each pass has flaws of the same
              kinds, lengths and tracks at places of its own
    flaws     300 and 3,000 flaws in a minute against 30: in proportion, 10 and 100 times at most
    reels     16 reels against one: 16.5 times at most

Run: python -m scripts.bench.scaling [--laws NAME ...] [--seconds 60] [--runs 3]
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from scripts.bench.check_speed import SHEET, TAKE, apart, open_track
from scripts.bench.trial_sessions import TRACKS, draw_flaw, make_tape, put_flaw
from scripts.bench.trial_sounds import SAMPLE_RATE

if TYPE_CHECKING:
    from scripts.bench.trial_sessions import PutFlaw

PIECE_SECONDS = 15
CHECK = """
import os, sys, time
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from assembler import check_session
from assembler.process.heap import keep_freed
import assembler.consolidator
keep_freed()
started = time.process_time()
check_session(sys.argv[1])
print(time.process_time() - started)
"""


@dataclass(frozen=True)
class Session:
    """A session to be made: flaws are those of each pass in a minute."""

    seconds: int
    passes: int = 2
    flaws: int = 6
    reels: int = 1


@dataclass(frozen=True)
class Law:
    """Sessions to compare with the first one, and how many times its work each may take."""

    sessions: tuple[Session, ...]
    most: tuple[float, ...]


def laws_of(seconds: int) -> dict[str, Law]:
    """Return the laws for sessions of a length."""
    one = Session(seconds)
    return {
        "length": Law((one, replace(one, seconds=4 * seconds)), (4.1,)),
        "passes": Law((one, replace(one, passes=4), replace(one, passes=8)), (2.0, 4.0)),
        "flaws": Law(tuple(replace(one, flaws=count // 2) for count in (30, 300, 3000)), (10.0, 100.0)),
        "reels": Law((replace(one, seconds=PIECE_SECONDS), Session(PIECE_SECONDS, reels=16)), (16.5,)),
    }


def main() -> None:
    """Measure and print a table; exit status 1 where a law does not hold."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--laws", nargs="+", choices=laws_of(60), default=list(laws_of(60)))
    options.add_argument("--seconds", type=int, default=60)
    options.add_argument("--runs", type=int, default=3)
    asked = options.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="scaling-"))
    held = True
    print(f"{'law':8}{'session':>44}{'processor s':>13}{'ratio':>8}{'at most':>9}")
    try:
        for name in asked.laws:
            held &= told(name, laws_of(asked.seconds)[name], folder, asked.runs)
    finally:
        shutil.rmtree(folder)
    sys.exit(0 if held else 1)


def told(name: str, law: Law, folder: Path, runs: int) -> bool:
    """Measure one law, print its rows and return whether it holds."""
    places = [folder / str(number) for number in range(len(law.sessions))]
    for place, session in zip(places, law.sessions, strict=True):
        apart(write_session, place, session)
    spent = [[checked(place) for place in places] for _ in range(runs)]
    first, *others = (min(row[number] for row in spent) for number in range(len(places)))
    print(f"{name:8}{shown(law.sessions[0]):>44}{first:13.2f}")
    ratios = [one / first for one in others]
    for session, one, ratio, most in zip(law.sessions[1:], others, ratios, law.most, strict=True):
        print(f"{'':8}{shown(session):>44}{one:13.2f}{ratio:8.2f}{most:9.1f}", flush=True)
    for place in places:
        shutil.rmtree(place)
    return all(ratio <= most for ratio, most in zip(ratios, law.most, strict=True))


def shown(session: Session) -> str:
    """Return a session in a few words."""
    return (
        f"{session.seconds} s, {session.passes} passes, {session.reels} reels, "
        f"{session.passes * session.flaws} flaws a min"
    )


def checked(place: Path) -> float:
    """Return the processor seconds of a check by one process."""
    command = [sys.executable, "-c", CHECK, str(place / "session.toml")]
    return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def write_session(folder: Path, session: Session) -> None:
    """Write a session a piece at a time; each reel begins ten minutes after the one before."""
    folder.mkdir()
    sheet = SHEET.partition("[[reel]]")[0]
    takes = ""
    for reel in range(session.reels):
        sheet += f'[[reel]]\nname = "R{reel}"\ntracks = {[str(track + 1) for track in range(TRACKS)]}\n\n'
        names = [f"R{reel}P{number}" for number in range(session.passes)]
        for name in names:
            take = TAKE.format(name=name).replace('reel = "A"', f'reel = "R{reel}"')
            takes += take.replace("01:00:00:00", f"0{1 + reel // 6}:{reel % 6}0:00:00")
        write_reel(folder, names, session, reel)
    (folder / "session.toml").write_text(sheet.replace("'", '"') + takes)


def write_reel(folder: Path, names: list[str], session: Session, reel: int) -> None:
    """Write the captures of one reel."""
    for name in names:
        (folder / name).mkdir()
    files = {name: [open_track(folder / name, track) for track in range(TRACKS)] for name in names}
    for start in range(0, session.seconds, PIECE_SECONDS):
        seconds = min(PIECE_SECONDS, session.seconds - start)
        rng = np.random.default_rng([reel, start, 9])
        size = seconds * SAMPLE_RATE
        tape = make_tape("dense", 24, size, rng)
        flaws = [draw_flaw(0, size, rng) for _ in range(round(session.flaws * seconds / 60))]
        for name in names:
            captured = tape.copy()
            for flaw in flaws:
                put_flaw(captured, moved(flaw, size, rng), 24, rng)
            for track, file in enumerate(files[name]):
                file.write(captured[track] << 8)
    for file in (file for tracks in files.values() for file in tracks):
        file.close()


def moved(flaw: PutFlaw, size: int, rng: np.random.Generator) -> PutFlaw:
    """Return a flaw at another place of a tape of so many samples."""
    length = flaw.end - flaw.start
    start = int(rng.integers(length + 1, size - length - 1))
    return replace(flaw, start=start, end=start + length)


if __name__ == "__main__":
    main()
