"""The timeline runs on past 24:00:00:00: passes, start and end, punches and plans on both sides of midnight."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.consolidator import check_session
from assembler.timecode import frame_rate, nearest_day, next_after, parse_label
from assembler.wave import BroadcastExtension, PcmFormat, encode_bext, pack_samples, wave_header
from tests.support.sessions import RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]

DAY = 86400 * RATE


def at(label: str) -> int:
    """Return the sample of a label on the first day, at 30 frames a second."""
    return parse_label(label, frame_rate("30")) * RATE // 30


def two_passes(folder: Path, first: str, second: str, **session: str) -> tuple[Layout, Int32s]:
    """Two reels of one track each, two seconds each; the tape of the second is given back."""
    tapes = make_tape(2, 1, seed=3), make_tape(2, 1, seed=4)
    layout = Layout(folder, session=dict(session))
    for name, track, tape, label in (("A", "One", tapes[0], first), ("B", "Two", tapes[1], second)):
        layout.add_reel(name, [track])
        layout.add_pass(f"{name}1", name, tape, label)
    return layout, tapes[1]


@pytest.mark.parametrize(
    ("labels", "session", "start", "length"),
    [
        # All that was captured lies behind midnight, and the set is to begin before it.
        (("00:00:01:00", "00:00:02:00"), {"start": "23:59:58:00", "end": "00:00:05:00"}, "23:59:58:00", 7),
        (("00:00:01:00", "00:00:02:00"), {"start": "23:59:58:00"}, "23:59:58:00", 6),
        # All of it lies before midnight, and the set is to end behind.
        (("23:59:50:00", "23:59:55:00"), {"end": "00:00:05:00"}, "23:59:50:00", 15),
        # Captured on both sides; the set begins, or ends, in either part.
        (("23:59:58:00", "00:00:01:00"), {"start": "00:00:00:00"}, "00:00:00:00", 3),
        (("23:59:58:00", "00:00:01:00"), {"end": "23:59:59:00"}, "23:59:58:00", 1),
        (("23:59:58:00", "00:00:01:00"), {"end": "00:00:00:00"}, "23:59:58:00", 2),
        # A session of nearly half a day: what is nearer to its start is not always what belongs to it.
        (("13:50:00:00", "01:49:00:00"), {"end": "01:50:10:00"}, "13:50:00:00", 43210),
        (
            ("14:00:00:00", "01:51:00:00"),
            {"start": "14:00:00:00", "end": "01:52:00:00"},
            "14:00:00:00",
            42720,
        ),
        # None of this is a session over midnight.
        (("01:00:00:00", "13:00:00:00"), {"start": "00:59:59:00", "end": "01:00:01:00"}, "00:59:59:00", 2),
    ],
)
def test_start_and_end_lie_on_the_sessions_own_day(
    tmp_path: Path,
    capsys: Capsys,
    labels: tuple[str, str],
    session: dict[str, str],
    start: str,
    length: int,
) -> None:
    """Every pass lies within the set that the sheet describes, as does its beginning and end."""
    layout, _ = two_passes(tmp_path, *labels, **session)
    _, record = run_json(capsys, "check", layout.write())
    assert record["start"]["timecode"] == start
    assert record["length"] == length * RATE
    inside = [span["pass"] for track in record["tracks"] for span in track["spans"] if span["pass"]]
    assert inside


def test_captures_after_midnight_fill_a_set_that_begins_before(tmp_path: Path, capsys: Capsys) -> None:
    """What is delivered stands where its labels say: three seconds behind the set's first sample, not a day off."""
    layout, tape = two_passes(tmp_path, "00:00:00:00", "00:00:01:00", start="23:59:58:00", end="00:00:04:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    assert record["start"]["sample"] == at("23:59:58:00")
    out = delivered(tmp_path / "set")
    assert out.shape[0] == 6 * RATE
    assert np.array_equal(out[3 * RATE : 5 * RATE, 1], tape[:, 0])
    assert not out[: 2 * RATE].any()
    assert run(["verify", str(tmp_path / "set"), "--against", str(tmp_path / "session.toml")]) == 0


@pytest.mark.parametrize(
    ("first", "punch", "expected"),
    [
        # Across midnight, and all of it behind, half a day after the set's first sample.
        ("23:59:59:00", ("23:59:59:15", "00:00:00:15"), (0.5, 1.5)),
        ("23:59:59:00", ("00:00:00:00", "00:00:00:15"), (1, 1.5)),
        ("00:00:00:15", ("00:00:01:00", "00:00:01:15"), (0.5, 1)),
    ],
)
def test_punches_and_plans_follow_over_midnight(
    tmp_path: Path, capsys: Capsys, first: str, punch: tuple[str, str], expected: tuple[float, float]
) -> None:
    """A punch, and the same as a plan, take the very samples that their labels name, on the day of the set."""
    tape = make_tape(3, 1)
    layout = Layout(tmp_path, session={"start": "12:05:00:00", "end": "00:00:04:00"})
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, first)
    layout.add_pass("A2", "A", tape, first)
    fade = '[repair]\nmode = "listed"\nfade_ms = 0\n'
    punched = f'[[punch]]\nreel = "A"\npass = "A2"\nstart = "{punch[0]}"\nend = "{punch[1]}"\n'
    layout.more = fade + punched
    _, record = run_json(capsys, "check", layout.write())
    shift = at(first) + (DAY if first.startswith("00") else 0) - at("12:05:00:00")
    wanted = [(shift + round(place * RATE)) for place in expected]
    by_punch = [(s["start"], s["end"]) for s in record["tracks"][0]["spans"] if s["pass"] == "A2"]
    assert by_punch == [tuple(wanted)]
    layout.more = fade
    plan = tmp_path / "plan.toml"
    end = "00:00:03:15" if first.startswith("00") else "00:00:02:00"
    places = ((first, "A1"), (punch[0], "A2"), (punch[1], "A1"), (end, ""))
    takes = ",\n".join(f'{{ at = "{place}", pass = "{name}" }}' for place, name in places)
    plan.write_text(f'format = 1\n[[track]]\nname = "One"\ntake = [{takes}]\n')
    tracks = check_session(layout.write(), plan=plan).edit.tracks
    assert [(s.start, s.end) for s in tracks[0].spans if s.pass_name == "A2"] == [tuple(wanted)]


