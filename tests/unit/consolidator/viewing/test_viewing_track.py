"""How the views of a track come about, block by block: what is read for them, what is kept, what they hold."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner import Stretch, TimeMap
from assembler.consolidator.viewing.choosing import Choice
from assembler.consolidator.viewing.sources import PassSource, TrackSources
from assembler.consolidator.viewing.viewer import TrackViewer
from assembler.report.views import RESULT

if TYPE_CHECKING:
    from assembler.arrays import Int32s
    from assembler.consolidator.viewing.gathering import MadeView

RATE, LENGTH = 8_000, 80_000


def choice(
    order: int, start: int, end: int, *, columns: int = 120, is_heard: bool = False, is_join: bool = False
) -> Choice:
    """Return a place of the first track."""
    return Choice(order, 1, start, end, is_join, columns, is_heard)


@dataclass
class Audio:
    """A pass in memory that notes what is read of it."""

    samples: Int32s
    reads: list[tuple[int, int]] = field(default_factory=list)
    tracks: int = 1

    @property
    def length(self) -> int:
        """Samples of it."""
        return self.samples.size

    def read(self, _track: int, start: int, count: int) -> Int32s:
        """Return samples, and note that they were read."""
        self.reads.append((start, start + count))
        assert 0 <= start <= start + count <= self.samples.size
        return self.samples[start : start + count]


def tracks_sources(seed: int = 1) -> tuple[TrackSources, list[Audio]]:
    """Return two passes, of which the second loses 500 samples, and one that ends in the middle."""
    random = np.random.default_rng(seed)
    tape = np.round(np.cumsum(random.standard_normal(LENGTH)) * 10).astype(np.int32)
    cut = np.delete(tape, np.r_[30_000:30_500])
    audios = [Audio(tape), Audio(cut), Audio(tape[:41_000].copy())]
    maps = [
        TimeMap((Stretch(0, LENGTH, 0),)),
        TimeMap((Stretch(0, 30_000, 0), Stretch(30_000, LENGTH - 500, 30_500))),
        TimeMap((Stretch(0, 41_000, 0),)),
    ]
    flawed: list[tuple[tuple[int, int], ...]] = [((20_000, 20_100),), (), ()]
    passes = [
        PassSource(name, audio, 0, time_map, ranges)
        for name, audio, time_map, ranges in zip(("A1", "A2", "A3"), audios, maps, flawed, strict=True)
    ]
    return TrackSources(tuple(passes), ((60_000, 60_200),), LENGTH, RATE, 16), audios


CHOICES = (
    choice(0, 60_000, 60_200, is_heard=True),
    choice(1, 39_800, 40_200, columns=600, is_heard=True, is_join=True),
    choice(2, 20_000, 20_100, columns=600, is_heard=True),
    choice(3, 20_050, 20_090),
    choice(4, 30_000, 30_500),
    choice(5, 79_990, LENGTH, is_heard=True),
    choice(6, 5, 5, columns=0, is_heard=True),
)


def viewed(block: int, *, listens: bool) -> tuple[tuple[MadeView, ...], list[Audio]]:
    """Return the views of a track rendered of its first pass, in blocks of a size."""
    sources, audios = tracks_sources()
    viewer = TrackViewer(sources, CHOICES)
    tape = audios[0].samples

    def read(pass_name: str, start: int, count: int) -> Int32s:
        assert pass_name == "A1"
        return tape[start : start + count]

    heard = viewer.listening(read) if listens else read
    for start in range(0, LENGTH, block):
        viewer.take(start, heard("A1", start, min(block, LENGTH - start)))
    return viewer.views(), audios


@pytest.mark.parametrize("block", [777, 4_096, LENGTH])
def test_blocks_make_no_difference(block: int) -> None:
    """Nor does whether what rendering read is taken from it or read."""
    expected, _ = viewed(10_000, listens=False)
    found, _ = viewed(block, listens=True)
    assert found == expected
    assert [one.order for one in found] == list(range(7))
    by_order = {one.order: one.view for one in found}
    assert [len(by_order[order].clips) for order in range(7)] == [3, 4, 4, 0, 0, 3, 4]
    (join,) = by_order[1].windows
    assert [trace.source for trace in join.traces] == ["A1", "A2", "A3", RESULT, "difference"]
    whole, begins, _ = by_order[4].windows
    assert whole.step > 1
    lost = next(trace for trace in begins.traces if trace.source == "A2")
    assert None not in lost.low[:48]
    assert set(lost.low[48:]) == {None}


def test_only_what_nobody_holds_is_read_and_that_once() -> None:
    """Of the pass that is rendered nothing; of the others the ranges around places, in order, no sample twice."""
    _, (first, second, third) = viewed(4_096, listens=True)
    assert first.reads == []
    for audio in (second, third):
        flat = [border for one in audio.reads for border in one]
        assert flat == sorted(flat)
    assert 20_000 < sum(high - low for low, high in second.reads) < LENGTH - 10_000


def test_a_track_without_places_is_left_alone() -> None:
    """Neither is its reader watched nor any pass read."""
    sources, audios = tracks_sources()
    viewer = TrackViewer(sources, ())

    def read(pass_name: str, start: int, count: int) -> Int32s:
        raise AssertionError(pass_name, start, count)

    assert viewer.listening(read) is read
    viewer.take(0, np.zeros(LENGTH, np.int32))
    assert viewer.views() == ()
    assert not any(one.reads for one in audios)


def test_what_is_kept_is_bounded() -> None:
    """However many places there are, no more is held than the longest of them needs."""
    sources, audios = tracks_sources()
    choices = [choice(n, 100 * n, 100 * n + 50) for n in range(LENGTH // 100 - 1)]
    viewer = TrackViewer(sources, choices)
    most = 0
    for start in range(0, LENGTH, 4_000):
        viewer.take(start, audios[0].samples[start : start + 4_000])
        most = max(most, sum(piece.end - piece.start for piece in viewer._pieces))  # noqa: SLF001 - no other way to see
    assert 0 < most < 3 * 4_000
