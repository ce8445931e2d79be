"""Transfer notes: what was done to a tape before it was played, in words, and where that calls for caution.

A reel's ``prepared`` table has free keys. Those that are known here are put in words: ``baked_c`` or ``baked_f``
(temperature), ``baked_hours``, ``warmed_c`` or ``warmed_f``. Every other one is told as it stands.

The usual values are common practice, no source: baking near 54 °C (130 °F) for hours, warming near 38 °C (101 °F)
just before a tape is played. Nothing here recommends either.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeGuard

if TYPE_CHECKING:
    from collections.abc import Mapping

_FORBEARANCE: Final = (
    "that is common practice and no standard, and heat can ruin a tape: ask the tape maker and a conservator"
)
_SAME_TEMPERATURE_C: Final = 1.0
"""Two scales that were read off one thermometer agree within this, in degrees Celsius."""


@dataclass(frozen=True)
class _Treatment:
    """A treatment by heat: its keys, its words, and the range that counts as near the usual, in °C."""

    key: str
    words: str
    lowest_c: float
    highest_c: float
    usual: str


# Three degrees to either side of the usual is what domestic ovens and dryers hold at best (common practice, no source).
_BAKING = _Treatment("baked", "baked at", 51.0, 57.5, "near 54 °C (130 °F) for hours")
_WARMING = _Treatment("warmed", "warmed to", 35.0, 41.5, "near 38 °C (101 °F) just before play")
_TREATMENTS: Final = (_BAKING, _WARMING)
# "For hours": from one hour to a day and a half.
_FEWEST_HOURS: Final = 1.0
_MOST_HOURS: Final = 36.0


def preparation_words(prepared: Mapping[str, object]) -> list[str]:
    """Return one short remark for each thing that was done, treatments by heat first, the rest in the sheet's order.

    >>> preparation_words({"machine": "unit 2", "baked_c": 54.4, "baked_hours": 6})
    ['baked at 54.4 °C for 6 h', 'machine: unit 2']
    """
    words = []
    told = set()
    for treatment in _TREATMENTS:
        keys = [f"{treatment.key}_c", f"{treatment.key}_f", f"{treatment.key}_hours"]
        told.update(keys)
        temperature = _temperature_words(treatment, prepared)
        hours = prepared.get(keys[2])
        if temperature or hours is not None:
            duration = "" if hours is None else f"for {_shown(hours)} h"
            start = f"{treatment.words} {temperature}" if temperature else treatment.key
            words.append(f"{start} {duration}".rstrip())
    words += [
        f"{key.replace('_', ' ')}: {_shown(value)}" for key, value in prepared.items() if key not in told
    ]
    return [remark for remark in words if not remark.endswith(": ")]


def preparation_cautions(prepared: Mapping[str, object]) -> list[str]:
    """Return a sentence for each value outside common practice; it names the usual one and whom to ask."""
    cautions = []
    for treatment in _TREATMENTS:
        found = _temperatures_c(treatment, prepared)
        words = f"{treatment.words} {_temperature_words(treatment, prepared)}"
        if any(not treatment.lowest_c <= degrees <= treatment.highest_c for degrees in found):
            cautions.append(f"{words}; usual is {treatment.usual}: {_FORBEARANCE}")
        elif found and max(found) - min(found) > _SAME_TEMPERATURE_C:
            cautions.append(
                f"{words}: the two scales do not agree; usual is {treatment.usual}: {_FORBEARANCE}"
            )
    hours = prepared.get("baked_hours")
    if _is_number(hours) and not _FEWEST_HOURS <= hours <= _MOST_HOURS:
        cautions.append(f"baked for {_shown(hours)} h; usual is {_BAKING.usual}: {_FORBEARANCE}")
    return cautions


def _temperatures_c(treatment: _Treatment, prepared: Mapping[str, object]) -> list[float]:
    celsius, fahrenheit = prepared.get(f"{treatment.key}_c"), prepared.get(f"{treatment.key}_f")
    found = [celsius] if _is_number(celsius) else []
    return found + ([(fahrenheit - 32.0) / 1.8] if _is_number(fahrenheit) else [])


def _temperature_words(treatment: _Treatment, prepared: Mapping[str, object]) -> str:
    """Return the temperature in the scale that the sheet has it in, in both where it has both."""
    scales = ((f"{treatment.key}_c", "°C"), (f"{treatment.key}_f", "°F"))
    return " / ".join(f"{_shown(prepared[key])} {unit}" for key, unit in scales if key in prepared)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return f"{value:.10g}" if isinstance(value, float) else " ".join(str(value).split())
