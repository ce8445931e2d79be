"""Every rule that decides on a flaw, or leaves a place open, fires somewhere, and says by how much it leads."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner import align_session
from assembler.aligner.compare.differences import split
from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.settle import settle_by_other_tracks
from assembler.aligner.judge.place import judge_place
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import Slip, TimeMap, map_with_slips
from assembler.importer import import_session
from assembler.sheet import load_sheet
from scripts.bench.trial_sessions import ArrayAudio, make_tape
from tests.support.sessions import HOUR, Layout
from tests.support.sessions import make_tape as make_session_tape

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import ArrayLike, NDArray

    from assembler.arrays import Int32s

LENGTH, START, END = 60_000, 30_000, 31_000
COUNTED = {Rule.CONCEALED, Rule.STREWN, Rule.STUCK_BIT, Rule.STORY, Rule.AGREED}
"""Rules that have a number."""


def _tape(seed: int = 91, character: str = "dense") -> Int32s:
    return make_tape(character, 16, LENGTH, np.random.default_rng(seed))


def _pulse(period: float) -> Int32s:
    return np.where(np.arange(LENGTH) / period % 1.0 < 0.5, 9000, -9000).astype(np.int32)


def _told(*captures: Int32s, maps: Sequence[TimeMap] = ()) -> list[Because]:
    """Return what is said by flaws and open places of captures that all begin together."""
    own = maps or [map_with_slips(one.shape[1], 0, ()) for one in captures]
    passes = [
        PlacedPass(f"P{number + 1}", ArrayAudio(samples), (time_map,) * len(samples))
        for number, (samples, time_map) in enumerate(zip(captures, own, strict=True))
    ]
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(passes, range(len(captures[0])), 1, 32_767, executor, lambda _: None)
    return [one.because for one in findings.flaws] + [one.because for one in findings.undecided]


def _changed(
    tape: Int32s, of: int | slice, samples: ArrayLike, *, where: slice = slice(START, END)
) -> Int32s:
    changed = tape.copy()
    changed[of, where] = np.asarray(samples)
    return changed


def _means(tape: Int32s, at: NDArray[np.integer]) -> Int32s:
    """Return a tape of which single samples were lost on all tracks: each is its neighbours' mean, rounded down."""
    lost = tape.copy()
    lost[:, at] = (tape[:, at - 1].astype(np.int64) + tape[:, at + 1]) >> 1
    return lost


def _story() -> list[Because]:
    return _told(_tape(), _changed(_tape(), 0, 0))


def _outvoted() -> list[Because]:
    """The edge of a square wave stands elsewhere in one pass: its sound may be as right as the others'."""
    tape = np.stack([_pulse(period) for period in (120.4, 97.3, 203.9)])
    edge = START + int(np.flatnonzero(np.diff(tape[0, START:]))[0])
    return _told(tape, tape, _changed(tape, 0, tape[0, edge], where=slice(edge + 1, edge + 9)))


def _standstill() -> list[Because]:
    return _told(_tape(), _changed(_tape(), slice(None), 0))


def _written_twice() -> list[Because]:
    tape = _tape()
    return _told(tape, _changed(tape, slice(None), tape[:, 2 * START - END : START]))


def _stuck_bit() -> list[Because]:
    tape = _tape()
    return _told(
        tape, _changed(tape, 0, tape[0, START : START + 4096] | 1 << 7, where=slice(START, START + 4096))
    )


def _concealed() -> list[Because]:
    tape = _tape()
    return _told(tape, _means(tape, np.arange(START, END, 2)))


def _strewn() -> list[Because]:
    at = np.flatnonzero(np.random.default_rng(3).random(LENGTH) < 0.25)
    return _told(_means(_tape(), at[(at > START) & (at < START + 8000)][::2]))


def _agreed() -> list[Because]:
    tape = _tape()
    muted = _changed(tape, 0, 0)
    return _told(tape, muted, muted)


def _cut_off() -> list[Because]:
    return _told(_changed(_tape(), 0, 0), _changed(_tape(), 0, 0))


def _drawn_line() -> list[Because]:
    tape = _tape(character="tones")
    line = np.rint(np.linspace(tape[0, START - 1], tape[0, END], END - START + 2)[1:-1])
    drawn = _changed(tape, 0, line)
    return _told(drawn, drawn)


def _foretold() -> list[Because]:
    tape = _tape(character="tones")
    return _told(_changed(tape, 0, tape[0, START - 1000 : START]))


def _in_phase() -> list[Because]:
    waves = np.stack([_pulse(period) for period in (120.4, 97.3, 203.9)])
    return _told(_changed(waves, 0, 0, where=slice(9000, 9700)))


def _moment() -> list[Because]:
    rng = np.random.default_rng(5)
    waves = np.stack([*(_pulse(period) for period in (131.4, 97.3, 203.9)), _tape(2, "tones")[0]])
    return _told(
        _changed(waves, slice(None), rng.integers(-7000, 7000, (4, 30)), where=slice(START, START + 30))
    )


