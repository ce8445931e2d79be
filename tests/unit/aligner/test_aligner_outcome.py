"""What the plan leaves: uncured places, bounded in number."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.edit import DeliveredTrack, Join, Span, TrackEdit
from assembler.aligner.records.findings import FoundFlaw, ReelFindings
from assembler.aligner.records.limits import VISIT_SAMPLES
from assembler.aligner.tell.limits import COARSE_SAMPLES, MOST_LISTED
from assembler.aligner.tell.outcome import find_uncured

WHY = Because(Rule.OUTVOTED)

TRACK = DeliveredTrack(1, "One", {"A": 0})


def _uncured(count: int, apart: int) -> list[tuple[int, int]]:
    """Return the uncured places of one pass with so many mutes of ten samples."""
    flaws = tuple(FoundFlaw("A1", 0, "mute", n * apart, n * apart + 10, because=WHY) for n in range(count))
    reel = cast(
        "Any", SimpleNamespace(name="A", findings=ReelFindings(flaws), recorded=lambda _, *place: [place])
    )
    edit = TrackEdit(TRACK, (Span(0, count * apart, "A1"),), ())
    holdings = cast("Any", {"A": SimpleNamespace(at=lambda *_: ())})
    weavings = cast("Any", {"A": SimpleNamespace(unwoven=lambda _name, _track, place: [place])})
    return [(place.start, place.end) for place in find_uncured([reel], edit, 0, holdings, weavings)]


def test_places_that_lie_apart_are_listed_one_by_one_up_to_a_limit() -> None:
    """A thousand places of a track are a thousand rows, each as it is."""
    apart = VISIT_SAMPLES + 11
    assert _uncured(MOST_LISTED, apart) == [(n * apart, n * apart + 10) for n in range(MOST_LISTED)]


def test_places_close_together_are_one_visit() -> None:
    """Nobody can go to strewn samples one by one."""
    assert _uncured(20, VISIT_SAMPLES + 10) == [(0, 19 * (VISIT_SAMPLES + 10) + 10)]


def test_more_places_are_listed_as_few_that_hold_them_all() -> None:
    """One more, and what lies close together is one; what lies far apart stays apart. Nothing goes unlisted."""
    apart = VISIT_SAMPLES + 11
    assert _uncured(MOST_LISTED + 1, apart) == [(0, MOST_LISTED * apart + 10)]
    assert len(_uncured(MOST_LISTED + 1, COARSE_SAMPLES + 11)) == MOST_LISTED + 1


def test_places_taken_from_two_passes_are_one_visit() -> None:
    """Whose samples stand there is told of each pass; another kind is a place of its own."""
    kinds = [("A1", "means", 0), ("A2", "means", 150), ("A1", "means", 250), ("A2", "mute", 350)]
    flaws = tuple(FoundFlaw(name, 0, kind, at, at + 10, because=WHY) for name, kind, at in kinds)
    reel = cast(
        "Any", SimpleNamespace(name="A", findings=ReelFindings(flaws), recorded=lambda _, *place: [place])
    )
    spans = (Span(0, 100, "A1"), Span(100, 200, "A2"), Span(200, 300, "A1"), Span(300, 400, "A2"))
    edit = TrackEdit(TRACK, spans, tuple(Join(at, 0, "identical", 1.0, 0) for at in (100, 200, 300)))
    holdings = cast("Any", {"A": SimpleNamespace(at=lambda _track, _place, taken: tuple(taken))})
    weavings = cast("Any", {"A": SimpleNamespace(unwoven=lambda _name, _track, place: [place])})
    found = find_uncured([reel], edit, 0, holdings, weavings)
    assert [(one.start, one.end, one.kind, *map(str, one.held)) for one in found] == [
        (0, 260, "means", "A1", "A2"),
        (350, 360, "mute", "A2"),
    ]
