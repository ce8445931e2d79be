"""The list for the machine, by the real command, held against what was done to seeded captures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, RATE, Layout, make_tape, run_json, write_log

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from assembler.arrays import Int32s

NAMES = ["Kick", "Snare", "Voice"]


def seeded_session(folder: Path, seed: int) -> tuple[Path, NDArray[np.bool_]]:
    """Write a session of one tape; return its sheet and, by sample and track, whether any pass has it right."""
    random = np.random.default_rng(seed)
    tape = make_tape(24, 3, seed=seed)
    count = tape.shape[0]
    right = np.zeros(tape.shape, np.bool_)
    layout = Layout(folder)
    layout.add_reel("A", NAMES)
    reaches = [
        (0, count),
        (0, count),
        (int(random.integers(4, 10)) * RATE, int(random.integers(14, 20)) * RATE),
    ]
    reaches = reaches[: int(random.integers(1, 4))]
    if len(reaches) > 1 and seed % 2:
        reaches[0] = (0, int(random.integers(9, 15)) * RATE)
    weak = [int(place) * RATE for place in random.choice(np.arange(2, 22), 3, replace=False)]
    for number, (low, high) in enumerate(reaches, 1):
        capture = tape[low:high].copy()
        own = [int(place) * RATE + RATE // 2 for place in random.choice(np.arange(2, 22), 3, replace=False)]
        for at in weak + own:
            track = int(random.integers(3))
            start = at - low + int(random.integers(RATE // 8))
            length = int(random.integers(900, 4000))
            if start > RATE and start + length < high - low - RATE:
                # Noise in a stretch that no other pass has sounds like sound: nothing tells it from the tape's own.
                is_lone = sum(a <= at < b for a, b in reaches) == 1
                damage(capture, track, start, length, random, as_noise=not is_lone)
        right[low:high] |= capture == tape[low:high]
        layout.add_pass(f"A{number}", "A", capture, f"01:00:{low // RATE:02}:00")
    return layout.write(), right


def damage(
    capture: Int32s, track: int, start: int, length: int, random: np.random.Generator, *, as_noise: bool
) -> None:
    """Put one flaw into a capture: a mute, or a burst."""
    if not as_noise or random.random() < 0.5:
        capture[start : start + length, track] = 0
    else:
        capture[start : start + length, track] = random.integers(-20000, 20000, length)


def shifted(log: Path, seconds: float) -> None:
    """Let the messages of a log come later: its file begins with the recorder, not with the timecode."""
    data = log.read_bytes()
    at = data.index(b"MTrk") + 8
    # 960 ticks a beat at 120 beats a minute: a text event, far behind, moves all that follows (Standard MIDI File 1.0).
    ticks = round(seconds * 1920)
    gap = bytes([0x80 | ticks >> 7, ticks & 0x7F]) + b"\xff\x01\x00"
    size = int.from_bytes(data[at - 4 : at]) + len(gap)
    log.write_bytes(data[: at - 4] + size.to_bytes(4) + gap + data[at:])


def in_rolls(rolls: list[dict[str, Any]], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return by sample and track whether a roll plays it for that track."""
    asked = np.zeros(shape, np.bool_)
    for roll in rolls:
        asked[roll["start"] - HOUR : roll["end"] - HOUR, roll["tracks"]] = True
    return asked


@pytest.mark.parametrize("seed", range(1, 9))
def test_rolls_are_what_no_pass_has_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], seed: int
) -> None:
    """Every sample that no pass has right lies in a roll of its track, and no roll is without one."""
    sheet, right = seeded_session(tmp_path, seed)
    status, found = run_json(capsys, "retakes", sheet)
    asked = in_rolls(found["rolls"], right.shape)
    assert not np.any(~right & ~asked)
    for roll in found["rolls"]:
        # At its ends a sample of a flaw may be the tape's by chance.
        wrong = ~right[roll["start"] - HOUR : roll["end"] - HOUR]
        assert wrong[:, roll["tracks"]].any(axis=0).all(), roll
        assert wrong[:8].any(), roll
        assert wrong[-8:].any(), roll
    assert status == (1 if (~right).any() else 0)
    assert found["reels"][0]["may_come_off"] == (status == 0)


