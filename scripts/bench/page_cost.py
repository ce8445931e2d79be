"""What the views on the page of a set cost a build: the same build with and without them, in one run.

Makes a session of 8 tracks and two passes (5 minutes, 24 bit, 48 kHz unless told otherwise) for each number of flaws,
half of them in each pass, and builds it with and without views in turn, as often as asked for. Printed are ratios of
processor time, of all processes together, and of time by the clock, of each pair of builds (least, median, most), the
processor seconds of each stage by their medians, the memory of all processes, and the size of the page.

    python -m scripts.bench.page_cost [--minutes 5] [--flaws 30 300] [--runs 5] [--jobs 2] [--folder FOLDER]

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

from scripts.bench.check_speed import Row, apart, write_session
from scripts.bench.usage import Usage, measured

ENDINGS = (0, 1)


def main() -> None:
    """Measure and print a table for each number of flaws."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--minutes", type=int, default=5)
    options.add_argument("--flaws", type=int, nargs="+", default=[30, 300])
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--jobs", type=int, default=2)
    options.add_argument("--folder", type=Path)
    options.add_argument("--build", choices=("with", "without"), help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.build:
        build(asked.folder, asked.jobs, with_views=asked.build == "with")
        return
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="page-cost-"))
    try:
        for flaws in asked.flaws:
            session = folder / f"{flaws}-{asked.minutes}"
            if not session.exists():
                apart(write_session, session, Row(flaws=flaws // (2 * asked.minutes)), asked.minutes)
            print(f"{flaws} flaws, {asked.minutes} min, {asked.jobs} jobs", flush=True)
            compare(session, asked.jobs, asked.runs)
    finally:
        if asked.folder is None:
            shutil.rmtree(folder)


def compare(session: Path, jobs: int, runs: int) -> None:
    """Build with and without views in turn, and print what both took."""
    found: dict[str, list[Usage]] = {"with": [], "without": []}
    page = 0
    for run in range(runs):
        # Who comes second finds the files in memory: each is second as often.
        for kind in sorted(found, reverse=bool(run % 2)):
            command = [sys.executable, "-m", "scripts.bench.page_cost", "--build", kind]
            command += ["--folder", str(session), "--jobs", str(jobs)]
            shutil.rmtree(session / "set", ignore_errors=True)
            found[kind].append(measured(command, ENDINGS))
            if kind == "with":
                page = (session / "set/data/report.html").stat().st_size
    shutil.rmtree(session / "set", ignore_errors=True)
    pairs = list(zip(found["with"], found["without"], strict=True))
    print(f"  processor time {spread([one.processor / other.processor for one, other in pairs])}")
    print(f"  by the clock   {spread([one.seconds / other.seconds for one, other in pairs])}")
    for kind, usages in found.items():
        stages = {
            name: statistics.median(
                spent for one in usages for name_, _, spent in one.stages if name_ == name
            )
            for name, _, _ in usages[0].stages
        }
        words = ", ".join(f"{name} {seconds:.2f}" for name, seconds in stages.items())
        print(f"  {kind:8} {max(one.own for one in usages):.0f} MiB; {words}")
    print(f"  page {page / 1e6:.2f} MB", flush=True)


def spread(values: list[float]) -> str:
    """Return least, median and most in words."""
    return f"{min(values):.3f}, {statistics.median(values):.3f}, {max(values):.3f}"


def build(folder: Path, jobs: int, *, with_views: bool) -> None:
    """Build the set, and print the name of each stage as it begins."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it
    from assembler import build_set, report_page  # noqa: PLC0415 - loading is part of it

    seen: list[str] = []

    def told(what: str, _share: float) -> None:
        if what not in seen:
            seen.append(what)
            print(what, flush=True)

    # A page maker of one's own is given no views, and none are made for it.
    page = None if with_views else report_page
    build_set(folder / "session.toml", folder / "set", jobs=jobs, progress=told, page=page)


if __name__ == "__main__":
    main()
