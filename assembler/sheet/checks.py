"""What the tables of a sheet must say about each other: names, labels, paths.

Each check takes the tables as far as they could be read and gives the problems it finds, so that one faulty
table does not hide the mistakes of another.
"""

from __future__ import annotations

import os.path
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

from assembler.sheet.faults import Problem
from assembler.sheet.labels import is_after, label_fault, stretch_frames
from assembler.sheet.model import INSIDE, shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from assembler.sheet.model import Pass, Punch, Reel, Session
    from assembler.sheet.places import KeyPath


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
    reel_names: Mapping[int, str]
    pass_names: Mapping[int, str]


def check_tables(tables: Tables, places: Mapping[KeyPath, int]) -> Iterator[Problem]:
    """Give what is wrong between the tables: names used twice, unknown names, labels, sources of timecode."""
    yield from _doubled_names("reel", tables.reel_names, places)
    yield from _doubled_names("pass", tables.pass_names, places)
    known = _known(tables)
    for index, pass_ in tables.passes.items():
        yield from _pass_problems(index, pass_, known)
    for index, punch in tables.punches.items():
        yield from _punch_problems(index, punch, known)
    if tables.frame_rate is not None:
        faults = list(_label_problems(tables, tables.frame_rate))
        yield from faults
        if not faults:
            yield from _contradictions(tables, tables.frame_rate, places)


def check_paths(passes: Mapping[int, Pass], folder: Path) -> Iterator[Problem]:
    """Give the paths that leave the sheet's folder, as far as their text says so.

    Links that lead out are found where the files are.
    """
    for index, pass_ in passes.items():
        paths = (pass_.audio,) if isinstance(pass_.audio, str) else pass_.audio
        yield from _paths_outside(("pass", index, "audio"), paths, folder)
        if pass_.timecode.kind in ("log", "ltc"):
            yield from _paths_outside(("pass", index, "timecode"), (str(pass_.timecode.value),), folder)


def _paths_outside(keys: KeyPath, paths: Iterable[str], folder: Path) -> Iterator[Problem]:
    top = os.path.abspath(folder)  # noqa: PTH100 - pathlib does not take ".." out of a path without following links
    for path in paths:
        # A pattern's "**" may stand for no folder at all: "x/**/.." must count as the way up that it can be.
        text = os.path.normpath(os.path.join(top, path.replace("**", ".")))  # noqa: PTH118 - as above
        if text != top and not text.startswith(top.rstrip(os.sep) + os.sep):
            yield Problem(
                keys,
                f"found {shown(path)}, outside the sheet's folder; allowed: {INSIDE}",
            )
            return  # one problem a key is enough


def _doubled_names(table: str, names: Mapping[int, str], places: Mapping[KeyPath, int]) -> Iterator[Problem]:
    first_use: dict[str, int] = {}
    for index, name in names.items():
        first = first_use.setdefault(name, index)
        if first != index:
            line = places.get((table, first, "name"))
            earlier = f"{table}[{first + 1}]" + (f" (line {line})" if line else "")
            yield Problem(
                (table, index, "name"), f"found {shown(name)} again after {earlier}; allowed: each name once"
            )


@dataclass(frozen=True)
class _Known:
    """What names stand for, looked up once: a sheet may hold thousands of tables."""

    reels: Mapping[str, Reel | None]
    passes: Mapping[str, Pass | None]
    passes_of_reel: Mapping[str, tuple[str, ...]]
    anchored_reels: frozenset[str]


def _known(tables: Tables) -> _Known:
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
    return _Known(reels, passes, {reel: tuple(names) for reel, names in of_reel.items()}, frozenset(anchored))


def _listed(names: Iterable[str]) -> str:
    """Names in a row for an error, the first dozen: the line stays a line."""
    first = list(islice(names, 13))
    text = ", ".join(shown(name) for name in first[:12])
    return (text + (", ..." if len(first) > 12 else "")) or "none, as the sheet has none"


def _pass_problems(index: int, pass_: Pass, known: _Known) -> Iterator[Problem]:
    if pass_.reel not in known.reels:
        words = f"found the unknown reel {shown(pass_.reel)}; allowed: {_listed(known.reels)}"
        yield Problem(("pass", index, "reel"), words)
        return
    source, reel = pass_.timecode, known.reels[pass_.reel]
    if reel is not None and isinstance(source.value, int) and source.value > len(reel.tracks):
        words = (
            f"found track {shown(source.value)}; allowed: 1 to {len(reel.tracks)} in reel {shown(reel.name)}"
        )
        yield Problem(("pass", index, "timecode"), words)
    if source.kind == "audio" and pass_.reel not in known.anchored_reels:
        words = 'found "audio"; allowed only if another pass of the reel has a timecode of its own'
        yield Problem(("pass", index, "timecode"), words)


