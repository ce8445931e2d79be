"""Transfer notes in words, and the cautions they draw.

What counts as seen (baking near 54 °C, 130 °F; warming near 38 °C, 101 °F) is common practice, no source; that
130 °F is 54.4 °C and 101 °F is 38.3 °C follows from the definition of the scale.
"""

from __future__ import annotations

import datetime as dt

import pytest

from assembler.sheet import preparation_cautions, preparation_words, reel_cautions


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


@pytest.mark.parametrize(
    "text",
    [
        "baked at 54 C for 6 h",
        "Pre-baked, then cleaned",
        "dried in the oven over night",
        "oven-dried",
        "8 hours at 130F in a fruit dehydrator",
        "incubator, 54 °C",
        "heat-treated by the archive before it came here",
        "not cleaned. Baked twice",
        "kept at 54 degrees for a night",
        "bei 54 °C gebacken",
        "6 h à l'étuve",
    ],
)
def test_heat_in_a_text_draws_a_caution(text: str) -> None:
    """Whatever the key: transfer notes are written in free words."""
    (caution,) = preparation_cautions({"notes": text})
    assert caution.startswith(f"notes: {text}: what was done, not advice; not every tape may be heated; ")


def test_unusual_heat_in_a_text_says_so() -> None:
    """A temperature in words is weighed as one under a key is."""
    (caution,) = preparation_cautions({"notes": "baked at 80 C for 6 h"})
    assert "80 C for 6 h: outside what this program has seen; what was done, not advice; " in caution


@pytest.mark.parametrize(
    "text",
    [
        "no heat used",
        "not baked",
        "was never even warmed",
        "without any baking",
        "stored at 18 °C and 35 % humidity",
        "played at room temperature, 68 F",
        "cleaned with a dry cloth",
        "reel 54, side C",
    ],
)
def test_a_text_without_heat_draws_no_caution(text: str) -> None:
    """What a note denies, and what rooms have."""
    assert preparation_cautions({"notes": text}) == []


def test_scales_that_disagree_are_told() -> None:
    """Two scales of one thermometer."""
    (caution,) = preparation_cautions({"baked_c": 52, "baked_f": 135})
    assert "the two scales do not agree" in caution


def test_reels_that_draw_one_caution_share_it() -> None:
    """Tapes are treated by the box: the words stand once, with all their reels; another treatment stands by itself."""
    alike, other = {"oven": "overnight", "machine": "unit 2"}, {"baked_c": 80}
    told = reel_cautions([("A", alike), ("B", other), ("C", {**alike, "machine": "unit 1"}), ("D", {})])
    assert [text.partition(": ")[0] for text in told] == ["reels A, C", "reel B"]
    assert [text.partition(": ")[2] for text in told] == [
        *preparation_cautions(alike),
        *preparation_cautions(other),
    ]
