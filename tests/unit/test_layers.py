"""Dependencies point one way."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "assembler"

MAY_IMPORT = {
    "crew": set(),
    "publishing": set(),
    "sheet": set(),
    "wave": set(),
    "timecode": set(),
    "known": set(),
    "importer": {"known", "sheet", "wave", "timecode"},
    "aligner": {"importer", "known", "sheet", "timecode"},
    "drafting": {"aligner", "importer", "known", "sheet", "wave", "timecode"},
    "record": {"aligner", "sheet", "wave", "timecode"},
    "report": {"record", "sheet", "timecode"},
    "retakes": {"aligner", "sheet", "timecode"},
    "consolidator": {
        "crew",
        "publishing",
        "report",
        "record",
        "aligner",
        "importer",
        "known",
        "sheet",
        "wave",
        "timecode",
    },
    "demo": {"timecode", "publishing"},
    "watch": {"drafting", "retakes", "aligner", "importer", "known", "sheet", "wave", "timecode"},
    "collection": {"record"},
    "batch": {
        "publishing",
        "collection",
        "retakes",
        "consolidator",
        "record",
        "aligner",
        "known",
        "sheet",
        "wave",
    },
    "cli": {
        "crew",
        "publishing",
        "batch",
        "collection",
        "drafting",
        "report",
        "retakes",
        "record",
        "consolidator",
        "aligner",
        "importer",
        "known",
        "sheet",
        "timecode",
        "demo",
        "watch",
    },
}
"""For each room the rooms it may use; errors, notes, arrays, inputs and the version are open to all."""


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
    return found & set(MAY_IMPORT)


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_imports_point_one_way(room: str) -> None:
    """A room uses only what stands below it."""
    modules = sorted((PACKAGE / room).rglob("*.py"))
    assert modules
    for path in modules:
        assert rooms_imported(path) <= MAY_IMPORT[room] | {room}, path


def test_every_room_is_in_the_table() -> None:
    """A new room has to be given its place."""
    rooms = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert rooms == set(MAY_IMPORT)


@pytest.mark.parametrize("room", ["batch", "collection"])
def test_rooms_of_many_sessions_stay_small(room: str) -> None:
    """At most nine modules of at most 250 lines, each named in the room's own text."""
    modules = {path.stem: path for path in (PACKAGE / room).glob("*.py") if path.stem != "__init__"}
    text = ast.get_docstring(ast.parse((PACKAGE / room / "__init__.py").read_text())) or ""
    assert len(modules) <= 9
    for name, path in modules.items():
        assert f"`{name}`" in text, name
        assert len(path.read_text().splitlines()) <= 250, name


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
