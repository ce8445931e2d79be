"""Rolls on examples worked by hand, from states alone: no capture is read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from assembler.aligner import Edit, TimeMap
from assembler.aligner.records.timemap import Stretch
from assembler.retakes import find_retakes, retakes_json, retakes_lines, retakes_page
from assembler.sheet import Sheet, parse_sheet
from assembler.verdict.states import State, StateStretch, Suspect, TrackStates

RATE = 48000
HOUR = 3600 * RATE
PROVEN, ONCE, SUSPECT, FLAWED, MISSING = State


def sheet_of(*tracks: str, frame_rate: str = "30", more: str = "") -> Sheet:
    """Return a sheet of one reel A and its pass A1."""
    text = f"""
[session]
title = "Rolls"
sample_rate = {RATE}
bit_depth = 16
frame_rate = "{frame_rate}"
[[reel]]
name = "A"
tracks = [{", ".join(f'"{track}"' for track in tracks)}]
{more}
[[pass]]
name = "A1"
reel = "A"
audio = "a.wav"
"""
    return parse_sheet(text.encode(), path=None, folder=Path())


def edit_of(
    *tracks: list[tuple[float, float, State]], start: int = HOUR, passes: int = 1, length: float = 60
) -> Edit:
    """Return an edit with the states of some tracks, in seconds from its start, and passes that played all of it."""

    def at(seconds: float) -> int:
        return start + round(seconds * RATE)

    states = tuple(
        TrackStates(track, tuple(StateStretch(at(a), at(b), state) for a, b, state in own))
        for track, own in enumerate(tracks)
    )
    whole = TimeMap((Stretch(0, round(length * RATE), start),))
    aligned = [
        SimpleNamespace(
            imported=SimpleNamespace(name=f"A{number + 1}", reel="A"), time_map=whole, flaws=(), idle=()
        )
        for number in range(passes)
    ]
    track = SimpleNamespace(track=SimpleNamespace(tape_tracks={"A": 0}), spans=())
    return Edit(
        start, round(length * RATE), cast("Any", aligned), cast("Any", (track,)), (), (), {}, {"A": states}
    )


def rolls(sheet: Sheet, edit: Edit, **options: Any) -> list[dict[str, Any]]:  # noqa: ANN401 - passed on
    """Return the rolls as scripts read them."""
    found: list[dict[str, Any]] = retakes_json(find_retakes(sheet, edit, **options))["rolls"]
    return found


def test_the_example_of_the_contract() -> None:
    """10.4 s from 01:00:23:00 at 30 frames, five seconds of pre-roll: 15.4 s of tape."""
    edit = edit_of([(0, 23, PROVEN), (23, 33.4, FLAWED), (33.4, 60, PROVEN)])
    record = retakes_json(find_retakes(sheet_of("Kick"), edit))
    (roll,) = record["rolls"]
    assert (roll["roll_to"], roll["from"], roll["to"]) == ("01:00:18:00", "01:00:23:00", "01:00:33:12")
    assert (roll["start"], roll["end"], roll["tracks"]) == (173904000, 174403200, [0])
    assert (record["reels"][0]["rolls"], record["reels"][0]["seconds"]) == (1, 15.4)


def test_a_place_within_a_frame_is_played_to_the_next() -> None:
    """It begins and ends in the middle of frames: rolled out to whole ones."""
    edit = edit_of([(0, 10.05, PROVEN), (10.05, 10.06, FLAWED), (10.06, 60, PROVEN)])
    (roll,) = rolls(sheet_of("Kick"), edit)
    assert (roll["from"], roll["to"]) == ("01:00:10:01", "01:00:10:02")


@pytest.mark.parametrize(("gap", "count"), [(6.9, 1), (7.0, 2)])
def test_joined_where_playing_on_costs_less_than_a_stop_and_a_pre_roll(gap: float, count: int) -> None:
    """Two seconds and five: at seven both cost the same, and the tape rests."""
    edit = edit_of([(0, 10, PROVEN), (10, 11, FLAWED), (11, 11 + gap, PROVEN), (11 + gap, 20, MISSING)])
    found = rolls(sheet_of("Kick"), edit)
    assert len(found) == count
    assert [roll["kinds"] for roll in found][-1][-1] == "missing"


def test_places_of_several_tracks_are_one_roll_with_all_of_them() -> None:
    """A long place on one track reaches over short ones on another."""
    edit = edit_of(
        [(0, 10, PROVEN), (10, 40, FLAWED), (40, 60, PROVEN)],
        [(0, 60, PROVEN)],
        [(0, 12, PROVEN), (12, 13, MISSING), (13, 45, PROVEN), (45, 46, MISSING), (46, 60, PROVEN)],
    )
    (roll,) = rolls(sheet_of("Kick", "Snare", "Voice"), edit)
    assert (roll["from"], roll["to"], roll["tracks"]) == ("01:00:10:00", "01:00:46:00", [0, 2])


def test_the_set_bounds_what_is_asked_for() -> None:
    """What lies before the set's first sample or behind its last needs no play."""
    edit = edit_of([(-10, 5, MISSING), (5, 55, PROVEN), (55, 90, FLAWED)])
    found = rolls(sheet_of("Kick"), edit)
    assert [(roll["from"], roll["to"]) for roll in found] == [
        ("01:00:00:00", "01:00:05:00"),
        ("01:00:55:00", "01:01:00:00"),
    ]


