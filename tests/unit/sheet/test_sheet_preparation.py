"""Transfer notes in words, and the cautions they draw.

The usual values (baking near 54 °C, 130 °F; warming near 38 °C, 101 °F) are common practice, no source; that
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
        {"machine": "unit 70"},
    ],
)
def test_common_practice_draws_no_caution(prepared: dict[str, object]) -> None:
    """Values near the usual ones, in either scale, are told without a caution."""
    assert preparation_cautions(prepared) == []


@pytest.mark.parametrize(
    ("prepared", "said", "usual"),
    [
        ({"baked_c": 70, "baked_hours": 8}, "baked at 70 °C", "54 °C (130 °F) for hours"),
        ({"baked_c": 130}, "baked at 130 °C", "54 °C (130 °F)"),
        ({"baked_f": 54.4}, "baked at 54.4 °F", "54 °C (130 °F)"),
        ({"baked_c": 54, "baked_hours": 0.25}, "baked for 0.25 h", "for hours"),
        ({"baked_c": 54, "baked_hours": 200}, "baked for 200 h", "for hours"),
        ({"warmed_c": 54}, "warmed to 54 °C", "38 °C (101 °F) just before play"),
        ({"warmed_f": 38}, "warmed to 38 °F", "38 °C (101 °F)"),
        ({"baked_c": 52, "baked_f": 135}, "the two scales do not agree", "54 °C (130 °F)"),
    ],
)
def test_unusual_values_draw_a_caution(prepared: dict[str, object], said: str, usual: str) -> None:
    """One sentence names the value, the usual one, that no standard gives it, and whom to ask."""
    (caution,) = preparation_cautions(prepared)
    assert said in caution
    assert usual in caution
    assert "common practice and no standard" in caution
    assert "the tape maker and a conservator" in caution