def _punch_problems(index: int, punch: Punch, known: _Known) -> Iterator[Problem]:
    if punch.reel not in known.reels:
        words = f"found the unknown reel {shown(punch.reel)}; allowed: {_listed(known.reels)}"
        yield Problem(("punch", index, "reel"), words)
        return
    if punch.pass_name not in known.passes:
        words = f"found the unknown pass {shown(punch.pass_name)}; allowed: {_listed(known.passes)}"
        yield Problem(("punch", index, "pass"), words)
        return
    chosen = known.passes[punch.pass_name]
    if chosen is not None and chosen.reel != punch.reel:
        own = _listed(known.passes_of_reel.get(punch.reel, ()))
        words = (
            f"found {shown(chosen.name)}, a pass of reel {shown(chosen.reel)}; "
            f"allowed for reel {shown(punch.reel)}: {own}"
        )
        yield Problem(("punch", index, "pass"), words)


def _contradictions(tables: Tables, frame_rate: str, places: Mapping[KeyPath, int]) -> Iterator[Problem]:
    """Give each punch that takes another pass than an earlier one over the same samples: which is meant?"""
    day = stretch_frames("00:00:00:00", "00:00:00:00", frame_rate)[1]
    told: set[int] = set()
    for track in dict.fromkeys(name for reel in tables.reels.values() for name in reel.tracks if name):
        reels = {reel.name for reel in tables.reels.values() if track in reel.tracks}
        stretches = []
        for index, punch in tables.punches.items():
            if punch.reel in reels:
                start, end = stretch_frames(punch.start, punch.end, frame_rate)
                # Once more a day later, so that one that runs past midnight meets what follows it.
                stretches += [(start, end, index), (start + day, end + day, index)]
        reached: dict[str, tuple[int, int]] = {}
        for start, end, index in sorted(stretches):
            own = tables.punches[index].pass_name
            for name, (other_end, other) in reached.items():
                later = max(index, other)
                if name != own and other_end > start and later not in told:
                    told.add(later)
                    yield _contradiction(tables, min(index, other), later, places)
            reached[own] = max(reached.get(own, (0, 0)), (end, index))


def _contradiction(tables: Tables, earlier: int, later: int, places: Mapping[KeyPath, int]) -> Problem:
    first, second = tables.punches[earlier], tables.punches[later]
    line = places.get(("punch", earlier, "start"))
    named = f"punch[{earlier + 1}]" + (f" (line {line})" if line else "")
    words = (
        f"found {shown(second.start)} to {shown(second.end)} from {shown(second.pass_name)}, of which {named} takes a "
        f"part from {shown(first.pass_name)}; allowed: one pass for each place"
    )
    return Problem(("punch", later, "start"), words)


def _label_problems(tables: Tables, frame_rate: str) -> Iterator[Problem]:
    for index, reel in tables.reels.items():
        yield from _label_problem(
            ("reel", index, "timecode_offset"), reel.timecode_offset, frame_rate, signed=True
        )
    for index, pass_ in tables.passes.items():
        if pass_.timecode.kind == "start":
            yield from _label_problem(("pass", index, "timecode"), str(pass_.timecode.value), frame_rate)
    if tables.session is not None:
        yield from _stretch_problems(("session",), tables.session.start, tables.session.end, frame_rate)
    for index, punch in tables.punches.items():
        yield from _stretch_problems(("punch", index), punch.start, punch.end, frame_rate)


def _stretch_problems(
    table: KeyPath, start: str | None, end: str | None, frame_rate: str
) -> Iterator[Problem]:
    problems = [
        *_label_problem((*table, "start"), start, frame_rate),
        *_label_problem((*table, "end"), end, frame_rate),
    ]
    yield from problems
    if not problems and start is not None and end is not None and not is_after(end, start, frame_rate):
        yield Problem((*table, "end"), f"found {shown(end)}; allowed: a label after start, {shown(start)}")


def _label_problem(
    keys: KeyPath, label: str | None, frame_rate: str, *, signed: bool = False
) -> Iterator[Problem]:
    allowed = None if label is None else label_fault(label, frame_rate, signed=signed)
    if allowed is not None:
        yield Problem(keys, f"found {shown(label)}; allowed: {allowed}")