def test_suspects_are_told_apart_and_ask_for_a_play_only_with_once() -> None:
    """They change no roll and no verdict."""
    edit = edit_of([(0, 10, PROVEN), (10, 11, SUSPECT), (11, 60, PROVEN)])
    edit = replace(edit, suspects=(Suspect("A", HOUR + 480000, HOUR + 528000, (0,), "means", 3.14),))
    retakes = find_retakes(sheet_of("Kick"), edit)
    assert retakes.is_done
    assert retakes_json(retakes)["suspects"] == [
        {
            "reel": "A",
            "start": HOUR + 480000,
            "end": HOUR + 528000,
            "tracks": [0],
            "kind": "means",
            "odds": 3.1,
            "timecode": "01:00:10:00",
        }
    ]
    assert any("01:00:10:00" in line for line in retakes_lines(retakes))
    assert "01:00:10:00" in retakes_page(retakes)
    assert [roll["kinds"] for roll in rolls(sheet_of("Kick"), edit, once=True)] == [["suspect"]]


def test_a_tape_without_a_pass_that_can_be_used_stays_on() -> None:
    """Nothing of it is saved for certain."""
    edit = replace(edit_of([(0, 60, PROVEN)]), states={"A": ()})
    retakes = find_retakes(sheet_of("Kick"), edit)
    assert not retakes.is_done
    assert "none of its passes can be used" in retakes_lines(retakes)[1]


@pytest.mark.parametrize(
    ("offset", "start", "labels"),
    [
        ("00:10:00:00", HOUR, ("00:50:05:00", "00:50:10:00")),
        ("-00:10:00:00", HOUR, ("01:10:05:00", "01:10:10:00")),
        ("00:00:12:00", 12 * RATE, ("00:00:05:00", "00:00:10:00")),
        ("00:00:20:00", 12 * RATE, ("00:00:00:00", "00:00:02:00")),
    ],
)
def test_labels_are_the_tapes_own(offset: str, start: int, labels: tuple[str, str]) -> None:
    """The sheet's offset is taken off again; before the tape's 00:00:00:00 there is nothing to roll to."""
    sheet = sheet_of("Kick", more=f'timecode_offset = "{offset}"')
    edit = edit_of([(0, 10, PROVEN), (10, 11, FLAWED), (11, 60, PROVEN)], start=start)
    (roll,) = rolls(sheet, edit)
    assert (roll["roll_to"], roll["from"]) == labels
