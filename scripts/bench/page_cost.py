"""What the views on the page of a set cost a build: the same build with and without them, in one run.

Makes a session of 8 tracks and two passes (5 minutes, 24 bit, 48 kHz unless told otherwise) for each number of flaws,
half of them in each pass, and builds it with and without views in turn, as often as asked for, each by one process.
Printed are ratios of processor time and of time by the clock of each pair of builds (least, median, most), the median
seconds of both, their memory, and the size of the page. Where others use the machine the clock says little.

    python -m scripts.bench.page_cost [--minutes 5] [--flaws 30 300] [--runs 5] [--folder FOLDER]

With ``--folder`` the sessions are kept there and used again.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
from pathlib import Path

from scripts.bench.check_speed import Row, Run, apart, measured, write_session


def main() -> None:
    """Measure and print some lines for each number of flaws."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--minutes", type=int, default=5)
    options.add_argument("--flaws", type=int, nargs="+", default=[30, 300])
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--folder", type=Path)
    options.add_argument("--build", choices=("with", "without"), help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.build:
        build(asked.folder, with_views=asked.build == "with")
        return
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="page-cost-"))
    try:
        for flaws in asked.flaws:
            session = folder / f"{flaws}-{asked.minutes}"
            if not session.exists():
                apart(write_session, session, Row(flaws=flaws // (2 * asked.minutes)), asked.minutes)
            print(f"{flaws} flaws, {asked.minutes} min", flush=True)
            compare(session, asked.runs)
    finally:
        if asked.folder is None:
            shutil.rmtree(folder)


def compare(session: Path, runs: int) -> None:
    """Build with and without views in turn, and print what both took."""
    found: dict[str, list[Run]] = {"with": [], "without": []}
    page = 0
    for run in range(runs):
        # Who comes second finds the files in memory: each is second as often.
        for kind in sorted(found, reverse=bool(run % 2)):
            shutil.rmtree(session / "set", ignore_errors=True)
            command = [
                sys.executable,
                "-m",
                "scripts.bench.page_cost",
                "--build",
                kind,
                "--folder",
                str(session),
            ]
            found[kind].append(measured(command))
            if kind == "with":
                page = (session / "set/data/report.html").stat().st_size
    shutil.rmtree(session / "set", ignore_errors=True)
    pairs = list(zip(found["with"], found["without"], strict=True))
    print(f"  processor time {spread([one.processor / other.processor for one, other in pairs])}")
    print(f"  by the clock   {spread([one.seconds / other.seconds for one, other in pairs])}")
    for kind, rows in found.items():
        spent, seconds = (
            statistics.median(getattr(one, of) for one in rows) for of in ("processor", "seconds")
        )
        memory = max(one.memory for one in rows)
        print(f"  {kind:8} processor {spent:.2f} s, by the clock {seconds:.2f} s, {memory:.0f} MiB")
    print(f"  page {page / 1e6:.2f} MB", flush=True)


def spread(values: list[float]) -> str:
    """Return least, median and most in words."""
    return f"{min(values):.3f}, {statistics.median(values):.3f}, {max(values):.3f}"


def build(folder: Path, *, with_views: bool) -> None:
    """Build the set by one process."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it
    from assembler import build_set, report_page  # noqa: PLC0415 - loading is part of it

    # A page maker of one's own is given no views, and none are made for it.
    build_set(folder / "session.toml", folder / "set", page=None if with_views else report_page)


if __name__ == "__main__":
    main()
