"""What the terminal states of a session, against the record of the same session: counts, shares, places, outcomes."""

from __future__ import annotations

import json
import math
import re
import shlex
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.cli.sessions import printing
from tests.support.pages import ReadPage
from tests.support.sessions import HOUR, RATE, Layout, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the sheet of a session with a slip, a cured mute, an uncured one, a fade between reels, and silence."""
    folder = tmp_path_factory.mktemp("printed")
    tape, other = make_tape(4, 2, seed=5), make_tape(2, 1, seed=6)
    slipped = np.delete(tape, slice(50_000, 50_400), axis=0)
    slipped[70_000:70_300, 0] = 0
    tape[150_000:151_000, 1] = slipped[149_600:150_600, 1] = 0
    layout = Layout(folder, more='[[reel]]\nname = "B"\ntracks = ["One"]\n')
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", slipped, HOUR)
    layout.add_pass("A2", "A", tape[20_000:], HOUR + 20_000)
    layout.add_pass("B1", "B", other, HOUR + 3 * RATE + 20_000)
    return layout.write()


def rows_under(out: str, head: str) -> list[list[str]]:
    """Return the rows of the table whose head begins with a word, cut where two blanks part the cells."""
    lines = out.splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith(head))
    rows = []
    for line in lines[first + 1 :]:
        cells = re.split(r"\s{2,}", line.strip())
        if len(cells) < 3:
            break
        rows.append(cells)
    return rows


def test_the_shares_of_states_are_printed(tmp_path: Path, capsys: Capsys) -> None:
    """By hand: of ten seconds six are seen twice, of these a tenth of a second is flawed in both, four once."""
    tape = make_tape(10, 2, seed=3)
    tape[2 * RATE : 2 * RATE + RATE // 10, 1] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape[: 6 * RATE], HOUR)
    sheet = layout.write()
    line = "Reel A: proven 59.0%, seen once 40.0%, flawed 1.0%\n"
    assert run(["check", str(sheet)]) == 1
    assert line in capsys.readouterr().out
    target = tmp_path / "set"
    assert run(["build", str(sheet), "-o", str(target)]) == 1
    assert line in capsys.readouterr().out
    page = (target / "data" / "report.html").read_text(encoding="utf-8")
    assert "proven 59.0%, seen once 40.0%, flawed 1.0%, each stretch by the worst of its tracks" in page


def test_a_plan_says_why_its_status_is_1_and_where_to_look(
    sheet: Path, tmp_path: Path, capsys: Capsys
) -> None:
    """In the last line, with the command that lists what asks; on standard error where the plan itself is printed."""
    why = "Needs a person, exit status 1: 1 place that no pass has right"
    assert run(["plan", str(sheet), "-o", str(tmp_path / "plan.toml")]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == f"{why}; listed by assembler check {sheet}."
    assert run(["plan", str(sheet)]) == 1
    assert capsys.readouterr().err.splitlines()[-1] == f"{why}."


def test_commands_to_be_copied_are_quoted(sheet: Path, tmp_path: Path, capsys: Capsys) -> None:
    """What is printed to go on with is one command to a shell, whatever the folder is called."""
    folder = tmp_path / "Joan's box; 2 (wet)"
    shutil.copytree(sheet.parent, folder)
    assert run(["plan", str(folder / sheet.name), "-o", str(folder / "plan.toml")]) == 1
    printed = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("Change it"))
    command = shlex.split(printed.partition("then: ")[2])
    assert command[0] == "assembler"
    assert run(command[1:]) == 1
    assert (folder / "set").is_dir()


def test_a_build_prints_what_its_record_holds(sheet: Path, tmp_path: Path, capsys: Capsys) -> None:
    """Each number of both tables, each flaw with its outcome, each uncured place; and where the set is."""
    target = tmp_path / "set"
    assert run(["build", str(sheet), "-o", str(target)]) == 1
    out = capsys.readouterr().out
    record = json.loads((target / "data" / "assembly.json").read_text(encoding="utf-8"))
    verdict, head, *_, last = out.splitlines()
    assert verdict == "Needs a person: 1 place that no pass has right."
    assert head == f"Small session: 2 tracks of {record['length'] / RATE:.3f} s from 01:00:00:00"
    assert last == "Needs a person, exit status 1: 1 place that no pass has right; see the top."
    assert not [line for line in out.splitlines() if line.endswith(" ")]
    passes = rows_under(out, "Pass ")
    for row, one in zip(passes, record["passes"], strict=False):
        clock = one["clock"]
        assert row[:2] == [one["name"], one["reel"]]
        assert row[4:6] == [clock["source"], clock["verdict"]]
        assert row[6] == str(RATE)
        assert float(row[7]) == pytest.approx(clock["slope_ppm"], abs=0.05)
        assert float(row[8]) == pytest.approx(clock["jitter_ms"], abs=0.005)
        whole = math.hypot(clock["uncertainty_samples"], clock["common_samples"])
        assert float(row[10]) == pytest.approx(whole, abs=0.006)
        assert float(row[11]) == pytest.approx(1000 * whole / RATE, abs=0.0006)
        assert float(row[12]) == pytest.approx(clock["apart_samples"], abs=0.005)
        assert int(row[13]) == len(one["flaws"])
    assert [row[2:4] for row in passes[:3]] == [
        ["01:00:00:00", "01:00:04:00"],
        ["01:00:00:12", "01:00:04:00"],
        ["01:00:03:12", "01:00:05:12"],
    ]
    assert [row[:6] for row in rows_under(out, "At ")[:3]] == [
        ["01:00:01:01", "A1", "slip", "+400", "cured", "One, Two"],
        ["01:00:01:14", "A1", "mute", "300", "cured", "One"],
        ["01:00:03:03", "A1, A2", "mute", "1000", "not cured", "Two"],
    ]
    tracks = rows_under(out, "No.")
    for row, track in zip(tracks, record["tracks"], strict=False):
        names = dict.fromkeys(span["pass"] for span in track["spans"] if span["pass"])
        counts = len(track["spans"]), len(track["joins"]), sum(join["fade"] > 0 for join in track["joins"])
        uncured = sum(place["track"] == track["name"] for place in record["uncured"])
        assert row == [
            str(track["number"]),
            track["name"],
            *map(str, counts),
            ", ".join(names),
            str(uncured),
        ]
    assert [row[-1] for row in tracks[:2]] == ["0", "1"]
    assert f"\nSet: {target}\nPage: {target}/data/report.html\nTracks: {target}/data/tracks\n" in out
    assert run(["check", str(sheet), "--verbose", "--quiet"]) == 2
    assert "allowed: one of them" in capsys.readouterr().err
    assert run(["build", str(sheet), "-o", str(tmp_path / "quiet"), "--quiet"]) == 1
    quiet = capsys.readouterr().out
    assert [line.split(": ")[0].rstrip(":") for line in quiet.splitlines()] == [
        "Needs a person",
        "Small session",
        "Uncured, to be listened to",
        "  01:00:03:03+1200 to 01:00:03:04+600, reel A, Two",
        "Turn the level down before you listen",
        "Set",
        "Needs a person, exit status 1",
    ]


def test_cut_lists_say_how_many_are_left_out(
    sheet: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With room for one line a list, the flaws and the notes are cut, and counted; --verbose cuts nothing."""
    run(["check", str(sheet)])
    whole = capsys.readouterr().out.splitlines()
    start = whole.index("Notes:") + 1
    count = next(n for n, line in enumerate(whole[start:]) if not line.startswith("  "))
    assert not any("more; --verbose lists all" in line for line in whole)
    monkeypatch.setattr(printing, "MOST_LINES", 1)
    run(["check", str(sheet)])
    told = [line for line in capsys.readouterr().out.splitlines() if "more; --verbose lists all" in line]
    assert told == [f"  and {rest} more; --verbose lists all, --json too" for rest in (2, count - 1)]
    run(["check", str(sheet), "--verbose"])
    assert capsys.readouterr().out.splitlines() == whole


