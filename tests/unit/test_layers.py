"""Dependencies point one way."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "assembler"
ROOMS = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}

OPEN = {"inputs", "process", "verdict"}
"""Rooms that all may use, as they may the modules that stand in no room; they use none."""

MAY_IMPORT = {
    "crew": set(),
    "publishing": set(),
    "known": set(),
    "sheet": set(),
    "wave": set(),
    "timecode": set(),
    "importer": {"known", "sheet", "wave", "timecode"},
    "aligner": {"known", "sheet", "timecode", "importer"},
    "drafting": {"known", "sheet", "wave", "timecode", "importer", "aligner"},
    "record": {"sheet", "wave", "timecode", "aligner"},
    "report": {"sheet", "timecode", "record"},
    "retakes": {"sheet", "timecode", "aligner"},
    "consolidator": {"crew", "publishing", "known", "sheet", "wave", "timecode"}
    | {"importer", "aligner", "record", "report"},
    "demo": {"publishing", "timecode"},
    "watch": {"known", "sheet", "wave", "timecode", "importer", "aligner", "drafting", "retakes"},
    "collection": {"record"},
    "batch": {"crew", "publishing", "known", "sheet", "wave", "aligner", "record"}
    | {"retakes", "consolidator", "collection"},
    "cli": {"crew", "publishing", "known", "sheet", "timecode", "importer", "aligner", "drafting", "record"}
    | {"report", "retakes", "consolidator", "demo", "watch", "collection", "batch"},
}
"""For each room, in the order in which they stand, the rooms that it may use."""


def rooms_imported(path: Path) -> set[str]:
    """Return the rooms that a module imports from, wherever in it the import stands."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("assembler.")}
    return found & ROOMS


@pytest.mark.parametrize("room", [*MAY_IMPORT, *sorted(OPEN)])
def test_imports_point_one_way(room: str) -> None:
    """A room uses only what stands below it."""
    modules = sorted((PACKAGE / room).rglob("*.py"))
    assert modules
    allowed = MAY_IMPORT[room] | OPEN if room in MAY_IMPORT else set()
    for path in modules:
        assert rooms_imported(path) <= allowed | {room}, path


def test_every_room_is_in_the_table_in_order() -> None:
    """A new room has to be given its place; each uses rooms that stand before it."""
    assert {*MAY_IMPORT, *OPEN} == ROOMS
    order = list(MAY_IMPORT)
    for room, used in MAY_IMPORT.items():
        assert used <= set(order[: order.index(room)]), room


MAKING = {"O_CREAT", "O_WRONLY", "O_RDWR", "mkstemp", "mkdtemp", "write_text", "NamedTemporaryFile"}
"""What opens a file for writing; ``open`` with a mode that does is another."""


def writes(node: ast.AST) -> bool:
    """Return whether an expression opens a file for writing."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "open":
        modes = [
            one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)
        ]
        return any(mode[:1] in "wxa" for mode in modes)
    return isinstance(node, ast.Attribute) and node.attr in MAKING


def test_only_publishing_writes_files() -> None:
    """Opening a file for writing is left to the modules whose job it is."""
    writers = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if writes(node)
    }
    assert writers == {
        "publishing/disk.py",
        "known/store.py",
        "collection/ledger.py",
        "demo/logs.py",
        "demo/session.py",
        "cli/process.py",
    }


def test_the_model_of_the_medium_stands_alone() -> None:
    """It imports nothing of the package but its own modules: what makes flaws knows nothing of what finds them."""
    for path in (PACKAGE / "demo" / "medium").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("assembler"):
                assert node.module.startswith("assembler.demo.medium"), path
