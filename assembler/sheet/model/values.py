"""Texts in a sheet: what they may hold, and how one that was found is shown in an error."""

# Annotations are read while the program runs, by pydantic: no postponed evaluation in this module.
import re
from collections.abc import Mapping
from typing import Annotated, TypeAlias

from pydantic import AfterValidator, BaseModel, ConfigDict

# What XML 1.0 (fifth edition, 2.2 "Characters") cannot hold: titles and names are embedded as XML in the
# tracks.
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def plain_text(text: str) -> str:
    """Return the text; ValueError where it holds a character that a sheet may not hold."""
    found = _NOT_IN_XML.search(text)
    if found:
        raise ValueError(f"found the control character U+{ord(found[0]):04X}; allowed: printable text")
    return text


def without_control_characters(text: str) -> str:
    """Return a text as a sheet may hold it, each character that it may not hold replaced by ``_``."""
    return _NOT_IN_XML.sub("_", text)


def not_blank(text: str) -> str:
    """Return the text; ValueError where nothing of it can be seen."""
    if not text.strip():
        raise ValueError("found nothing but spaces; allowed: a text with at least one visible character")
    return text


Text: TypeAlias = Annotated[str, AfterValidator(plain_text)]
Name: TypeAlias = Annotated[Text, AfterValidator(not_blank)]


def refusal(found: object, allowed: str, where: str = "") -> ValueError:
    """Return the one kind of error that pydantic takes from a validator for a refusal, also of a wrong type."""
    return ValueError(f"found {shown(found)}{where}; allowed: {allowed}")


def shown(value: object) -> str:
    """Return a value found in the sheet as one short line for an error: TOML's way where that is short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _shortened(f'"{_escaped(value)}"')
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, Mapping):
        return "a table"
    return _shortened(str(value))


def shown_key(key: str) -> str:
    """Return one part of a dotted key as TOML writes it, shortened to one short line."""
    return _shortened(key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else f'"{_escaped(key)}"')


def _escaped(text: str) -> str:
    return "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in text[:80])


def _shortened(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


class Record(BaseModel):
    """One table of a sheet: frozen, of known keys only, each of the type that its field says."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, populate_by_name=True, defer_build=True
    )
