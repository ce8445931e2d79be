"""Idle ends of passes: where a machine had not locked yet or had stopped."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from assembler.aligner.place.idle import without_idle
from assembler.aligner.records.findings import ReelFindings
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.reel import ExaminedReel
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio

if TYPE_CHECKING:
    from assembler.sheet import Session

RATE = 1000
SESSION = cast("Session", SimpleNamespace(sample_rate=RATE, frame_rate="25"))


def examined(
    *passes: tuple[int, int, int, int, tuple[float, float] | None],
) -> tuple[ExaminedReel, list[Any]]:
    """Return a reel of one track of passes that begin somewhere, with silence, sound, silence, and a log or none."""
    placed, imported, maps = [], [], {}
    for number, (start, before, sound, behind, log) in enumerate(passes, 1):
        name = f"A{number}"
        samples = np.zeros((1, before + sound + behind), np.int32)
        samples[0, before : before + sound] = 1
        maps[name] = map_with_slips(samples.shape[1], start, ())
        placed.append(PlacedPass(name, ArrayAudio(samples), (maps[name],)))
        stretches = [SimpleNamespace(log_start=log[0], log_end=log[1])] if log else []
        clock = SimpleNamespace(stretches=stretches, rate_ratio=1.0) if log else None
        imported.append(SimpleNamespace(name=name, position=SimpleNamespace(clock=clock)))
    reel = cast("Any", SimpleNamespace(name="A", tracks=("Kick",)))
    word, wired = cast("Any", None), cast("Any", None)
    return ExaminedReel(reel, wired, maps, {}, tuple(placed), ReelFindings(()), (), word), imported


def test_silence_without_timecode_beside_sound_is_as_if_never_held() -> None:
    """The second pass waits for three seconds and runs on for two, while the first one sounds all along."""
    reel, imported = examined((0, 0, 20000, 0, (0, 20)), (5000, 3000, 4000, 2000, (3.05, 7.0)))
    found = without_idle(reel, imported, SESSION)
    assert found.idle == {"A2": ((5000, 8000), (12000, 14000))}
    assert [one.covered(0) for one in found.passes] == [[(0, 20000)], [(8000, 12000)]]


def test_a_mute_while_timecode_runs_is_none_of_it() -> None:
    """Silence at the beginning of a pass that the tape was already played in stays the pass's own."""
    reel, imported = examined((0, 0, 20000, 0, (0, 20)), (5000, 3000, 4000, 2000, (0.02, 9.0)))
    found = without_idle(reel, imported, SESSION)
    assert found.idle == {}
    assert found.passes == reel.passes


def test_of_silence_that_timecode_runs_in_for_a_part_only_the_rest_is_idle() -> None:
    """The machine's timecode comes two seconds before its sound."""
    reel, imported = examined((0, 0, 20000, 0, (0, 20)), (5000, 3000, 4000, 0, (1.0, 7.0)))
    found = without_idle(reel, imported, SESSION)
    assert found.idle == {"A2": ((5000, 6000),)}
    assert found.passes[1].covered(0) == [(6000, 12000)]


def test_where_no_other_pass_sounds_silence_at_the_ends_is_idle_but_stays() -> None:
    """Nothing tells it from a wait; the set keeps it, as there is nothing to take in its place."""
    reel, imported = examined((0, 2000, 4000, 1000, None), (3000, 0, 2000, 0, None))
    found = without_idle(reel, imported, SESSION)
    assert found.idle == {"A1": ((0, 2000), (6000, 7000))}
    assert found.passes == reel.passes


def test_without_a_log_silence_beside_sound_may_be_a_mute() -> None:
    """Nothing says that no timecode ran."""
    reel, imported = examined((0, 0, 9000, 0, None), (1000, 2000, 3000, 0, None))
    found = without_idle(reel, imported, SESSION)
    assert (found.idle, found.passes) == ({}, reel.passes)


def test_a_pass_of_nothing_but_silence_is_left_as_it_is() -> None:
    """It is dead, or the tape is blank: not this room's question."""
    reel, imported = examined((0, 0, 9000, 0, None), (1000, 3000, 0, 0, (0.5, 1.0)))
    found = without_idle(reel, imported, SESSION)
    assert (found.idle, found.passes) == ({}, reel.passes)
