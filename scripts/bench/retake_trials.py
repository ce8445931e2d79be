"""The list for the machine held against the truth, on captures that a model of the medium makes.

    python -m scripts.bench.retake_trials --kind cleanone,one,two,three --first 51001 --sessions 2

A line a session: stretches of a track that no pass has right; of them those that no roll plays, and of these the ones
that stand among the places to listen to; samples of all stretches, and of those that no roll plays; rolls; rolls
without such a stretch on any of their tracks; seconds to play; places to listen to, and how many of these are such
stretches.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from assembler import check_session, find_retakes
from scripts.bench.medium_delivered import shift_of
from scripts.bench.medium_masks import stretches, witnesses, wrong_samples
from scripts.bench.medium_sessions import make_session

if TYPE_CHECKING:
    from scripts.bench.medium_sessions import Session

SECONDS, TRACKS = 12, 8


def main() -> None:
    """Run the trials and print the table."""
    options = argparse.ArgumentParser(description="The list for the machine held against the truth.")
    options.add_argument("--kind", default="one,two,three", help="kinds of session, parted by commas")
    options.add_argument("--first", type=int, default=1, help="first seed")
    options.add_argument("--sessions", type=int, default=1, help="sessions of each kind")
    chosen = options.parse_args()
    print("session  stretches  not asked  listed  samples  not asked  rolls  without  seconds  listen  true")
    for kind in chosen.kind.split(","):
        for seed in range(chosen.first, chosen.first + chosen.sessions):
            with TemporaryDirectory(prefix="retakes-") as name:
                session = make_session(Path(name), kind, seed, seconds=SECONDS, tracks=TRACKS, own=True)
                print(f"{kind} {seed}", *_counts(session), sep="  ", flush=True)


def _counts(session: Session) -> tuple[int | float, ...]:
    """Return the numbers of a line."""
    result = check_session(session.sheet)
    rolls = find_retakes(result.sheet, result.edit).rolls
    record: dict[str, Any] = dict(result.record)
    start = shift_of(session, record)
    moved = start - result.edit.start_sample
    wrong = [wrong_samples(session, one) for one in session.captures]
    whole = np.zeros(session.tape.shape[1], np.bool_)
    whole[max(0, start) : start + result.edit.length] = True
    places = missed = listed = samples = lost = 0
    has_reason = [False] * len(rolls)
    suspects = result.edit.suspects
    is_true = [False] * len(suspects)
    for row in range(TRACKS):
        some, _, _ = witnesses(session, wrong, row)
        bad = ~some & whole
        asked = np.zeros_like(bad)
        for number, roll in enumerate(rolls):
            if row in roll.tracks:
                part = slice(max(0, roll.start + moved), max(0, roll.end + moved))
                asked[part] = True
                has_reason[number] |= bool(bad[part].any())
        heard = np.zeros_like(bad)
        for number, one in enumerate(suspects):
            part = slice(max(0, one.start + moved), max(0, one.end + moved))
            heard[part] |= row in one.tracks
            is_true[number] |= bool(row in one.tracks and bad[part].any())
        for low, high in stretches(bad):
            is_missed = not asked[low:high].any()
            places += 1
            missed += is_missed
            listed += bool(is_missed and heard[low:high].any())
        samples += int(bad.sum())
        lost += int((bad & ~asked).sum())
    seconds = sum(roll.seconds for roll in rolls)
    played = len(rolls), has_reason.count(False), round(seconds, 1)
    return places, missed, listed, samples, lost, *played, len(suspects), is_true.count(True)


if __name__ == "__main__":
    main()
