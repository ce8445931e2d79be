"""The tables of a sheet as far as they could be read, and what their names stand for."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

from assembler.sheet.model.values import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from assembler.sheet.model.stretches import Accepted, Punch, ReelStretch, Unrecorded
    from assembler.sheet.model.tables import Pass, Reel, Session


@dataclass(frozen=True)
class Tables:
    """A sheet's tables as far as they could be read.

    ``reel_names`` and ``pass_names`` hold every name given, by the index of its table, also of tables that
    could not be read for another reason; ``frame_rate`` is None where the sheet's own cannot be used.
    """

    session: Session | None
    frame_rate: str | None
    reels: Mapping[int, Reel]
    passes: Mapping[int, Pass]
    punches: Mapping[int, Punch]
    accepted: Mapping[int, Accepted]
    unrecorded: Mapping[int, Unrecorded]
    reel_names: Mapping[int, str]
    pass_names: Mapping[int, str]

    def stretches(self) -> Iterator[tuple[str, int, ReelStretch]]:
        """Give each table that says something of a stretch of a reel, with its kind and index."""
        kinds: tuple[tuple[str, Mapping[int, ReelStretch]], ...] = (
            ("punch", self.punches),
            ("accepted", self.accepted),
            ("unrecorded", self.unrecorded),
        )
        for kind, tables in kinds:
            for index, stretch in tables.items():
                yield kind, index, stretch


@dataclass(frozen=True)
class Known:
    """What names stand for, looked up once: a sheet may hold thousands of tables."""

    reels: Mapping[str, Reel | None]
    passes: Mapping[str, Pass | None]
    passes_of_reel: Mapping[str, tuple[str, ...]]
    anchored_reels: frozenset[str]


def known(tables: Tables) -> Known:
    """Return what the names in a sheet's tables stand for."""
    reels: dict[str, Reel | None] = dict.fromkeys(tables.reel_names.values())
    reels.update((reel.name, reel) for reel in tables.reels.values())
    passes: dict[str, Pass | None] = dict.fromkeys(tables.pass_names.values())
    passes.update((pass_.name, pass_) for pass_ in tables.passes.values())
    of_reel: dict[str, list[str]] = {}
    for pass_ in tables.passes.values():
        of_reel.setdefault(pass_.reel, []).append(pass_.name)
    # A pass that could not be read may be the one that the others of its reel are found by.
    anchored = {pass_.reel for pass_ in tables.passes.values() if pass_.timecode.kind != "audio"}
    if None in passes.values():
        anchored.update(reels)
    return Known(reels, passes, {reel: tuple(names) for reel, names in of_reel.items()}, frozenset(anchored))


def listed(names: Iterable[str]) -> str:
    """Return names in a row for an error, the first dozen: the line stays a line."""
    first = list(islice(names, 13))
    text = ", ".join(shown(name) for name in first[:12])
    return (text + (", ..." if len(first) > 12 else "")) or "none, as the sheet has none"
