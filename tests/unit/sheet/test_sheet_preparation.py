"""Transfer notes in words, and the cautions they draw.

What counts as seen (baking near 54 °C, 130 °F; warming near 38 °C, 101 °F) is common practice, no source; that
130 °F is 54.4 °C and 101 °F is 38.3 °C follows from the definition of the scale.
"""

from __future__ import annotations

import datetime as dt

import pytest

from assembler.sheet import preparation_cautions, preparation_words


@pytest.mark.parametrize(
    ("prepared", "words"),
    [
        ({}, []),
        ({"baked_c": 54.4, "baked_hours": 6}, ["baked at 54.4 °C for 6 h"]),
        ({"baked_f": 130}, ["baked at 130 °F"]),
        ({"baked_hours": 7.5}, ["baked for 7.5 h"]),
        ({"baked_c": 54, "baked_f": 130}, ["baked at 54 °C / 130 °F"]),
        ({"machine": "unit 2", "warmed_f": 101}, ["warmed to 101 °F", "machine: unit 2"]),
        ({"error_rate": 0.000_003, "cleaned": True}, ["error rate: 3e-06", "cleaned: yes"]),
        ({"date": dt.date(2024, 3, 9), "at": dt.time(9, 30)}, ["date: 2024-03-09", "at: 09:30:00"]),
        ({"notes": "Crease;\n splice", "operator": ""}, ["notes: Crease; splice"]),
    ],
)
def test_words(prepared: dict[str, object], words: list[str]) -> None:
    """Heat comes first with its unit and hours, the rest as the sheet has it; nothing is said for an empty text."""
    assert preparation_words(prepared) == words


@pytest.mark.parametrize(
    "prepared",
    [
        {"baked_c": 54.4, "baked_hours": 8},
        {"baked_f": 130, "baked_hours": 6},
        {"baked_c": 52},
        {"warmed_c": 38},
        {"warmed_f": 101},
        {"baked_c": 54.4, "baked_f": 130},
        {"baked_hours": 8},
        {"Baked_F": 130},
        {"bake_c": 54},
        {"dried": True},
        {"Warm up": "a lamp"},
        {"ovenHours": 8},
        {"temperature_f": 101},
    ],
)
def test_any_heat_draws_a_caution(prepared: dict[str, object]) -> None:
    """However the key is spelled, it is told as what was done, with whom to ask, and without a figure of our own."""
    (caution,) = preparation_cautions(prepared)
    told, _, words = caution.partition(": what was done, not advice; ")
    assert words == ("not every tape may be heated; ask the tape maker and a conservator, follow local rules")
    assert "outside" not in told


@pytest.mark.parametrize(
    "prepared",
    [
        {},
        {"machine": "unit 70"},
        {"baked": False},
        {"Baked": "no"},
        {"cleaning": "dry cloth", "bakelite": "reel"},
    ],
)
def test_no_heat_draws_no_caution(prepared: dict[str, object]) -> None:
    """Other notes, and a treatment that a note denies."""
    assert preparation_cautions(prepared) == []


@pytest.mark.parametrize(
    ("prepared", "said"),
    [
        ({"baked_c": 70, "baked_hours": 8}, "baked at 70 °C for 8 h"),
        ({"baked_c": 40, "baked_hours": 8}, "baked at 40 °C for 8 h"),
        ({"baked_c": 130}, "baked at 130 °C"),
        ({"baked_f": 54.4}, "baked at 54.4 °F"),
        ({"baked_c": 54, "baked_hours": 0.25}, "baked at 54 °C for 0.25 h"),
        ({"baked_c": 54, "baked_hours": 200}, "baked at 54 °C for 200 h"),
        ({"warmed_c": 54}, "warmed to 54 °C"),
        ({"warmed_f": 38}, "warmed to 38 °F"),
        ({"Bake_F": 400}, "Bake F: 400"),
        ({"oven_celsius": 20}, "oven celsius: 20"),
        ({"baked_c": 52, "baked_f": 160}, "baked at 52 °C / 160 °F"),
    ],
)
def test_unusual_values_say_so_in_both_directions(prepared: dict[str, object], said: str) -> None:
    """Less heat than usual is told as more is: neither names a figure that could read as advice to heat more."""
    (caution,) = preparation_cautions(prepared)
    told, _, words = caution.partition(": outside what this program has seen; ")
    assert told == said
    assert words.endswith(
        "what was done, not advice; not every tape may be heated; ask the tape maker and a conservator, "
        "follow local rules"
    )
    assert not any(letter.isdigit() for letter in words)


def test_scales_that_disagree_are_told() -> None:
    """Two scales of one thermometer."""
    (caution,) = preparation_cautions({"baked_c": 52, "baked_f": 135})
    assert "the two scales do not agree" in caution