def test_open_places_of_one_event_share_a_line_in_the_order_of_time(tmp_path: Path, capsys: Capsys) -> None:
    """Two tracks that stop at once, after a third that stops by itself."""
    tape = make_tape(6, 3)
    tape[150_000:151_000, :2] = tape[100_000:100_900, 2] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two", "Three"])
    for name in ("A1", "A2"):
        layout.add_pass(name, "A", tape, HOUR)
    assert run(["check", str(layout.write()), "--quiet"]) == 1
    verdict, _, _, *places, _, last = capsys.readouterr().out.splitlines()
    held = "(A1 (taken): mute; A2: mute, the same as A1)"
    assert places == [
        f"  01:00:02:02+800 to 01:00:02:03+100, reel A, Three: mute, 900 samples {held}",
        f"  01:00:03:03+1200 to 01:00:03:04+600, reel A, One, Two: mute, 1000 samples {held}",
    ]
    assert "3 places that no pass has right" in verdict
    assert "3 places that no pass has right" in last


def test_a_flaw_of_two_tracks_is_cured_only_where_both_are(tmp_path: Path, capsys: Capsys) -> None:
    """One mute on both tracks, one of which the other pass has wrong as well: a line for each outcome."""
    tape = make_tape(4, 2, seed=5)
    first, second = tape.copy(), tape.copy()
    first[90_000:92_000] = 0
    second[90_000:92_000, 1] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", second, HOUR)
    sheet = layout.write()
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 1
    out = capsys.readouterr().out
    assert [row[:6] for row in rows_under(out, "At ")[:2]] == [
        ["01:00:01:26", "A1", "mute", "2000", "cured", "One"],
        ["01:00:01:26", "A1, A2", "mute", "2000", "not cured", "Two"],
    ]
    record = json.loads((tmp_path / "set" / "data" / "assembly.json").read_text(encoding="utf-8"))
    assert [place["track"] for place in record["uncured"]] == ["Two"]
    flaws = [(flaw["tracks"], flaw["cured"]) for one in record["passes"] for flaw in one["flaws"]]
    assert flaws == [([0], True), ([1], False), ([1], False)]


