"""Trials on captures that a model of the medium makes, with the truth known for every sample.

    python -m scripts.bench.medium_trials --kind two,weave --first 1 --sessions 3
        [--jobs 2] [--by cause] [--keep FOLDER]

A line a session and one for each kind, in samples unless said otherwise: what some pass has right, of it
delivered right or wrong, listed or not; what is listed although it is right; what no pass has right; what
could only be woven of several passes, and how much of it is right; flawed stretches of the set and of the
passes, and those told; flaws told where every pass is right, for an hour of tape that all have right; passes
blamed for what another has wrong; places listed in which all is right per hundred flaws of passes; samples
that a pass has right and the set has at another's place (left out of the first columns' wrong ones), and
those unlisted; seconds that the check took. With ``--by cause`` or ``--by kind`` the same by what made the
flaw. With ``--keep`` a session with wrong samples delivered unlisted is written there.
"""

from __future__ import annotations

import argparse
import json
import shutil
import time
from collections import Counter
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from assembler import check_session
from assembler.errors import AssemblerError
from scripts.bench.medium_sessions import KINDS, make_session
from scripts.bench.medium_table import BY, HEAD, by_lines, line

if TYPE_CHECKING:
    from collections.abc import Iterable

    from scripts.bench.medium_truth import Tally


def main() -> None:
    """Run the trials and print the table."""
    chosen = _options()
    kinds = list(KINDS) if chosen.kind == "all" else chosen.kind.split(",")
    if unknown := sorted(set(kinds) - set(KINDS)):
        raise SystemExit(f"--kind: {', '.join(unknown)}; there are {', '.join(KINDS)}, all")
    print(HEAD, flush=True)
    total: Tally = Counter()
    for kind in kinds:
        jobs = [(kind, chosen.first + index, chosen) for index in range(chosen.sessions)]
        summed: Tally = Counter()
        for seed, words, tally in _results(jobs, chosen.jobs):
            summed.update(tally)
            print(
                line(f"{kind} {seed}", tally),
                f" {words}" if chosen.words or tally["refused",] else "",
                flush=True,
            )
        print(line(f"{kind}, all", summed), flush=True)
        if chosen.by:
            print("\n".join(by_lines(summed, chosen.by)), flush=True)
        total.update(summed)
    if len(kinds) > 1:
        print(line("everything", total))
        if chosen.by:
            print("\n".join(by_lines(total, chosen.by)))


def _options() -> argparse.Namespace:
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("--first", type=int, default=1, help="first seed")
    options.add_argument("--sessions", type=int, default=3, help="sessions of each kind")
    options.add_argument("--kind", default="two", help=f"of {', '.join(KINDS)}; several with commas, or all")
    options.add_argument("--seconds", type=float, default=24)
    options.add_argument("--tracks", type=int, default=8)
    options.add_argument("--jobs", type=int, default=1, help="processes")
    options.add_argument("--by", choices=BY, help="the same figures by cause, or by kind of flaw")
    options.add_argument(
        "--keep", type=Path, help="write sessions with wrong samples unlisted into this folder"
    )
    options.add_argument(
        "--own", action="store_true", help="no synthesizer's sounds, even where there is one"
    )
    options.add_argument(
        "--words", action="store_true", help="tell format, machine and sounds of each session"
    )
    return options.parse_args()


def _results(jobs: list[tuple[str, int, argparse.Namespace]], count: int) -> Iterable[tuple[int, str, Tally]]:
    if count == 1:
        yield from map(trial, jobs)
        return
    # Forked processes would share the state of the numeric library's threads.
    with get_context("spawn").Pool(count, maxtasksperchild=4) as pool:
        yield from pool.imap(trial, jobs)


def trial(job: tuple[str, int, argparse.Namespace]) -> tuple[int, str, Tally]:
    """Make one session, check it and judge the record; return its seed, what it is made of, and the counts."""
    from scripts.bench.medium_truth import judge  # noqa: PLC0415 - a spawned process needs it here alone

    kind, seed, chosen = job
    with TemporaryDirectory(prefix="medium-") as name:
        folder = Path(name)
        session = make_session(
            folder, kind, seed, seconds=chosen.seconds, tracks=chosen.tracks, own=chosen.own
        )
        started = time.perf_counter()
        try:
            record = json.loads(json.dumps(check_session(session.sheet).record))
        except AssemblerError as error:
            return seed, f"refused: {error}", Counter({("refused",): 1})
        taken = round(1000 * (time.perf_counter() - started))
        tally = judge(session, record)
        tally["milliseconds",] += taken
        tally["sessions",] += 1
        if chosen.keep and tally["curable unlisted",]:
            (folder / "assembly.json").write_text(json.dumps(record, indent=1))
            shutil.copytree(folder, chosen.keep / f"{kind}_{seed}")
    return seed, session.words, tally


if __name__ == "__main__":
    main()