def one_reel(
    folder: Path, *passes: tuple[Int32s, str], names: list[str] | None = None, more: str = ""
) -> Path:
    """Write a session of one tape from captures and the labels that they begin with."""
    layout = Layout(folder, more=more)
    layout.add_reel("A", names or NAMES[: passes[0][0].shape[1]])
    for number, (samples, start) in enumerate(passes, 1):
        layout.add_pass(f"A{number}", "A", samples, start)
    return layout.write()


def muted(tape: Int32s, start: int, end: int, tracks: slice | int = slice(None)) -> Int32s:
    """Return a capture that is cut to silence somewhere."""
    capture = tape.copy()
    capture[start:end, tracks] = 0
    return capture


def test_what_no_pass_covers_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Between two passes that do not meet: rolled to five seconds before, to the frame."""
    tape = make_tape(20)
    sheet = one_reel(tmp_path, (tape[: 9 * RATE], "01:00:00:00"), (tape[12 * RATE :], "01:00:12:00"))
    status, found = run_json(capsys, "retakes", sheet)
    (roll,) = found["rolls"]
    assert status == 1
    assert (roll["roll_to"], roll["from"], roll["to"]) == ("01:00:04:00", "01:00:09:00", "01:00:12:00")
    assert (roll["start"], roll["end"]) == (HOUR + 9 * RATE, HOUR + 12 * RATE)
    assert (roll["reel"], roll["tracks"], roll["kinds"], roll["plays"]) == ("A", [0, 1], ["missing"], 0)
    (reel,) = found["reels"]
    assert (reel["may_come_off"], reel["rolls"], reel["seconds"]) == (False, 1, 8.0)
    assert reel["states"]["missing"] == pytest.approx(3 / 20)
    assert sum(reel["states"].values()) == pytest.approx(1)


def test_two_passes_alike_let_the_tape_come_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is to be played, with --once neither."""
    tape = make_tape(8)
    sheet = one_reel(tmp_path, (tape, "01:00:00:00"), (tape, "01:00:00:00"))
    for arguments in ([], ["--once"]):
        status, found = run_json(capsys, "retakes", sheet, *arguments)
        assert (status, found["rolls"]) == (0, [])
        assert found["reels"][0]["may_come_off"]
        assert found["reels"][0]["states"]["proven"] == 1


