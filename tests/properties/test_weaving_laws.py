"""Laws of weaving: what is woven is the tape, however it is cut, read or rendered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assembler.aligner.plan.weaving import Weaving, braids_of
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.edit import DeliveredTrack, Join, Span, TrackEdit
from assembler.aligner.records.findings import FoundFlaw, Lost, ReelFindings, Woven
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.reel import ExaminedReel
from assembler.aligner.records.runs import runs_of
from assembler.aligner.records.timemap import Slip, map_with_slips
from assembler.consolidator.tracks.rendering import TrackRenderer, sample_format

if TYPE_CHECKING:
    from assembler.arrays import Bools, Int32s

WHY = Because(Rule.OUTVOTED)

NAMES = ("one", "two", "three")
LENGTH = 400
TAPE = np.random.default_rng(7).integers(-30_000, 30_000, LENGTH).astype(np.int32)
ORIGIN = 1_000_000
"""Timeline sample of the tape's first one."""


@dataclass(frozen=True)
class _Audio:
    samples: Int32s
    tracks: int = 1

    @property
    def length(self) -> int:
        return int(self.samples.size)

    def read(self, _track: int, start: int, count: int) -> Int32s:
        found = np.zeros(count, np.int32)
        low, high = max(0, start), min(self.length, start + count)
        found[low - start : high - start] = self.samples[low:high]
        return found


@dataclass(frozen=True)
class _Session:
    """Passes that all cover the tape from 20 on up to 380, each sample of the stretch 100 to 300 right in one."""

    reel: ExaminedReel
    lost: Bools


@st.composite
def sessions(draw: st.DrawFn) -> _Session:
    """Draw passes with what they lost, and repeats in the middle of the stretch that give them slips."""
    count = draw(st.integers(2, 3))
    seed = np.random.default_rng(draw(st.integers(0, 1 << 20)))
    shape = draw(st.sampled_from(["comb", "single", "mixed"]))
    lost = np.zeros((count, LENGTH), np.bool_)
    for row in lost:
        if shape != "single":
            row[100 + int(seed.integers(2)) : 300 : int(seed.integers(2, 4))] = True
        if shape != "comb":
            row[100:300] |= seed.random(200) < 0.3
    # Each sample is right in one of them at least.
    lost[seed.integers(count, size=LENGTH), np.arange(LENGTH)] = False
    passes, told = [], []
    for name, row in zip(NAMES, lost, strict=False):
        first = int(seed.integers(0, 20))
        samples = np.where(row, TAPE + 1, TAPE).astype(np.int32)[first:]
        slips: tuple[Slip, ...] = ()
        if draw(st.booleans()):
            at = int(seed.integers(101, 299)) - first
            samples = np.concatenate((samples[:at], samples[at - 30 : at] + 5, samples[at:])).astype(np.int32)
            slips = (Slip(at, -30),)
        maps = (map_with_slips(samples.size, ORIGIN + first, slips),)
        passes.append(PlacedPass(name, _Audio(samples), maps))
        told.append(Lost(name, tuple(runs_of(np.flatnonzero(row[100:300])))))
    woven = Woven(0, ORIGIN + 100, ORIGIN + 300, tuple(told))
    flaws = tuple(
        FoundFlaw(one.name, 0, "means", ORIGIN + 100, ORIGIN + 300, because=WHY)
        for one, row in zip(passes, lost, strict=True)
        if row.any()
    )
    nothing = cast("Any", None)
    reel = ExaminedReel(
        nothing, nothing, {}, {}, tuple(passes), ReelFindings(flaws, woven=(woven,)), (), nothing
    )
    return _Session(reel, lost)


def _span(session: _Session, weaving: Weaving, name: str, low: int, high: int, reach: int) -> list[Span]:
    """Return the spans of one pass from one tape sample to another, heard ``reach`` samples beyond."""
    one = next(one for one in session.reel.passes if one.name == name)
    spans = []
    for piece in one.maps[0].covering(ORIGIN + low, ORIGIN + high):
        heard = piece.timeline_start - reach, piece.timeline_end + reach
        filled = weaving.fills(name, 0, heard, piece.timeline_start)
        ends = piece.timeline_start - ORIGIN - 20, piece.timeline_end - ORIGIN - 20
        spans.append(Span(*ends, name, piece.pass_start, filled))
    return spans


