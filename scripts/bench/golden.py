"""Whether a change of the program changes anything that it says: digests of the edits of seeded sessions.

Seventy sessions, of two and of three passes of every character, each of 4 to 5 s on 8 tracks with up to 32 flaws
and 4 slips, in two minutes of processor time. Of each edit five parts have a digest of their own, so that what changed
is named: flaws, spans, joins, uncured places and notes, with every position, kind, track, pass and word in them. Time
maps are told by spans and slips.

A file of digests holds for one program, one numpy and one machine's arithmetic; compare what was written on the same
machine.

Run: python -m scripts.bench.golden FILE --write    before a change
     python -m scripts.bench.golden FILE            after it; exit status 1 where anything differs
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.aligner import align_session
from scripts.bench.trial_sessions import make_trial, trial_session
from scripts.bench.trial_sounds import CHARACTERS, SAMPLE_RATE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.aligner import Edit

FIRST_SEED = 960_000
SESSIONS = 70
LONGEST_SAMPLES, MOST_FLAWS = 5 * SAMPLE_RATE, 32


def told_of(edit: Edit) -> dict[str, list[tuple[object, ...]]]:
    """Return everything that an edit says, part by part, as plain values in the edit's own order."""
    return {
        "flaws": [(one.imported.name, *astuple(flaw)) for one in edit.passes for flaw in one.flaws],
        "spans": [(track.track.name, *astuple(span)) for track in edit.tracks for span in track.spans],
        "joins": [(track.track.name, *astuple(join)) for track in edit.tracks for join in track.joins],
        "uncured": [
            (place.reel, place.track.name, place.start, place.end, place.kind, *map(astuple, place.held))
            for place in edit.uncured
        ],
        "notes": [astuple(note) for note in edit.notes],
    }


def digests_of(seed: int) -> dict[str, str]:
    """Return a digest of each part of what the program says of a seed's session."""
    character = CHARACTERS[seed % len(CHARACTERS)]
    passes = 2 + seed // len(CHARACTERS) % 2
    trial = make_trial(
        seed, character=character, passes=passes, longest=LONGEST_SAMPLES, most_flaws=MOST_FLAWS
    )
    told = told_of(align_session(trial_session(trial)))
    return {part: hashlib.sha256(repr(rows).encode()).hexdigest()[:16] for part, rows in told.items()}


def differences(before: Mapping[str, Mapping[str, str]], now: Mapping[str, Mapping[str, str]]) -> list[str]:
    """Return a line for each session that is told otherwise, with the parts that differ."""
    lines = []
    for seed in sorted(before.keys() | now.keys()):
        old, new = before.get(seed, {}), now.get(seed, {})
        parts = [part for part in (*new, *(old.keys() - new.keys())) if old.get(part) != new.get(part)]
        if parts:
            character = CHARACTERS[int(seed) % len(CHARACTERS)]
            lines.append(f"seed {seed} ({character}): {', '.join(parts)}")
    return lines


def main() -> None:
    """Write the digests, or compare them with those of a file."""
    parser = argparse.ArgumentParser(description="Digests of all that is said of seeded sessions.")
    parser.add_argument("file", type=Path)
    parser.add_argument("--write", action="store_true", help="write the file instead of comparing with it")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    seeds = range(FIRST_SEED, FIRST_SEED + SESSIONS)
    with ProcessPoolExecutor(asked.workers) as executor:
        now = dict(zip(map(str, seeds), executor.map(digests_of, seeds), strict=True))
    if asked.write:
        asked.file.write_text(json.dumps(now, indent=1) + "\n", encoding="utf-8")
        return
    changed = differences(json.loads(asked.file.read_text(encoding="utf-8")), now)
    print("\n".join([*changed, f"{len(changed)} of {len(now)} sessions are told otherwise"]))
    sys.exit(1 if changed else 0)


if __name__ == "__main__":
    main()