def test_once_asks_for_what_one_pass_has(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without it, what was seen once only is no reason to wear the tape."""
    tape = make_tape(12)
    sheet = one_reel(tmp_path, (tape, "01:00:00:00"), (tape[: 8 * RATE], "01:00:00:00"))
    assert run_json(capsys, "retakes", sheet)[0] == 0
    status, found = run_json(capsys, "retakes", sheet, "--once", "--pre-roll", 2)
    (roll,) = found["rolls"]
    assert (status, roll["kinds"], roll["plays"]) == (1, ["seen_once"], 1)
    assert (roll["roll_to"], roll["from"], roll["to"]) == ("01:00:06:00", "01:00:08:00", "01:00:12:00")


def test_near_places_are_one_roll(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A stop of two seconds and the pre-roll cost more tape than to play on; places farther apart are two rolls."""
    tape = make_tape(24, seed=3)
    capture = muted(muted(tape, 4 * RATE, 4 * RATE + 3000, 0), 10 * RATE, 10 * RATE + 3000, 1)
    capture = muted(capture, 20 * RATE, 20 * RATE + 3000, 0)
    sheet = one_reel(tmp_path, (capture, "01:00:00:00"))
    for pre_roll, places in (
        (5, [(4, 10, [0, 1]), (20, 20, [0])]),
        (3, [(4, 4, [0]), (10, 10, [1]), (20, 20, [0])]),
    ):
        _, found = run_json(capsys, "retakes", sheet, "--pre-roll", pre_roll)
        assert [(r["start"], r["end"], r["tracks"]) for r in found["rolls"]] == [
            (HOUR + a * RATE, HOUR + b * RATE + 3000, tracks) for a, b, tracks in places
        ]
        assert found["reels"][0]["rolls"] == len(places)
        assert found["reels"][0]["seconds"] == pytest.approx(
            sum(b - a + 3000 / RATE + pre_roll for a, b, _ in places), abs=1e-3
        )


def test_what_two_more_plays_did_not_cure_points_at_the_tape(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """After a third play of a bad place the list says that more plays wear it; after a second it does not."""
    tape = make_tape(10, seed=5)
    bad = muted(tape, 5 * RATE, 5 * RATE + 2400, 0)
    for plays in (2, 3):
        folder = tmp_path / str(plays)
        sheet = one_reel(folder, *[(bad, "01:00:00:00")] * plays)
        _, found = run_json(capsys, "retakes", sheet)
        (roll,) = found["rolls"]
        assert (roll["plays"], roll["kinds"]) == (plays, ["mute"])
        assert ("points at the tape" in roll["why"]) == (plays == 3)
        assert [one["pass"] for one in roll["passes"]] == [f"A{n + 1}" for n in range(plays)]
        assert all("silence (Kick)" in one["text"] for one in roll["passes"])


def test_what_one_of_many_plays_has_right_was_not_played_in_vain(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two plays have a mute that the third cured: seen once, as --once says, and nothing points at the tape."""
    tape = make_tape(10, seed=5)
    bad = muted(tape, 5 * RATE, 5 * RATE + 2400, 0)
    sheet = one_reel(tmp_path, *[(one, "01:00:00:00") for one in (bad, bad, tape)])
    found = run_json(capsys, "retakes", sheet, "--once")[1]
    for roll in found["rolls"]:
        assert roll["kinds"] != ["seen_once"] or "points at the tape" not in roll["why"]
    other = tape.copy()
    other[5 * RATE : 5 * RATE + 2400, 0] = 900
    sheet = one_reel(tmp_path / "two", *[(one, "01:00:00:00") for one in (bad, other, tape)])
    found = run_json(capsys, "retakes", sheet, "--once")[1]
    (roll,) = found["rolls"]
    assert (roll["kinds"], roll["plays"]) == (["seen_once"], 3)
    assert "points at the tape" not in roll["why"]


def test_an_undecided_place_asks_for_a_roll_until_it_is_accepted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Passes differ and nothing tells which is right: that is listed for a person, and so is the roll."""
    tape = make_tape(10, seed=7)
    other = tape.copy()
    other[5 * RATE : 5 * RATE + 300, 0] += 3
    passes = (tape, "01:00:00:00"), (other, "01:00:00:00")
    sheet = one_reel(tmp_path / "open", *passes)
    status, found = run_json(capsys, "retakes", sheet)
    (roll,) = found["rolls"]
    assert status == 1
    assert (roll["start"] - HOUR - 5 * RATE, roll["end"] - HOUR - 5 * RATE) == (0, 300)
    assert (roll["tracks"], roll["plays"]) == ([0], 2)
    assert "undecided" in roll["kinds"]
    signed = """
[[accepted]]
reel = "A"
start = "01:00:04:15"
end = "01:00:05:15"
tracks = ["Kick"]
reason = "listened to, A1 is right"
by = "N. N."
"""
    status, found = run_json(capsys, "retakes", one_reel(tmp_path / "signed", *passes, more=signed))
    assert (status, found["rolls"]) == (0, [])
    assert found["reels"][0]["may_come_off"]


def test_what_was_never_recorded_is_neither_missing_nor_flawed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A person says so in the sheet, and no roll is asked for."""
    tape = make_tape(20)
    passes = (tape[: 9 * RATE], "01:00:00:00"), (tape[12 * RATE :], "01:00:12:00")
    more = '[[unrecorded]]\nreel = "A"\nstart = "01:00:08:00"\nend = "01:00:13:00"\n'
    status, found = run_json(capsys, "retakes", one_reel(tmp_path, *passes, more=more))
    assert (status, found["rolls"]) == (0, [])
    states = found["reels"][0]["states"]
    assert (states["missing"], states["flawed"]) == (0, 0)


def test_labels_of_drop_frame_and_past_midnight(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One second before the day's end to three behind it, in 29.97 drop frame, rolled to across midnight.

    Source of the labels: SMPTE ST 12-1, drop-frame compensation (00:01:00;00 and ;01 do not exist).
    """
    tape = make_tape(20, seed=9)
    layout = Layout(tmp_path, frame_rate="29.97df")
    layout.add_reel("A", ["Kick", "Snare"])
    capture = muted(tape, 12 * RATE, 12 * RATE + 4800)
    layout.add_pass("A1", "A", capture, "23:59:50;00")
    _, found = run_json(capsys, "retakes", layout.write())
    (roll,) = found["rolls"]
    # 12 s are 359.64 frames, 300 of them before midnight; 5 s earlier are 209.79 frames behind 23:59:50;00.
    assert (roll["roll_to"], roll["from"], roll["to"]) == ("23:59:56;29", "00:00:01;29", "00:00:02;03")
    minute = Layout(tmp_path / "minute", frame_rate="29.97df")
    minute.add_reel("A", ["Kick", "Snare"])
    minute.add_pass("A1", "A", muted(tape, 10 * RATE + 480, 10 * RATE + 4800), "00:00:50;00")
    _, found = run_json(capsys, "retakes", minute.write())
    # 480480 samples are 300 frames; the labels 00:01:00;00 and ;01 do not exist.
    assert (found["rolls"][0]["from"], found["rolls"][0]["to"]) == ("00:01:00;02", "00:01:00;05")


def test_a_pre_roll_ends_at_the_beginning_of_the_day(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """There is no timecode before 00:00:00:00 to roll to."""
    tape = make_tape(8, seed=11)
    sheet = one_reel(tmp_path, (muted(tape, 2 * RATE, 2 * RATE + 4800), "00:00:00:00"))
    _, found = run_json(capsys, "retakes", sheet)
    (roll,) = found["rolls"]
    assert (roll["roll_to"], roll["from"], roll["seconds"]) == ("00:00:00:00", "00:00:02:00", 2.1)


def test_labels_are_those_that_the_machine_shows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A tape whose timecode the sheet moves is rolled to by its own."""
    tape = make_tape(8, seed=11)
    sheet = one_reel(tmp_path, (muted(tape, 6 * RATE, 6 * RATE + 4800), "01:10:00:00"))
    sheet.write_text(
        sheet.read_text().replace('name = "A"', 'name = "A"\ntimecode_offset = "-00:10:00:00"', 1)
    )
    _, found = run_json(capsys, "retakes", sheet)
    (roll,) = found["rolls"]
    assert (roll["start"], roll["from"]) == (HOUR + 6 * RATE, "01:10:06:00")


def test_silence_before_a_machine_locks_is_nobodys_flaw(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A recorder that runs before the timecode does and after it: not covered, no flaw, in no pass and no roll."""
    tape = make_tape(16, seed=13)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Kick", "Snare"])
    idle = np.zeros((3 * RATE, 2), np.int32)
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    middle = tape[6 * RATE : 10 * RATE]
    layout.add_pass("A2", "A", np.concatenate((idle, middle, idle)), HOUR + 3 * RATE)
    log = tmp_path / "captures" / "A2" / "timecode.mid"
    write_log(log, 3606 * 30, 4.0, seed=2)
    shifted(log, 3.0)
    sheet = layout.write()
    status, checked = run_json(capsys, "check", sheet)
    assert [one["flaws"] for one in checked["passes"]] == [[], []]
    assert status == 0
    _, found = run_json(capsys, "retakes", sheet, "--once")
    # The four seconds in between are one roll with what lies before and behind: less than a stop and a pre-roll.
    assert [(r["from"], r["to"], r["plays"]) for r in found["rolls"]] == [("01:00:00:00", "01:00:16:00", 1)]
    assert found["reels"][0]["states"]["proven"] == pytest.approx(4 / 16, abs=1e-3)


def test_idle_ends_where_no_other_pass_sounds_are_not_covered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a lone pass the silence before and behind is left out; silence inside of it is the tape's."""
    tape = make_tape(10, seed=17)
    idle = np.zeros((2 * RATE, 2), np.int32)
    sheet = one_reel(tmp_path, (np.concatenate((idle, tape, idle)), "01:00:00:00"))
    _, checked = run_json(capsys, "check", sheet)
    (track, _) = checked["reels"][0]["states"]
    assert [(one["start"], one["end"], one["state"]) for one in track["stretches"]] == [
        (HOUR + 2 * RATE, HOUR + 12 * RATE, "seen_once")
    ]


def test_a_folder_is_drafted_in_memory(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is written, and the same is asked for as with the sheet that draft writes."""
    tape = make_tape(14, seed=19)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Kick", "Snare"])
    layout.add_pass("A1", "A", muted(tape, 7 * RATE, 7 * RATE + 4800), HOUR)
    before = sorted(tmp_path.rglob("*"))
    status, found = run_json(capsys, "retakes", tmp_path)
    assert (status, len(found["rolls"])) == (1, 1)
    assert sorted(tmp_path.rglob("*")) == before


def test_the_page_is_written_safely(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One file with a box for each roll, no markup of anybody else's; never over a file that is there."""
    tape = make_tape(8, seed=11)
    evil = "<script>x</script>"
    sheet = one_reel(
        tmp_path, (muted(tape, 6 * RATE, 6 * RATE + 4800, 0), "01:00:00:00"), names=[evil, "Snare"]
    )
    page = tmp_path / "list.html"
    assert run(["retakes", str(sheet), "--page", str(page)]) == 1
    printed = capsys.readouterr().out
    text = page.read_text(encoding="utf-8")
    assert text.count('class="box"') == 1
    assert "01:00:06:00" in text
    assert evil not in text
    assert "&lt;script&gt;" in text
    assert "roll to 01:00:01:00, play 01:00:06:00 to 01:00:06:03" in printed
    assert "Reel A: not yet: 1 roll, 5.1 s to play" in printed
    assert f"{evil} (track 1)" in printed
    assert run(["retakes", str(sheet), "--page", str(page)]) == 2
    assert page.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("value", ["-1", "nan", "inf", "601", "five"])
def test_a_pre_roll_that_is_none_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], value: str
) -> None:
    """A plain line, status 2."""
    assert run(["retakes", str(tmp_path), "--pre-roll", value]) == 2
    assert "--pre-roll" in capsys.readouterr().err


def test_places_to_listen_to_change_neither_sound_nor_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the list and without it a set has the same samples, joins and verdict; only states say suspect."""
    rng = np.random.default_rng(9)
    sound = np.rint(2000 * np.sin(0.05 * np.arange(6 * RATE)) + rng.normal(0, 40, 6 * RATE)).astype(np.int32)
    sound[130_900:] //= 6
    sound[130_000:130_900] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    for name in ("A1", "A2"):
        layout.add_pass(name, "A", sound[:, np.newaxis], HOUR)
    sheet = layout.write()
    status, found = run_json(capsys, "retakes", sheet)
    assert status == 0
    assert found["rolls"] == []
    assert [(one["start"], one["kind"]) for one in found["suspects"]] == [(HOUR + 130_000, "mute")]
    words = found["reels"][0]["words"]
    assert "0.3% of it may be flawed, to be listened to (--once lists it" in words
    assert "seen once only" not in words
    with_list = run_json(capsys, "build", sheet, "-o", tmp_path / "with", "--no-cache")
    monkeypatch.setattr("assembler.aligner.states.track.places_to_listen_to", lambda *_: ())
    without = run_json(capsys, "build", sheet, "-o", tmp_path / "without", "--no-cache")
    assert (with_list[0], without[0]) == (0, 0)
    for name in ("tracks/01_One.wav", "joins.csv", "timeline.otio"):
        assert (tmp_path / "with/data" / name).read_bytes() == (tmp_path / "without/data" / name).read_bytes()
    states = [one[1]["reels"][0].pop("states") for one in (with_list, without)]
    assert states[0] != states[1]
    for one in (with_list[1], without[1]):
        del one["set"]
    assert with_list[1] == without[1]
