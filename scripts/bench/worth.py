"""What each rule and each number of the aligner is worth: take it out over the same sessions, see what changes.

A rule is a function that answers yes or no, or that finds something: it is taken out by answering always no, always
yes, or by finding nothing. A number is one of a room's ``limits``: it is halved and doubled. First all sessions are
run as they are, and what each function answered is noted: one that only ever gave one answer, and one that nothing
called, are told as that and not tried with that answer.

Sessions: of the invented trials (two and three passes of each character) and of the model of the medium (one, two,
three passes, an unlike one). A line a change; columns are sums over all sessions, and what differs from the first
line is marked:

    wrong       samples that some pass has right, delivered wrong and unlisted
    listed      the same, listed
    needless    places listed in which all is right
    untold      flawed places of the set, and of passes of the medium, that no list names
    false       flaws told where every pass is right (medium)
    inexact     trials in which a pass lies in a wrong place
    slips       found
    s           processor seconds

Run: python -m scripts.bench.worth [--rooms judge,compare] [--what rules,numbers] [--first SEED] [--workers N]
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, TypeVar

from assembler import check_session
from scripts.bench.flaw_trials import run_trial
from scripts.bench.medium_sessions import make_session
from scripts.bench.medium_truth import judge
from scripts.bench.trial_sessions import make_trial
from scripts.bench.trial_sounds import CHARACTERS, SAMPLE_RATE
from scripts.bench.worth_changes import answers_given, changes_of_numbers, changes_of_rules, rules_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection

    from scripts.bench.medium_sessions import Session
    from scripts.bench.medium_truth import Tally
    from scripts.bench.trial_sessions import Trial
    from scripts.bench.worth_changes import Change

Made = TypeVar("Made")

ROOMS = ("concealment", "judge", "compare", "events", "flaws", "sound", "place", "plan")
LONGEST_SAMPLES, MOST_FLAWS = 9 * SAMPLE_RATE // 2, 28
MEDIUM_KINDS, MEDIUM_SECONDS = ("one", "two", "two", "three", "unlike"), 8.0
COLUMNS = ("wrong", "listed", "needless", "untold", "false", "inexact", "slips")
PATIENCE = 6.0
"""A change may take so many times as long before it is given up."""


class Sessions:
    """The sessions of a run, made once; forked processes share them."""

    def __init__(self, first: int, folder: Path) -> None:
        self.trials: list[Trial] = [
            make_trial(
                first + number,
                character=character,
                passes=2 + number % 2,
                longest=LONGEST_SAMPLES,
                most_flaws=MOST_FLAWS,
            )
            for number, character in enumerate(CHARACTERS)
        ]
        self.captured: list[Session] = []
        for number, kind in enumerate(MEDIUM_KINDS):
            place = folder / str(number)
            place.mkdir()
            self.captured.append(
                make_session(place, kind, first + number, seconds=MEDIUM_SECONDS, tracks=8, own=True)
            )

    def sums(self) -> Counter[str]:
        """Return the columns over all sessions, and the tenths of a second that they took."""
        sums: Counter[str] = Counter()
        started = time.process_time()
        for trial in self.trials:
            made = run_trial(trial)
            sums["wrong"] += made.wrong
            sums["listed"] += made.listed
            sums["needless"] += made.needless
            sums["untold"] += made.unlisted
            sums["inexact"] += made.inexact
            sums["slips"] += made.slips_found
        for session in self.captured:
            tally = judge(session, json.loads(json.dumps(check_session(session.sheet).record)))
            sums["wrong"] += tally["curable unlisted",]
            sums["listed"] += tally["curable listed",]
            sums["needless"] += tally["needless places",]
            sums["false"] += tally["false",]
            for part in ("delivered", "flaws"):
                sums["untold"] += _kinds(tally, part) - _kinds(tally, f"{part} told")
        sums["tenths"] = round(10 * (time.process_time() - started))
        return sums


def _kinds(tally: Tally, part: str) -> int:
    return sum(count for key, count in tally.items() if key[:2] == (part, "kind"))


def in_a_process(work: Callable[[], Made], patience: float | None = None) -> Made | str:
    """Return what work gives in a forked process, or how it failed; the patience is in seconds."""
    ours, theirs = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.get_context("fork").Process(target=_answer, args=(work, theirs))
    process.start()
    theirs.close()
    try:
        if not ours.poll(patience):
            return "takes too long"
        return ours.recv()  # type: ignore[no-any-return]
    except EOFError:
        return "died"
    finally:
        process.kill()
        process.join()


def _answer(work: Callable[[], object], pipe: Connection) -> None:
    sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - as long as the process
    try:
        pipe.send(work())
    except Exception as error:  # noqa: BLE001 - a rule taken out may break anything
        pipe.send(f"fails: {type(error).__name__}: {error}"[:100])


def tried(
    changes: list[Change], sessions: Sessions, workers: int, patience: float
) -> Iterator[tuple[Change, Counter[str] | str]]:
    """Return what comes of each change, in its own process."""

    def one(change: Change) -> Counter[str] | str:
        def work() -> Counter[str]:
            change.make()
            return sessions.sums()

        return in_a_process(work, patience)

    with ThreadPoolExecutor(workers) as executor:
        yield from zip(changes, executor.map(one, changes), strict=True)


def line(name: str, sums: Counter[str], first: Counter[str]) -> str:
    """Return a line of the table; what differs from the first line has a star."""
    cells = [f"{sums[c]}{'' if sums[c] == first[c] else '*'}" for c in COLUMNS]
    return f"{name:58}" + "".join(f"{cell:>9}" for cell in cells) + f"{sums['tenths'] / 10:7.1f}"


def main() -> None:
    """Run everything as it is, then with one change after the other."""
    parser = argparse.ArgumentParser(description="What each rule and number of the aligner is worth.")
    parser.add_argument("--rooms", default=",".join(ROOMS))
    parser.add_argument("--what", default="rules,numbers")
    parser.add_argument("--first", type=int, default=77_000, help="first seed")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", help="changes whose name holds this")
    asked = parser.parse_args()
    rooms = asked.rooms.split(",")
    rules = rules_of(rooms) if "rules" in asked.what else []
    with TemporaryDirectory(prefix="worth-") as folder:
        sessions = Sessions(asked.first, Path(folder))
        answers = in_a_process(lambda: answers_given(rules, sessions.sums)) if rules else {}
        first = in_a_process(sessions.sums)
        if isinstance(first, str) or isinstance(answers, str):
            sys.exit(f"as it is: {first}, {answers}")
        print(f"{'':58}" + "".join(f"{name:>9}" for name in COLUMNS) + f"{'s':>7}")
        print(line("as it is", first, first), flush=True)
        changes: list[Change] = []
        for found in changes_of_rules(rules, answers):
            if isinstance(found, str):
                print(found)
            else:
                changes.append(found)
        changes += changes_of_numbers(rooms) if "numbers" in asked.what else ()
        changes = [one for one in changes if asked.only in one.name]
        patience = PATIENCE * first["tenths"] / 10 * asked.workers
        for change, sums in tried(changes, sessions, asked.workers, patience):
            print(
                f"{change.name:58} {sums}" if isinstance(sums, str) else line(change.name, sums, first),
                flush=True,
            )


if __name__ == "__main__":
    main()
