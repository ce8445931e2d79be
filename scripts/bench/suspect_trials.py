"""What a lone pass shows by itself, held against the truth: flaws told, and the places to listen to.

    python -m scripts.bench.suspect_trials --first 61001 --sessions 20 --seconds 60

Sessions are flawed ("one") and clean ("cleanone"). A line a session: flawed stretches of its tracks and those told as
flaws; flaws told and those that are true; places with odds, all of them, and those that are flaws. At the end, over all
sessions as one tape: shares of the first 10 and 20 of an hour's list that are flaws, cut off by odds over all sessions
at once; the first of each session, which is the list of so short a tape; what places there are of what was not told;
and for places in bins of their odds the share said against the true one.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from math import exp
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from assembler import check_session
from assembler.aligner.events import suspects
from scripts.bench.medium_masks import named, stretches, wrong_samples
from scripts.bench.medium_sessions import make_session

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scripts.bench.medium_sessions import Session

TRACKS = 8
BORDERS = (-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 3.0, 6.0)
"""Of the bins of odds, in nats."""


@dataclass(frozen=True)
class Seen:
    """What a check of one lone pass told, and what of it is true.

    Args:
        hours: of tape.
        hurt: flawed stretches, by kind; with "told" those that are told as flaws, with "listed" those in suspects only.
        flaws: told, and how many of these are true.
        places: odds and kind of each suspect, and whether it is a flaw.
    """

    hours: float
    hurt: Counter[tuple[str, str]]
    flaws: tuple[int, int]
    places: list[tuple[float, str, bool]]


def main() -> None:
    """Run the trials and print the tables."""
    options = argparse.ArgumentParser(description="What a lone pass shows by itself, held against the truth.")
    options.add_argument("--first", type=int, default=1, help="first seed")
    options.add_argument("--sessions", type=int, default=4, help="of each kind, flawed and clean")
    options.add_argument("--seconds", type=float, default=60)
    options.add_argument("--kind", default="one,cleanone", help="flawed, clean, or both")
    chosen = options.parse_args()
    # The list of a whole tape is taken from all sessions below; each by itself would be cut at one place a session.
    setattr(suspects, "MOST_AN_HOUR", 1_000_000)  # noqa: B010 - a number that the module imports for itself
    for kind in chosen.kind.split(","):
        print(f"{'session':>16}  flawed  told  flaws  true  places  true", flush=True)
        found = []
        for seed in range(chosen.first, chosen.first + chosen.sessions):
            with TemporaryDirectory(prefix="suspects-") as name:
                session = make_session(
                    Path(name), kind, seed, seconds=chosen.seconds, tracks=TRACKS, own=True
                )
                found.append(_seen(session, chosen.seconds / 3600))
            print(f"{kind} {seed:>8}", *_line(found[-1]), sep="  ", flush=True)
        print("\n".join(_summary(found)), flush=True)


def _seen(session: Session, hours: float) -> Seen:
    """Check a session and hold what is told against the truth."""
    edit = check_session(session.sheet).edit
    (one,), (aligned,) = session.captures, edit.passes
    bad = wrong_samples(session, one)
    told, listed = np.zeros_like(bad), np.zeros_like(bad)
    true = 0
    for flaw in aligned.flaws:
        part = slice(max(0, flaw.start - 1), flaw.end + 1)
        told[list(flaw.tracks), part] = True
        slipped = any(abs(at - flaw.start) < 1440 for at in one.slips)
        true += bool(flaw.kind == "missing" or slipped or bad[list(flaw.tracks), part].any())
    places = []
    for place in edit.suspects:
        if aligned.time_map is None:
            continue
        parts = [
            slice(max(0, low - 1), high + 1)
            for low, high in aligned.time_map.pass_ranges(place.start, place.end)
        ]
        is_flaw = any(bad[list(place.tracks), part].any() for part in parts)
        for part in parts:
            listed[list(place.tracks), part] = True
        places.append((place.odds, place.kind, is_flaw))
    hurt: Counter[tuple[str, str]] = Counter()
    for row in range(TRACKS):
        for low, high in stretches(bad[row]):
            inside = bad[row, low:high]
            kind = named(
                one.made[row, low:high][inside], session.tape[row, one.place[low:high]].astype(np.int64)
            )
            hurt[kind, "all"] += 1
            hurt[kind, "told"] += bool(told[row, low:high].any())
            hurt[kind, "listed"] += bool(listed[row, low:high].any() and not told[row, low:high].any())
    return Seen(hours, hurt, (len(aligned.flaws), true), places)


def _line(seen: Seen) -> tuple[int, ...]:
    return (
        _sum(seen.hurt, "all"),
        _sum(seen.hurt, "told"),
        *seen.flaws,
        len(seen.places),
        sum(p[2] for p in seen.places),
    )


def _sum(hurt: Counter[tuple[str, str]], what: str) -> int:
    return sum(count for (_, name), count in hurt.items() if name == what)


def _summary(found: Sequence[Seen]) -> list[str]:
    """Return the lines on all sessions of a kind together."""
    hours = sum(one.hours for one in found)
    hurt = sum((one.hurt for one in found), Counter[tuple[str, str]]())
    flaws, true = (sum(one.flaws[index] for one in found) for index in (0, 1))
    places = sorted((p for one in found for p in one.places), key=lambda p: -p[0])
    told = f"{_sum(hurt, 'told')} of {_sum(hurt, 'all')} flawed stretches told"
    false = f"of {flaws} flaws told {true} true, {(flaws - true) / hours:.1f} false an hour"
    lines = [f"{60 * hours:.1f} min of tape: {told}; {false}"]
    for most in (10, 20):
        first = places[: round(most * hours)]
        lines.append(f"the first {most} an hour: {len(first)} places, {sum(p[2] for p in first)} flaws")
    first = [max(one.places, key=lambda p: p[0]) for one in found if one.places]
    lines.append(f"the first of each session: {len(first)} places, {sum(p[2] for p in first)} flaws")
    lines += [
        f"{kind}: {hurt[kind, 'told']} of {hurt[kind, 'all']} told, {hurt[kind, 'listed']} more among all look-alikes"
        for kind in sorted({kind for kind, _ in hurt})
    ]
    for low, high in zip((-99.0, *BORDERS), (*BORDERS, 99.0), strict=True):
        inside = [p for p in places if low <= p[0] < high]
        if inside:
            said = sum(1 / (1 + exp(-p[0])) for p in inside) / len(inside)
            kinds = Counter(p[1] for p in inside).most_common()
            lines.append(
                f"odds {low:g} to {high:g}: {len(inside)} places, said {said:.0%}, true "
                f"{sum(p[2] for p in inside) / len(inside):.0%} ({', '.join(f'{n} {k}' for k, n in kinds)})"
            )
    return lines


if __name__ == "__main__":
    main()