def _renderer(session: _Session, spans: list[Span], joins: list[Join]) -> TrackRenderer:
    audio = {one.name: one.reader for one in session.reel.passes}
    edit = TrackEdit(DeliveredTrack(1, "One", {}), tuple(spans), tuple(joins))
    return TrackRenderer(
        edit, lambda name, start, count: audio[name].read(0, start, count), sample_format(16, 16)
    )


@settings(deadline=None)
@given(sessions(), st.integers(1, 400), st.integers(21, 379))
def test_what_is_woven_is_the_tape(session: _Session, block: int, border: int) -> None:
    """Whichever pass a span is of, and in blocks of any size: every sample is the tape's, and comes from one pass."""
    braids = braids_of(session.reel)
    weaving = Weaving(session.reel, braids, {})
    for name in (one.name for one in session.reel.passes):
        spans = [
            *_span(session, weaving, name, 20, border, 0),
            *_span(session, weaving, name, border, 380, 0),
        ]
        joins = [Join(span.start, 0, "slip", 0.0, 0) for span in spans[1:]]
        renderer = _renderer(session, spans, joins)
        for start in range(0, 360, block):
            end = min(360, start + block)
            # What a pass has right as a whole is not woven of it; nor is it of the others then.
            if braids:
                assert np.array_equal(renderer.block(start, end), TAPE[20 + start : 20 + end])
        for span in spans:
            at = [
                span.start + first + step * n
                for one in span.filled
                for first, step, count in one.at
                for n in range(count)
            ]
            wanted = session.lost[NAMES.index(name)][span.start + 20 : span.end + 20] if braids else []
            assert sorted(at) == (np.flatnonzero(wanted) + span.start).tolist()
        assert not braids or np.array_equal(weaving.samples(name, 0, ORIGIN + 20, ORIGIN + 380), TAPE[20:380])


@settings(deadline=None)
@given(sessions(), st.integers(60, 340), st.integers(2, 40), st.integers(1, 90))
def test_a_fade_hears_what_is_woven(session: _Session, border: int, fade: int, block: int) -> None:
    """A fade of two sides that are woven where they meet is a fade of the tape and itself: the tape again."""
    weaving = Weaving(session.reel, braids_of(session.reel), {})
    before = _span(session, weaving, "one", 20, border, fade)
    behind = _span(session, weaving, "two", border, 380, fade)
    place = ORIGIN + border - fade, ORIGIN + border + fade
    # The plan lets no fade reach across a slip.
    is_planned = all(len(one.maps[0].covering(*place)) == 1 for one in session.reel.passes[:2])
    assume(is_planned and len(before) == len(behind) == 1 and before[0].filled + behind[0].filled)
    renderer = _renderer(session, [*before, *behind], [Join(border - 20, fade, "constant_power", 1.0, 0)])
    whole = renderer.block(0, 360)
    assert np.array_equal(whole, TAPE[20:380])
    pieces = [renderer.block(start, min(360, start + block)) for start in range(0, 360, block)]
    assert np.array_equal(np.concatenate(pieces), whole)


@settings(deadline=None)
@given(sessions(), st.integers(90, 310), st.integers(0, 100))
def test_what_a_person_wants_as_it_is_stays(session: _Session, low: int, length: int) -> None:
    """Where a pass was asked for as it is nothing of it is filled, and its flaws stand there alone."""
    braids = braids_of(session.reel)
    bare = ORIGIN + low, ORIGIN + low + length
    weaving = Weaving(session.reel, braids, {"one": [bare]} if length else {})
    one = session.reel.passes[0]
    found = weaving.samples("one", 0, ORIGIN + 20, ORIGIN + 380)
    raw = one.samples(0, ORIGIN + 20, ORIGIN + 380)
    wanted = TAPE[20:380].copy() if braids else raw.copy()
    wanted[low - 20 : low + length - 20] = raw[low - 20 : low + length - 20]
    assert np.array_equal(found, wanted)
    if braids:
        stretch = ORIGIN + 100, ORIGIN + 300
        left = weaving.unwoven("one", 0, stretch)
        inside = max(stretch[0], bare[0]), min(stretch[1], bare[1])
        assert left == ([inside] if inside[0] < inside[1] else [])
