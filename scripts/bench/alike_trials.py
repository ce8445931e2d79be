"""What becomes of an error that two of three passes hide alike, while the third one is right: seeded trials, a table.

What a machine puts in for what it could not read depends on what the tape gave, so that two captures may hold the same
false numbers. Each trial has three passes of 8 tracks of 5 s; two hold the same flaw on all tracks. Columns, in track
flaws: delivered right; delivered wrong in a place that is listed; delivered wrong without a word.

Run: python -m scripts.bench.alike_trials [--trials N] [--first SEED]
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from assembler.aligner.comparison import compare_reel
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import merged
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.flaw_trials import LISTING_MARGIN_SAMPLES
from scripts.bench.trial_sessions import TRACKS, ArrayAudio, PutFlaw, make_tape, put_flaw
from scripts.bench.trial_sounds import CHARACTERS, SAMPLE_RATE

BIT_DEPTH = 24
LENGTH = 5 * SAMPLE_RATE
KINDS = ("mute", "hold", "straight", "repeat")
SIZES = ((20, 64), (64, 4000))
LONGEST = {"straight": 400}
EDGE_SAMPLES = 20_000
RESULTS = ("right", "listed", "wrong")


def main() -> None:
    """Run the trials and print the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--trials", type=int, default=56)
    options.add_argument("--first", type=int, default=0)
    asked = options.parse_args()
    counts: dict[tuple[str, tuple[int, int]], Counter[str]] = {}
    for seed in range(asked.first, asked.first + asked.trials):
        for kind in KINDS:
            for sizes in SIZES:
                counts.setdefault((kind, sizes), Counter()).update(run_trial(seed, kind, sizes))
    print(f"{'kind':10}{'samples':>12}" + "".join(f"{result:>8}" for result in RESULTS))
    for (kind, (least, most)), found in counts.items():
        reach = f"{least} to {min(most, LONGEST.get(kind, most))}"
        print(f"{kind:10}{reach:>12}" + "".join(f"{found[result]:8}" for result in RESULTS))


def run_trial(seed: int, kind: str, sizes: tuple[int, int]) -> Counter[str]:
    """Return what became of one flaw on each track on which it shows.

    Args:
        seed: of the trial; the characters of the sound take turns.
        kind: of the flaw.
        sizes: from how many samples to how many.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind), sizes[0]])
    tape = make_tape(CHARACTERS[seed % len(CHARACTERS)], BIT_DEPTH, LENGTH, rng)
    size = min(int(np.exp(rng.uniform(*np.log(sizes)))), LONGEST.get(kind, LENGTH))
    start = int(rng.integers(EDGE_SAMPLES, LENGTH - EDGE_SAMPLES))
    false = tape.copy()
    put_flaw(false, PutFlaw(kind, start, start + size, tuple(range(TRACKS))), BIT_DEPTH, rng)
    right = int(rng.integers(3))
    held = [tape if index == right else false for index in range(3)]
    maps = (map_with_slips(LENGTH, 0, ()),) * TRACKS
    passes = [PlacedPass(f"P{index + 1}", ArrayAudio(samples), maps) for index, samples in enumerate(held)]
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(
            passes, range(TRACKS), 1, 2 ** (BIT_DEPTH - 1) - 1, executor, lambda _share: None
        )
    results: Counter[str] = Counter()
    for track in np.flatnonzero((false != tape).any(axis=1)):
        flawed = np.zeros((3, LENGTH), np.bool_)
        for flaw in findings.flaws:
            if flaw.track == track:
                flawed[int(flaw.pass_name[1:]) - 1, flaw.start : flaw.end] = True
        named = np.array(flawed.all(axis=0))
        for low, high in merged((one.start, one.end) for one in findings.undecided if one.track == track):
            named[low - LISTING_MARGIN_SAMPLES : high + LISTING_MARGIN_SAMPLES] = True
        # The most trusted pass that is not told of, as a plan without costs for joins takes it.
        taken = np.stack([samples[track] for samples in held])[flawed.argmin(axis=0), np.arange(LENGTH)]
        is_wrong = taken != tape[track]
        results["wrong" if (is_wrong & ~named).any() else "listed" if is_wrong.any() else "right"] += 1
    return results


if __name__ == "__main__":
    main()
