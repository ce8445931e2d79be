"""Every file of a small set, changed at random some hundred times: always told, with the file's name.

Seeded. Each file's changes are tried by a process of its own, with little memory and time, so that a crash of a
library counts as a failure like any other.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import random
import resource
import shutil
import traceback
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set
from tests.damage.test_verify_damage import seal
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Iterator

MEMORY, SECONDS = 500 << 20, 120
NAMES = (
    "data/assembly.json",
    "data/timeline.otio",
    "data/joins.csv",
    "data/session.toml",
    "data/report.html",
    "data/tracks/01_One.wav",
    "bagit.txt",
    "bag-info.txt",
    "manifest-sha256.txt",
    "tagmanifest-sha256.txt",
)
BYTES, VALUES = 25, 80
"""Changes of bytes for each file, and of values for each JSON file."""
ODD: tuple[object, ...] = (
    None, True, "", "x", "\0", "../../x", "9" * 400, "/", [], {}, [[]], [{}], -1, 0, 1, 2**31, 2**63, 2**64, 10**30,
    1.5, -0.0, 1e308, -1e308, 5e-324, float("nan"), float("inf"), {"OTIO_SCHEMA": "Clip.2"}, {"OTIO_SCHEMA": "Gap.1"},
    {"OTIO_SCHEMA": "SerializableObjectRef.1", "id": "Track-1"}, {"OTIO_SCHEMA": "Timeline.99"}, {"OTIO_SCHEMA": 5},
)  # fmt: skip


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a small session with its set: a join, an uncured place, a log, transfer notes."""
    folder = tmp_path_factory.mktemp("mutations")
    tape = make_tape(1, 1, seed=5)
    first = tape.copy()
    first[20_000:21_000] = 0
    tape[40_000:41_000] = first[40_000:41_000] = 0
    layout = Layout(folder)
    layout.session.update(originator="Millbrook Sound Archive", reference="MSA-1", date=dt.date(1995, 2, 3))
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", tape, HOUR)
    build_set(layout.write(), folder / "set")
    return folder


def changed_bytes(data: bytes, dice: random.Random) -> bytes:
    """Return bytes with one thing changed: a bit, a run, the length, the order."""
    low, high = sorted(dice.randrange(len(data) + 1) for _ in range(2))
    high = min(high, low + dice.choice((1, 4, 64, len(data))))
    kind = dice.choice(
        ("flip", "flip", "flip", "noise", "delete", "double", "cut", "insert", "empty", "digits")
    )
    if kind == "flip":
        place = dice.randrange(min(len(data), dice.choice((700, len(data)))))
        return data[:place] + bytes([data[place] ^ 1 << dice.randrange(8)]) + data[place + 1 :]
    middle = {
        "noise": dice.randbytes(high - low),
        "double": data[low:high] * 2,
        "insert": dice.randbytes(dice.choice((1, 2, 100))),
        "digits": b"9" * dice.choice((1, 30, 6000)),
    }.get(kind, b"")
    if kind == "empty":
        return b""
    end = len(data) if kind == "cut" else low if kind == "insert" else high
    return data[:low] + middle + data[end:]


def changed_value(data: bytes, dice: random.Random) -> bytes:
    """Return JSON with one value replaced, doubled or gone, wherever it stands."""
    held = json.loads(data)
    places = list(_places(held))
    parent, key = dice.choice(places)
    kind = dice.choice(("odd", "odd", "odd", "gone", "double", "exchanged"))
    if kind == "odd":
        parent[key] = dice.choice(ODD)
    elif kind == "gone":
        del parent[key]
    elif kind == "double" and isinstance(parent, list):
        parent.insert(key, parent[key])
    else:
        other, place = dice.choice(places)
        parent[key] = json.loads(json.dumps(other[place]))
    return json.dumps(held).encode()


def _places(held: Any) -> Iterator[tuple[Any, Any]]:  # noqa: ANN401 - JSON
    items = held.items() if isinstance(held, dict) else enumerate(held) if isinstance(held, list) else ()
    for key, value in items:
        yield held, key
        yield from _places(value)


def tried(root: Path) -> tuple[int | None, str]:
    """Return the status of ``verify`` and all that it prints; None and the trace where it breaks down."""
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(out):
        try:
            return run(["verify", str(root)]), out.getvalue()
        except BaseException:  # noqa: BLE001 - whatever it is
            return None, traceback.format_exc()


def same_lines(name: str, first: bytes, second: bytes) -> bool:
    """Tell whether two tag manifests list the same: nothing else vouches for its bytes (RFC 8493, 2.2.1)."""

    def listing(data: bytes) -> set[tuple[bytes, ...]]:
        return {(line[:64].lower(), line[64:].strip()) for line in data.splitlines()}

    return name.startswith("tagmanifest") and listing(first) == listing(second)


def complaints(root: Path, name: str) -> Iterator[str]:
    """Yield each change of a file that was not told as it should be."""
    dice = random.Random(name)  # noqa: S311 - a seeded one is wanted
    data = (root / name).read_bytes()
    others = {path: path.read_bytes() for path in root.glob("*.txt")}
    is_json = name.endswith((".json", ".otio"))
    for number in range(BYTES + (VALUES if is_json else 0)):
        new = changed_bytes(data, dice) if number < BYTES else changed_value(data, dice)
        if new == data:
            continue
        (root / name).write_bytes(new)
        status, printed = tried(root)
        # A tag manifest that says otherwise is told of the file that it is about.
        named = f"{root}/" in printed if name.startswith("tagmanifest") else f"{root / name}: " in printed
        if (status != 1 or not named) and not same_lines(name, data, new):
            yield f"change {number} of {name}: status {status}: {printed[-1500:]}"
        if name.startswith("data/"):
            # With manifests that fit only what files say of each other can tell; it must not break down.
            seal(root)
            status, printed = tried(root)
            if status not in (0, 1) or (status == 1 and f"{root}/data/" not in printed):
                yield f"change {number} of {name}, sealed: status {status}: {printed[-1500:]}"
        for path, held in others.items():
            path.write_bytes(held)
    (root / name).write_bytes(data)


@pytest.mark.parametrize("name", NAMES)
def test_every_change_is_told(session: Path, tmp_path: Path, name: str) -> None:
    """No change of any file goes by, none brings verify down, and each is told with the name of the file."""
    root = shutil.copytree(session / "set", tmp_path / "set")
    told = tmp_path / "told.json"
    child = os.fork()
    if child == 0:
        status = 99
        try:
            size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
            resource.setrlimit(resource.RLIMIT_AS, (size + MEMORY, size + MEMORY))
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
            told.write_text(json.dumps(list(complaints(root, name))))
            status = 0
        finally:
            os._exit(status)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert json.loads(told.read_text()) == []
