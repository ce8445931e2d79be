"""Titles and names as people and their programs write them: any script, marks, emoji, control signs, great length.

Each set is built, verified against its captures, and read by programs of other hands.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from typing import TYPE_CHECKING

import bagit
import opentimelineio as otio
import pytest
import soundfile
from wavinfo import WavInfoReader

from assembler.consolidator import build_set, verify_set
from tests.support.sessions import HOUR, Layout, make_tape, toml_value

if TYPE_CHECKING:
    from pathlib import Path

ADDRESS = "https://archive.millbrook.example/collections/1995/msa-0017"  # one word of 58 letters
NAMES = {
    "umlaut": "Durchgang 1 früh",
    "decomposed": unicodedata.normalize("NFD", "Durchgang 1 früh"),
    "tab": "pass\t1",
    "line feed": "pass\n1",
    "carriage return": "pass\r1",
    "both": "pass\r\n1",
    "next line": "pass\x851",
    "line separator": "pass\u20281\u2029",
    "delete": "pass\x7f\x801",
    "direction marks": "\u202eessap\u202c\u200f 1\u2066\u2069",
    "emoji": "🥁 1 👩🏽‍🎤",
    "marks alone": "\u0301\u0308",
    "enclosing mark": "1\u20dd",
    "blank at the ends": "  pass 1  ",
    "no break": "\u00a01\ufeff",
    "markup": "<b>&amp;]]>\"'",
    "formula": "=1+1",
    "apostrophe": "'=1+1",
    "minus": "-1",
    "wide sign": "\uff1d1",
    "quotation mark": '"',
    "percent": "100%\\",
    "one long word": "x" * 5000,
    "long": "пасс " * 500,
    "address": ADDRESS,
    "many marks": "e" + "\u0301" * 2000,
}


def build_named(folder: Path, name: str, bits: int = 16) -> Path:
    """Build a session in which everything has a name: two passes, a cured mute, an uncured one, a fade to a reel."""
    tape, other = make_tape(2.5, 1, seed=5, bits=bits), make_tape(2, 1, seed=6, bits=bits)
    first = tape.copy()
    first[30_000:31_000] = 0
    tape[60_000:61_000] = first[60_000:61_000] = 0
    layout = Layout(folder, bits=bits)
    layout.session.update(title=name, originator=name, reference=name, description=name)
    for reel in (name, f"{name} B"):
        keys = {"name": reel, "tracks": [name], "prepared": {"operator": name}}
        layout.more += "\n".join(
            ["[[reel]]", *(f"{key} = {toml_value(value)}" for key, value in keys.items()), ""]
        )
    # The folder has a plain name, since a file can't be called as a pass can.
    layout.add_pass("A1", name, first, "01:00:00:00")
    layout.add_pass("A2", name, tape[12_000:90_000], HOUR + 12_000)
    layout.add_pass("B1", f"{name} B", other, "01:00:02:00")
    for number, entry in enumerate(layout.passes):
        entry["name"] = name if number == 0 else f"{name} {entry['name']}"
    sheet = layout.write()
    build_set(sheet, folder / "set")
    return sheet


@pytest.mark.parametrize("kind", NAMES)
def test_a_set_with_strange_names_is_sound(tmp_path: Path, kind: str) -> None:
    """A fresh build verifies, and readers of other hands take every file that holds the names."""
    name = NAMES[kind]
    sheet = build_named(tmp_path, name)
    root = tmp_path / "set"
    assert verify_set(root, against=sheet).problems == ()
    bag = bagit.Bag(str(root))
    assert bag.validate()
    assert bag.info["External-Description"].split() == name.split()
    (track,) = (root / "data" / "tracks").iterdir()
    assert (
        soundfile.info(str(track)).frames == json.loads((root / "data/assembly.json").read_text())["length"]
    )
    info = WavInfoReader(track)
    assert info.ixml.raw_xml.findtext("./TRACK_LIST/TRACK/NAME") == name[:400]
    labels = [cue["label"] for cue in info.cues.to_dict().values()]
    assert len(labels) >= 3
    assert all(label.isascii() and label.isprintable() for label in labels)
    timeline = otio.adapters.read_from_file(str(root / "data/timeline.otio"))
    assert (timeline.name, timeline.tracks[0].name) == (name, name)
    table = (root / "data/joins.csv").read_bytes().decode("utf-8")
    rows = list(csv.reader(io.StringIO(table, newline="")))
    # What stands in the cell is the name, after an apostrophe where a spreadsheet would compute it.
    assert rows[1][0] == ("'" if name.lstrip("'")[0] in "=+-@\t\r\n\uff1d" else "") + name
