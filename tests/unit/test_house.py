"""The house: how large a room and a module may be, that each room says what it is for, that no arrow goes round.

Which room may use which stands in `test_layers`, and for the aligner's own rooms in `aligner/test_aligner_rooms`.
"""

from __future__ import annotations

import ast
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[2] / "assembler"

MOST_FILES, MOST_LINES, MOST_TEXT = 9, 250, 30
"""Modules of a room, its own text in ``__init__.py`` counted; lines of a module; lines of a room's text."""

FULLER = {"aligner/records": 10}
"""Rooms that hold more, and how many: a hundred modules import these records. None is added, and none grows."""


def place_of(path: Path) -> str:
    """Return a path as it stands inside the house."""
    return path.relative_to(HOUSE).as_posix()


@cache
def tree_of(path: Path) -> ast.Module:
    """Return a module's syntax."""
    return ast.parse(path.read_text(encoding="utf-8"))


def text_of(room: Path) -> str:
    """Return what a room says of itself."""
    return ast.get_docstring(tree_of(room / "__init__.py")) or ""


ROOMS = {place_of(path.parent): path.parent for path in sorted(HOUSE.rglob("__init__.py"))}
MODULES = {place_of(path): path for path in sorted(HOUSE.rglob("*.py"))}


def test_every_folder_of_modules_is_a_room() -> None:
    """No folder is without a text of its own."""
    assert {path.parent for path in MODULES.values()} == set(ROOMS.values())


def test_rooms_are_small() -> None:
    """A room that holds more is to be divided by the questions that it answers."""
    held = {name: len(list(room.glob("*.py"))) for name, room in ROOMS.items()}
    assert {name: count for name, count in held.items() if count > FULLER.get(name, MOST_FILES)} == {}
    assert [name for name in FULLER if held.get(name, 0) <= MOST_FILES] == []


def test_modules_are_short() -> None:
    """A module fits in a few screens."""
    sizes = {name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in MODULES.items()}
    assert {name: size for name, size in sizes.items() if size > MOST_LINES} == {}


@pytest.mark.parametrize("name", [name for name in ROOMS if name != "."])
def test_every_room_says_what_it_is_for(name: str) -> None:
    """A room's own text names its question, what goes in, what comes out, and all that it holds, in one screen."""
    room, text = ROOMS[name], text_of(ROOMS[name])
    assert [word for word in ("Question: ", "Input: ", "Output: ") if f"\n{word}" not in text] == []
    modules = [f"`{path.stem}`" for path in room.glob("*.py") if path.stem not in ("__init__", "limits")]
    inner = [f"`{path.parent.name}/`" for path in room.glob("*/__init__.py")]
    assert [word for word in (*modules, *inner) if word not in text] == []
    assert len(text.splitlines()) <= MOST_TEXT


def used_by(path: Path) -> set[str]:
    """Return the modules that a module needs to be loaded: not what types, or single functions, need."""
    needed = [
        node
        for statement in tree_of(path).body
        if not isinstance(statement, ast.If | ast.FunctionDef | ast.ClassDef)
        for node in ast.walk(statement)
    ]
    names = {
        f"{node.module}.{one.name}"
        for node in needed
        if isinstance(node, ast.ImportFrom)
        for one in node.names
    }
    names |= {node.module or "" for node in needed if isinstance(node, ast.ImportFrom)}
    names |= {one.name for node in needed if isinstance(node, ast.Import) for one in node.names}
    inside = {
        name.removeprefix("assembler.").replace(".", "/") for name in names if name.startswith("assembler.")
    }
    return {f"{name}.py" for name in inside} & set(MODULES)


def test_no_module_uses_itself_by_a_detour() -> None:
    """Modules can be put in one order, each using only those before it."""
    assert list(TopologicalSorter({name: used_by(path) for name, path in MODULES.items()}).static_order())