def _beside_slip() -> list[Because]:
    tape = _tape()
    cut = np.delete(tape, slice(START, START + 300), axis=1)
    slipped = map_with_slips(cut.shape[1], 0, (Slip(START, 300),))
    return _told(cut, maps=[replace(slipped, doubtful=((START - 100, START + 100),))])


def _too_many() -> list[Because]:
    tape = _tape()
    changed = tape.copy()
    changed[0, 5000:55_000:2000] += 300
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(split, "MOST_DIFFERENCES", 3)
        return _told(tape, changed)


def _look_alike() -> list[Because]:
    tape = _tape()
    tape[0] = 0
    return _told(tape, _changed(tape, 0, 4000, where=slice(START, START + 40)))


def _held_on() -> list[Because]:
    """A mute inside of the other pass's, in a sum of two pulse waves, of whose levels zero is one."""
    right = (_pulse(163.9) + _pulse(232.6))[:24_000]
    first, second = right.copy(), right.copy()
    first[9000:18_000] = second[13_000:13_900] = 0
    return [part.verdict.because for part in judge_place([first, second], (9000, 18_000), 1)]


def _lost(track: int, kind: str = "mute", *, name: str = "P1", end: int = 9000) -> FoundFlaw:
    return FoundFlaw(name, track, kind, 1000, end, because=Because(Rule.OUTVOTED))


def _settled(flaws: Sequence[FoundFlaw], places: Sequence[Undecided]) -> list[Because]:
    """Return what other tracks say of flaws and open places of two passes."""
    found, left = settle_by_other_tracks(flaws, places)
    return [one.because for one in found] + [one.because for one in left]


def _open(track: int) -> Undecided:
    because = Because(Rule.STORY, 1.0)
    return Undecided(track, 1000, 9000, "P1", ("P2",), because=because)


def _other_tracks() -> list[Because]:
    return _settled([_lost(0), _lost(3)], [_open(5)])


def _session(*captures: Int32s) -> list[Because]:
    """Return what the whole program says of captures."""
    with TemporaryDirectory() as folder:
        layout = Layout(Path(folder))
        layout.add_reel("A", ["One", "Two"])
        for number, samples in enumerate(captures):
            layout.add_pass(f"A{number + 1}", "A", samples, HOUR)
        sheet = load_sheet(layout.write())
        edit = align_session(import_session(sheet))
    return [flaw.because for one in edit.passes for flaw in one.flaws]


def _dead() -> list[Because]:
    tape = make_session_tape(4, 2)
    dead = tape.copy()
    dead[:, 1] = 0
    return _session(tape, dead)


def _slip() -> list[Because]:
    tape = make_session_tape(4, 2)
    return _session(tape, np.delete(tape, slice(90_000, 90_300), axis=0))


def _smeared() -> list[Because]:
    """A pass with dither on it all along, in which lines were drawn."""
    tape, rng = make_session_tape(4, 2), np.random.default_rng(5)
    own = np.rint(tape + rng.random(tape.shape) - rng.random(tape.shape)).astype(np.int32)
    for number, at in enumerate(range(20_000, 180_000, 12_000)):
        size = 400 + 37 * number
        own[at : at + size, 0] = np.linspace(own[at - 1, 0], own[at + size, 0], size + 2)[1:-1] // 1
    return _session(tape, own)


FIRES: dict[Rule, Callable[[], list[Because]]] = {
    Rule.CONCEALED: _concealed,
    Rule.STREWN: _strewn,
    Rule.STANDSTILL: _standstill,
    Rule.WRITTEN_TWICE: _written_twice,
    Rule.STUCK_BIT: _stuck_bit,
    Rule.OUTVOTED: _outvoted,
    Rule.STORY: _story,
    Rule.LOOK_ALIKE: _look_alike,
    Rule.HELD_ON: _held_on,
    Rule.AGREED: _agreed,
    Rule.CUT_OFF: _cut_off,
    Rule.DRAWN_LINE: _drawn_line,
    Rule.FORETOLD: _foretold,
    Rule.IN_PHASE: _in_phase,
    Rule.MOMENT: _moment,
    Rule.BESIDE_SLIP: _beside_slip,
    Rule.SMEARED: _smeared,
    Rule.TOO_MANY: _too_many,
    Rule.OTHER_TRACKS: _other_tracks,
    Rule.DEAD: _dead,
    Rule.SLIP: _slip,
}


@pytest.mark.parametrize("rule", FIRES)
def test_each_rule_fires(rule: Rule) -> None:
    """Told by that rule, with a lead where the rule counts."""
    found = [one for one in FIRES[rule]() if one.rule is rule]
    assert found
    assert all((one.nats is not None) == (rule in COUNTED) for one in found)
    assert all(one.nats is None or math.isfinite(one.nats) for one in found)


def test_every_rule_is_fired_by_a_session_above() -> None:
    """A rule that nothing fires is dead, or untried."""
    assert set(FIRES) == set(Rule)
