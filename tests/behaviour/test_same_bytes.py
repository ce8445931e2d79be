"""The same session gives the same bytes, whatever else differs around the program."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from assembler.consolidator import sha256_of
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

BUILD = (
    "import os, sys, time\n"
    # Threads take turns a thousand times as often, and one of two processors is taken away.
    "sys.setswitchinterval(float(sys.argv[3]))\n"
    "if sys.argv[4] == '1' and hasattr(os, 'sched_setaffinity'):\n"
    "    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})\n"
    "from assembler.consolidator import build_set\n"
    "from pathlib import Path\n"
    "build_set(Path(sys.argv[1]), Path(sys.argv[2]))\n"
)
PLAIN = {"PYTHONHASHSEED": "1", "TZ": "UTC", "LC_ALL": "C.UTF-8", "SOURCE_DATE_EPOCH": "1700000000"}
OTHER = {"PYTHONHASHSEED": "77", "TZ": "Pacific/Kiritimati", "LC_ALL": "C", "SOURCE_DATE_EPOCH": "1700000000"}


def write_session(folder: Path) -> Path:
    """Write a session with all that a set can hold: a cure, a fade, silence, an uncured place, notes, no date."""
    tape, other = make_tape(3, 3, seed=5), make_tape(2, 1, seed=6)
    first = tape.copy()
    first[30_000:31_000, 1] = 0
    tape[60_000:61_000, 2] = first[60_000:61_000, 2] = 0
    reels = (
        '[[reel]]\nname = "A"\ntracks = ["One", "Zwölf", "Ten"]\nprepared = { baked_c = 80, at = 07:32:00 }\n'
        '[[reel]]\nname = "B"\ntracks = ["One"]\n'
    )
    layout = Layout(folder, more=reels)
    layout.session.update(originator="Millbrook Sound Archive")
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape[12_000:90_000], HOUR + 12_000)
    layout.add_pass("B1", "B", other, "01:00:02:15")
    return layout.write()


def build(
    sheet: Path, target: Path, surroundings: Mapping[str, str], interval: float, processors: int
) -> None:
    """Build in a process of its own."""
    command = [sys.executable, "-c", BUILD, str(sheet), str(target), str(interval), str(processors)]
    environment = {**os.environ, **surroundings}
    subprocess.run(command, check=True, env=environment)


def contents(root: Path) -> dict[str, str]:
    """Return the digest of every file of a set by its path."""
    return {path.relative_to(root).as_posix(): sha256_of(path) for path in root.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a session and of the set that was built from it in plain surroundings."""
    folder = tmp_path_factory.mktemp("plain")
    build(write_session(folder), folder / "set", PLAIN, 0.005, 2)
    return folder


def test_surroundings_make_no_difference(plain: Path, tmp_path: Path) -> None:
    """Another folder, file times, hash seed, time zone, locale and thread timing give an identical set."""
    copied = tmp_path / "somewhere else" / "deeper"
    shutil.copytree(plain, copied, ignore=shutil.ignore_patterns("set"))
    for count, path in enumerate(copied.rglob("*")):
        os.utime(path, (1_000_000 + count, 2_000_000 + count))
    build(copied / "session.toml", tmp_path / "other set", OTHER, 0.000_005, 1)
    expected = contents(plain / "set")
    assert len(expected) == 12
    assert contents(tmp_path / "other set") == expected


def test_the_date_comes_from_outside_only_by_its_own_variable(plain: Path, tmp_path: Path) -> None:
    """Without a date in the sheet it is SOURCE_DATE_EPOCH's, in UTC; another epoch changes what holds the date."""
    record = (plain / "set" / "data" / "assembly.json").read_text(encoding="utf-8")
    assert '"date": "2023-11-14"' in record
    assert "Bagging-Date: 2023-11-14" in (plain / "set" / "bag-info.txt").read_text(encoding="utf-8")
    build(plain / "session.toml", tmp_path / "set", {**PLAIN, "SOURCE_DATE_EPOCH": "0"}, 0.005, 2)
    before, after = contents(plain / "set"), contents(tmp_path / "set")
    same = {name for name in before if before[name] == after[name]}
    # Whether the page shows the date is the page's own affair.
    assert same - {"data/report.html"} == {
        "bagit.txt",
        "data/session.toml",
        "data/joins.csv",
        "data/timeline.otio",
    }


def test_captures_outside_the_sheets_folder_are_named_from_it(plain: Path, tmp_path: Path) -> None:
    """A record never holds a path from the root, so that sheet and captures can be moved together."""
    from assembler.consolidator import build_set, verify_set  # noqa: PLC0415 - as in the processes above

    shutil.copytree(plain / "captures", tmp_path / "captures")
    text = (plain / "session.toml").read_text(encoding="utf-8").replace('"captures/', '"../captures/')
    (tmp_path / "sheets").mkdir()
    sheet = tmp_path / "sheets" / "session.toml"
    sheet.write_text(text, encoding="utf-8")
    result = build_set(sheet, tmp_path / "set", allow_outside=True)
    assert str(tmp_path) not in (tmp_path / "set" / "data" / "assembly.json").read_text(encoding="utf-8")
    assert str(result.record).count("'../captures/") > 5
    assert verify_set(tmp_path / "set", against=sheet, allow_outside=True).problems == ()
