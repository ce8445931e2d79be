"""What the tables of a sheet must say about each other: names, labels, paths.

Each check takes the tables as far as they could be read and gives the problems it finds, so that one faulty
table does not hide the mistakes of another.
"""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING

from assembler.sheet.checks.labels import is_after, label_fault
from assembler.sheet.checks.named import known, listed
from assembler.sheet.checks.stretches import contradictions, stretch_problems
from assembler.sheet.faults import Problem
from assembler.sheet.model.tables import INSIDE
from assembler.sheet.model.values import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from assembler.sheet.checks.named import Known, Tables
    from assembler.sheet.model.tables import Pass
    from assembler.sheet.text.places import KeyPath


def check_tables(tables: Tables, places: Mapping[KeyPath, int]) -> Iterator[Problem]:
    """Give what is wrong between the tables: names used twice, unknown names, labels, sources of timecode."""
    yield from _doubled_names("reel", tables.reel_names, places)
    yield from _doubled_names("pass", tables.pass_names, places)
    names = known(tables)
    for index, pass_ in tables.passes.items():
        yield from _pass_problems(index, pass_, names)
    yield from stretch_problems(tables, names)
    if tables.frame_rate is not None:
        faults = list(_label_problems(tables, tables.frame_rate))
        yield from faults
        if not faults:
            yield from contradictions(tables, tables.frame_rate, places)


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


def _pass_problems(index: int, pass_: Pass, known: Known) -> Iterator[Problem]:
    if pass_.reel not in known.reels:
        words = f"found the unknown reel {shown(pass_.reel)}; allowed: {listed(known.reels)}"
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
    for table, index, stretch in tables.stretches():
        yield from _stretch_problems((table, index), stretch.start, stretch.end, frame_rate)


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
