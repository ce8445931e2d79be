"""What is noted of a block: runs of one value and straight lines, pass by pass."""

from __future__ import annotations

import numpy as np

from assembler.aligner.compare.blocks import note_block
from assembler.aligner.compare.notes import TrackNotes
from assembler.aligner.events.stops.standstill import HeardPass
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from assembler.aligner.sound.glance import Glance
from scripts.bench.trial_sessions import ArrayAudio, make_tape

TAPE = make_tape("dense", 16, 60_000, np.random.default_rng(31))[:1]


def test_a_pass_like_an_earlier_one_is_noted_like_that_one() -> None:
    """Of passes A, B, A the third has the runs and lines of the first, not those of the one scanned last."""
    first, second = TAPE.copy(), TAPE.copy()
    first[0, 20_000:21_000] = 0
    first[0, 30_000:30_100] = 180 * np.arange(100) - 9000
    second[0, 40_000:40_500] = 0
    passes = [
        PlacedPass(name, ArrayAudio(samples), (map_with_slips(60_000, 0, ()),))
        for name, samples in (("P1", first), ("P2", second), ("P3", first.copy()))
    ]
    notes = TrackNotes()
    looks = [Glance(one.samples(0, -LINE_SAMPLES, 60_000 + LINE_SAMPLES), 1) for one in passes[:2]]
    read = {0: looks[0], 1: looks[1], 2: looks[0]}
    notes.add(note_block(passes, 0, 0, 60_000, 1, read), 60_000)
    runs = {
        index: [run for run in found.kept() if 0 <= run[0] < 59_000] for index, found in notes.runs.items()
    }
    assert runs == {0: [(20_000, 21_000)], 1: [(40_000, 40_500)], 2: [(20_000, 21_000)]}
    assert notes.lines[0].kept() == notes.lines[2].kept() != notes.lines[1].kept()


def test_passes_that_hold_the_same_vote_each_for_itself() -> None:
    """Three against three settle nothing, four against two do, looked at as one version or each by itself."""
    one, two, three = TAPE.copy(), TAPE.copy(), TAPE.copy()
    for other in (two, three):
        other[0, 20_000:20_100] += 500
    two[0, 30_000:30_100] += 500
    held = [one, two, one, two, one, three]
    passes = [
        PlacedPass(f"P{number}", ArrayAudio(samples), (map_with_slips(60_000, 0, ()),))
        for number, samples in enumerate(held)
    ]
    each = [Glance(own.samples(0, -LINE_SAMPLES, 60_000 + LINE_SAMPLES), 1) for own in passes]
    shared = {0: each[0], 1: each[1], 2: each[0], 3: each[1], 4: each[0], 5: each[5]}
    for read in (shared, dict(enumerate(each))):
        notes = note_block(passes, 0, 0, 60_000, 1, read)
        assert notes.split == {(0, 1, 2, 3, 4, 5): [(20_000, 20_100)]}
        assert notes.outvoted == {1: [(30_000, 30_100)], 3: [(30_000, 30_100)]}
        assert notes.pairs[0, 2].differing == notes.pairs[1, 3].differing == 0
        assert notes.pairs[0, 1].differing == 200


def test_what_two_hold_between_the_stops_of_others_is_a_place_of_its_own() -> None:
    """One stops shortly before the other goes on: first two differ, then one is alone, then another two differ."""
    held = [TAPE.copy(), TAPE.copy(), TAPE.copy()]
    held[2][0, 20_000:24_000:2] += 500
    audio = [ArrayAudio(samples) for samples in held]
    whole = (map_with_slips(60_000, 0, ()),)
    passes = [
        HeardPass("P1", audio[0], whole, (((20_000, 22_020),),)),
        HeardPass("P2", audio[1], whole, (((22_000, 24_000),),)),
        PlacedPass("P3", audio[2], whole),
    ]
    read = {
        index: Glance(own.samples(0, -LINE_SAMPLES, 60_000 + LINE_SAMPLES), 1)
        for index, own in enumerate(passes)
    }
    notes = note_block(passes, 0, 0, 60_000, 1, read)
    assert notes.split == {(1, 2): [(20_000, 21_999)], (0, 2): [(22_020, 23_999)]}