def test_a_small_share_of_lost_timecode_is_not_none(tmp_path: Path, capsys: Capsys) -> None:
    """A log that lost a little is not told to have lost nothing; one that lost nothing is."""
    tape = make_tape(40, 1, seed=5)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    log = tmp_path / "captures" / "A2" / "timecode.csv"
    pieces = [0, 0, 0, 0, 0, 0, 1, 6]
    rows = []
    for number in range(40 * 120):
        frame = number // 8 * 2
        values = frame % 30, frame // 30
        pieces[:4] = values[0] & 15, values[0] >> 4, values[1] & 15, values[1] >> 4
        if number != 2400:
            rows.append(f"{number / 120:.6f},F1{number % 8 << 4 | pieces[number % 8]:02X}")
    log.write_text("\n".join(["seconds,bytes", *rows, ""]), encoding="ascii")
    log.with_suffix(".mid").unlink()
    sheet = layout.write()
    _, record = run_json(capsys, "check", sheet)
    shares = [one["clock"]["missing_share"] for one in record["passes"]]
    assert shares[0] == 0
    assert 0 < shares[1] < 0.0005
    run(["check", str(sheet)])
    passes = rows_under(capsys.readouterr().out, "Pass ")
    assert [row[9] for row in passes[:2]] == ["0.0%", "<0.1%"]


def test_verify_says_what_it_has_looked_at(sheet: Path, tmp_path: Path, capsys: Capsys) -> None:
    """Payload files, their bytes, tracks; samples only where they were computed again; problems counted."""
    target = tmp_path / "set"
    run(["build", str(sheet), "-o", str(target)])
    capsys.readouterr()
    payload = [path for path in (target / "data").rglob("*") if path.is_file()]
    size = f"{len(payload)} files, {sum(path.stat().st_size for path in payload) / 1e6:.1f} MB, 2 tracks"
    assert run(["verify", str(target)]) == 0
    assert capsys.readouterr().out == f"In order: {target}: {size}\n"
    length = json.loads((target / "data" / "assembly.json").read_text(encoding="utf-8"))["length"]
    assert run(["verify", str(target), "--against", str(sheet)]) == 0
    proved = f"{2 * length} samples proved from the captures"
    assert capsys.readouterr().out == f"In order: {target}: {size}, {proved}\n"
    with (target / "data" / "report.html").open("ab") as page:
        page.write(b" ")
    assert run(["verify", str(target)]) == 1
    *problems, last = capsys.readouterr().out.splitlines()
    assert any(line.startswith(f"{target}/data/report.html: ") for line in problems)
    plural = "" if len(problems) == 1 else "s"
    assert last.startswith(f"Not in order: {target}: {len(problems)} problem{plural}; ")


def flaws_of(page: Path) -> list[str]:
    """Return the outcome of each flaw on a page."""
    rows: list[dict[str, Any]] = [*ReadPage(page.read_text(encoding="utf-8")).rows("Flaws of the passes")]
    return [row["Outcome"] for row in rows]


def test_what_is_not_in_the_set_is_not_called_cured(tmp_path: Path, capsys: Capsys) -> None:
    """Mutes before the set's first sample and behind its last: nothing was put in their place."""
    tape = make_tape(4, 2, seed=5)
    broken = tape.copy()
    broken[20_000:22_000, 0] = 0
    broken[90_000:92_000, 0] = 0
    broken[150_000:152_000, 0] = 0
    layout = Layout(tmp_path, session={"start": "01:00:01:00", "end": "01:00:03:00"})
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", broken, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    assert run(["build", str(layout.write()), "-o", str(tmp_path / "set")]) == 0
    out = capsys.readouterr().out
    assert [row[:6] for row in rows_under(out, "At ")[:3]] == [
        ["01:00:00:12", "A1", "mute", "2000", "not in the set", "One"],
        ["01:00:01:26", "A1", "mute", "2000", "cured", "One"],
        ["01:00:03:03", "A1", "mute", "2000", "not in the set", "One"],
    ]
    assert flaws_of(tmp_path / "set" / "data" / "report.html") == [
        "not in the set",
        "cured",
        "not in the set",
    ]