def test_days_are_chosen_by_what_lies_nearest() -> None:
    """By arithmetic: inside the stretch before all, else the nearer day; an end is the first one behind its start."""
    assert nearest_day(at("00:10:00:00"), at("23:00:00:00"), DAY + at("01:00:00:00"), DAY) == DAY + at(
        "00:10:00:00"
    )
    assert nearest_day(at("22:50:00:00"), at("23:00:00:00"), DAY + at("01:00:00:00"), DAY) == at(
        "22:50:00:00"
    )
    assert nearest_day(at("01:10:00:00"), at("23:00:00:00"), DAY + at("01:00:00:00"), DAY) == DAY + at(
        "01:10:00:00"
    )
    assert nearest_day(at("01:10:00:00"), at("01:00:00:00"), at("02:00:00:00"), DAY) == at("01:10:00:00")
    assert next_after(at("00:01:00:00"), at("23:59:00:00"), DAY) == DAY + at("00:01:00:00")
    assert next_after(at("00:01:00:00"), DAY + at("00:02:00:00"), DAY) == 2 * DAY + at("00:01:00:00")
    assert next_after(at("01:00:00:00"), at("00:59:00:00"), DAY) == at("01:00:00:00")


def test_an_empty_set_is_told_in_timecode(tmp_path: Path, capsys: Capsys) -> None:
    """A set that would end before it begins: the line, the key, and what the passes cover, as labels."""
    layout, _ = two_passes(tmp_path, "01:00:00:00", "01:00:01:00", end="00:59:00:00")
    assert run(["check", str(layout.write())]) == 2
    (told,) = capsys.readouterr().err.splitlines()
    assert 'session.toml: line 6: session.end: found "00:59:00:00", so that the set would be empty' in told
    assert "allowed: a label within what the passes cover, 01:00:00:00 to 01:00:03:00" in told


def test_a_time_reference_past_all_days_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """Samples since midnight (EBU Tech 3285, TimeReference) that no timeline can hold: file, found, allowed."""
    samples = make_tape(1, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", samples, "x", timecode="bext")
    path = tmp_path / "captures" / "A1" / "01.wav"
    for reference, status in ((2 * DAY - 1, 0), (2 * DAY, 2), (2**64 - 1, 2)):
        bext = encode_bext(BroadcastExtension(time_reference=reference))
        path.write_bytes(
            wave_header(PcmFormat(1, RATE, 16, 16), len(samples), [("bext", bext)])
            + pack_samples(samples, 16)
        )
        assert run(["check", str(layout.write())]) == status
        told = capsys.readouterr().err
        assert status == 0 or f"01.wav: time reference {reference}; allowed: samples since midnight" in told
