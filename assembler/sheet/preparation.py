"""Transfer notes: what was done to a tape before it was played, in words, and where that calls for caution.

A reel's ``prepared`` table has free keys. Those that are known here are put in words: ``baked_c`` or ``baked_f``
(temperature), ``baked_hours``, ``warmed_c`` or ``warmed_f``. Every other one is reported as it stands.

Whatever speaks of heat draws a caution, in a key however it is spelled, or in a text. No caution names a temperature of
its own: a figure beside a lower one would read as advice to heat more.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeGuard

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

NO_ADVICE: Final = "what was done, not advice"
"""Stands with the transfer notes wherever they are shown."""

_UNSEEN: Final = "outside what this program has seen"
_FORBEARANCE: Final = "not every tape may be heated; ask the tape maker and a conservator, follow local rules"
_HEAT: Final = re.compile(
    r"(pre)?(bak(e|es|ed|ing|eout)|warm\w*|heat\w*|dr(y|ies|ied|ying|ier|yer)|oven\w*|incubat\w*|dehydrat\w*"
    r"|cook\w*|temp|temperature)"
)
"""Words of heat in a key; what is stored or cleaned dry counts too: a caution too many does no harm."""
_HEAT_IN_TEXT: Final = re.compile(
    r"(pre|over|re|oven)?(bak(e|es|ed|ing|eout|t)|warm(s|ed|ing|er)|heat\w*|dr(ies|ied|ying|ier|yer)|oven\w*|incubat\w*"
    r"|dehydrat\w*|cook\w*)|(ge|aus)?back(en|t)|\w*ofen\w*|erw(ä|ae)rm\w*|(ge)?trocknet|chauff\w*|(é|e)tuv\w*|s(é|e)ch\w+"
)
"""The same in a text: what a tape simply is, or is kept at, is left out. Notes are written in other tongues, too."""
_DEGREES: Final = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*(?:°|º|deg(?:rees?)?\b\.?)?\s*([cf])(?![a-z])|(\d+)\s*(?:°|º|deg)", re.IGNORECASE
)
_LEAST_HEAT_C: Final = 30.0
"""Rooms are cooler (common practice, no source)."""
_DENIALS: Final = frozenset(
    {"no", "not", "never", "without", "nor", "kein", "keine", "nicht", "ohne", "pas", "sans"}
)
_REACH: Final = 3
"""So many words before a word of heat may deny it: "was not even warmed"."""
_UNITS: Final = frozenset({"c", "f", "celsius", "fahrenheit"})
_NOTHING_DONE: Final = frozenset({"", "no", "none", "not", "never", "n/a", "-", "false"})
_SAME_TEMPERATURE_C: Final = 1.0
"""Two scales that were read off one thermometer agree within this, in degrees Celsius."""


@dataclass(frozen=True)
class _Treatment:
    """A treatment by heat: its keys, its words, and the range in °C that this program has seen."""

    key: str
    words: str
    lowest_c: float
    highest_c: float


# Three degrees to either side of what transfer notes name: ovens hold no better (common practice, no source).
_BAKING = _Treatment("baked", "baked at", 51.0, 57.5)
_WARMING = _Treatment("warmed", "warmed to", 35.0, 41.5)
_TREATMENTS: Final = (_BAKING, _WARMING)
# From one hour to a day and a half.
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


def reel_cautions(reels: Iterable[tuple[str, Mapping[str, object]]]) -> list[str]:
    """Return the cautions that the notes of several reels draw: each of equal ones once, with its reels.

    Args:
        reels: name and transfer notes of each.

    >>> [text[:22] for text in reel_cautions([("A", {"oven": "yes"}), ("B", {"oven": "yes"})])]
    ['reels A, B: oven: yes:']
    """
    about: dict[str, list[str]] = {}
    for name, prepared in reels:
        for text in preparation_cautions(prepared):
            about.setdefault(text, []).append(name)
    return [f"reel{'s' * (len(names) > 1)} {', '.join(names)}: {text}" for text, names in about.items()]


def preparation_cautions(prepared: Mapping[str, object]) -> list[str]:
    """Return a sentence for each treatment by heat; one that lies outside what has been seen says so.

    >>> preparation_cautions({"Bake_F": 130})[0].partition(":")[0]
    'Bake F'
    """
    cautions = []
    told = set()
    for treatment in _TREATMENTS:
        keys = [f"{treatment.key}_c", f"{treatment.key}_f", f"{treatment.key}_hours"]
        told.update(keys)
        words = preparation_words({key: prepared[key] for key in keys if key in prepared})
        if words:
            cautions.append(f"{words[0]}: {_doubt(treatment, prepared)}{NO_ADVICE}; {_FORBEARANCE}")
    others = {key: value for key, value in prepared.items() if key not in told and _is_heat(key, value)}
    if others:
        doubt = f"{_UNSEEN}; " * any(_is_unseen(key, value) for key, value in others.items())
        cautions.append(f"{'; '.join(preparation_words(others))}: {doubt}{NO_ADVICE}; {_FORBEARANCE}")
    return cautions


def _is_unseen(key: str, value: object) -> bool:
    """Return whether a note of a key that is spelled freely holds a temperature outside of all that has been seen."""
    if isinstance(value, str):
        degrees = [_celsius(*found) for found in _DEGREES.findall(value)]
        return any(one >= _LEAST_HEAT_C and not _is_seen(one) for one in degrees)
    unit = _words_of(key)[-1]
    if not _is_number(value) or unit not in _UNITS:
        return False
    return not _is_seen((value - 32.0) / 1.8 if unit.startswith("f") else value)


def _is_seen(degrees_c: float) -> bool:
    return any(one.lowest_c <= degrees_c <= one.highest_c for one in _TREATMENTS)


def _doubt(treatment: _Treatment, prepared: Mapping[str, object]) -> str:
    """Return what is odd about a treatment, with what leads on to the caution; nothing where nothing is."""
    found = _temperatures_c(treatment, prepared)
    hours = prepared.get(f"{treatment.key}_hours")
    is_unseen = any(not treatment.lowest_c <= degrees <= treatment.highest_c for degrees in found)
    if treatment is _BAKING and _is_number(hours):
        is_unseen = is_unseen or not _FEWEST_HOURS <= hours <= _MOST_HOURS
    doubts = [_UNSEEN] * is_unseen
    if found and max(found) - min(found) > _SAME_TEMPERATURE_C:
        doubts.append("the two scales do not agree")
    return "".join(f"{one}; " for one in doubts)


def _is_heat(key: str, value: object) -> bool:
    """Return whether a note speaks of heat that was used, by its key or in its text."""
    if value is False or str(value).strip().lower() in _NOTHING_DONE:
        return False
    return any(_HEAT.fullmatch(word) for word in _words_of(key)) or (
        isinstance(value, str) and _tells_of_heat(value)
    )


def _tells_of_heat(text: str) -> bool:
    """Return whether a text says that something was heated, and not that it was not; or names a temperature of heat.

    >>> _tells_of_heat("baked at 54 C for 6 h"), _tells_of_heat("no heat used"), _tells_of_heat("stored at 18 °C")
    (True, False, False)
    """
    for words in map(_words_of, re.split(r"[.,;:!?()]", text)):
        for at, word in enumerate(words):
            if _HEAT_IN_TEXT.fullmatch(word) and not _DENIALS & set(words[max(0, at - _REACH) : at]):
                return True
    return any(_celsius(*found) >= _LEAST_HEAT_C for found in _DEGREES.findall(text))


def _celsius(number: str, scale: str, bare: str) -> float:
    degrees = float((number or bare).replace(",", "."))
    return (degrees - 32.0) / 1.8 if scale in ("f", "F") else degrees


def _words_of(key: str) -> list[str]:
    """Return the words of a key in small letters, however it joins them."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", key)
    return [word for word in re.split(r"[\W_\d]+", spaced.lower()) if word] or [""]


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
