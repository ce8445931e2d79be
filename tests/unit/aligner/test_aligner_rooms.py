"""The aligner's rooms: which may use which, how many a module may use, where numbers stand.

How large rooms and modules may be, and what a room says of itself, stands in `test_house` for all of the package.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[3] / "assembler" / "aligner"
NAME = "assembler.aligner"

MAY_USE = {
    "records": set(),
    "sound": {"records"},
    "flaws": {"records", "sound"},
    "place": {"records", "sound"},
    "concealment": {"records", "sound"},
    "judge": {"records", "sound", "flaws"},
    "compare": {"records", "sound", "flaws", "concealment", "judge"},
    "events": {"records", "sound", "flaws", "concealment"},
    "plan": {"records", "place"},
    "states": {"records", "events"},
    "tell": {"records", "sound"},
}
"""For each room, in the order in which they stand, the rooms that it may use; imports for types are aside."""

MOST_USED = 10

USING_MORE = {
    "align": 11,
    "compare/lone": 11,
    "compare/track": 11,
    "comparison": 14,
    "reel": 11,
}
"""Modules that still use too many others, and how many they may use: none is added, and none grows."""

NUMBERS_ELSEWHERE = {
    "align": {"THREADS"},
    "comparison": {"BLOCK_SAMPLES"},
    "concealment/marks": {"DOWN", "UP", "TOWARDS_ZERO", "TALLY_COUNTS"},
    "concealment/truth/bends": {"EULER"},
    "concealment/truth/path": {"WAYS_AT_ONCE"},
    "judge/costs": {"TAU"},
    "plan/hand/file": {"PLAN"},
    "plan/joins/fades": {"_GOLDEN"},
    "reel": {"LEAST_HEARD"},
    "sound/levels": {"HASH_FACTOR"},
    "sound/scale": {"WORDS"},
}
"""Numbers that stand outside of a room's limits: sizes of work, codes, and what mathematics gives; none is added."""

MOST_NUMBERS = 164
"""Numbers by which the aligner decides, all rooms together: a rule that brings one in has to do without another."""

MOST_LINES = 18_630
"""Lines of the aligner, all of them counted: what comes in has to do without something else."""


def modules() -> dict[str, Path]:
    """Return every module of the house by its place in it, as ``room/module``; a room's own text is ``room``."""
    found = {}
    for path in sorted(HOUSE.rglob("*.py")):
        place = path.relative_to(HOUSE).with_suffix("")
        name = place.parent if place.name == "__init__" else place
        found[name.as_posix()] = path
    return found


@cache
def tree_of(path: Path) -> ast.Module:
    """Return a module's syntax."""
    return ast.parse(path.read_text(encoding="utf-8"))


def is_for_types(node: ast.stmt) -> bool:
    """Return whether a statement is the block of imports that only types need."""
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def used_by(path: Path) -> set[str]:
    """Return the modules of the house that a module imports, but for types, as ``room/module``."""
    statements = [
        node
        for statement in tree_of(path).body
        if not is_for_types(statement)
        for node in ast.walk(statement)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    names: set[str] = set()
    for node in statements:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif node.module == NAME:
            names |= {f"{NAME}.{alias.name}" for alias in node.names}
        else:
            names.add(node.module or "")
    return {name[len(NAME) + 1 :].replace(".", "/") for name in names if name.startswith(f"{NAME}.")}


def numbers_of(path: Path) -> dict[str, ast.stmt]:
    """Return the upper-case names of a module that are given a number, or a table of numbers."""
    found: dict[str, ast.stmt] = {}
    for node in tree_of(path).body:
        if isinstance(node, ast.Assign):
            targets, value = node.targets, node.value
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets, value = [node.target], node.value
        else:
            continue
        names = [one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)]
        constants = [one.value for one in ast.walk(value) if isinstance(one, ast.Constant)]
        has_number = any(isinstance(one, int | float) and not isinstance(one, bool) for one in constants)
        if has_number or path.stem == "limits":
            found |= {name: node for name in names if name.isupper()}
    return found


def room_of(module: str) -> str:
    """Return the room that a module stands in."""
    return module.split("/", maxsplit=1)[0]


@pytest.mark.parametrize("room", MAY_USE)
def test_a_room_uses_only_rooms_before_it(room: str) -> None:
    """No arrow goes up, and none to a module outside of the rooms."""
    for name, path in modules().items():
        if room_of(name) == room:
            assert {room_of(used) for used in used_by(path)} <= MAY_USE[room] | {room}, name


def test_every_room_is_in_the_table_in_order() -> None:
    """A new room has to be given its place; each uses rooms that stand before it."""
    rooms = {path.name for path in HOUSE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert rooms == set(MAY_USE)
    order = list(MAY_USE)
    for room, used in MAY_USE.items():
        assert used <= set(order[: order.index(room)]), room


def test_modules_use_few_others() -> None:
    """A module that uses many others does too much; the list of those that do may only shrink."""
    counts = {name: len(used_by(path)) for name, path in modules().items() if name != "."}
    assert {name: count for name, count in counts.items() if count > USING_MORE.get(name, MOST_USED)} == {}
    assert [name for name in USING_MORE if counts.get(name, 0) <= MOST_USED] == []


def test_numbers_stand_in_limits() -> None:
    """A number by which the aligner decides stands in its room's table of limits, and nowhere else."""
    found = {
        name: set(numbers)
        for name, path in modules().items()
        if (numbers := numbers_of(path)) and path.stem != "limits"
    }
    assert found == NUMBERS_ELSEWHERE


def test_numbers_do_not_grow_in_number() -> None:
    """There are no more numbers than there were: lower the budget whenever some go."""
    count = sum(len(numbers_of(path)) for path in modules().values() if path.stem == "limits")
    assert count <= MOST_NUMBERS


def test_lines_do_not_grow_in_number() -> None:
    """There are no more lines than there were: lower the budget whenever some go."""
    assert (
        sum(len(path.read_text(encoding="utf-8").splitlines()) for path in modules().values()) <= MOST_LINES
    )


def test_every_number_is_told_of() -> None:
    """Behind each number stands what it decides, its unit and what it rests on; a tuple's text is all its numbers'."""
    bare: dict[str, list[str]] = {}
    for name, path in modules().items():
        if path.stem != "limits":
            continue
        body = tree_of(path).body
        told = {id(node) for node, behind in pairwise(body) if isinstance(behind, ast.Expr)}
        missing = [number for number, node in numbers_of(path).items() if id(node) not in told]
        if missing:
            bare[name] = missing
    assert bare == {}


def test_rules_stand_where_the_text_for_developers_says() -> None:
    """Every ``file::function`` that it names is there."""
    text = (HOUSE.parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`([a-z_/]+)\.py::([A-Za-z_.]+)`", text[text.index("## The aligner's rooms") :])
    assert named
    missing = []
    for module, name in named:
        path = modules().get(module)
        defined = (
            {
                one
                for node in ast.walk(tree_of(path))
                if isinstance(node, ast.FunctionDef | ast.ClassDef)
                for one in (node.name,)
            }
            | set(numbers_of(path))
            if path
            else set()
        )
        if not set(name.split(".")) <= defined:
            missing.append(f"{module}.py::{name}")
    assert missing == []
