"""Names as file names, and names in the order a person counts.

A reel, pass or track may be called anything; a file may not. The rule here gives names that every usual file
system takes, that need no escaping in a checksum manifest, and that stay readable in any script.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final, TypeAlias

NaturalKey: TypeAlias = tuple[tuple[str | int, ...], str]

_KEPT_SIGNS = frozenset(" -_.()+&'#,")

# Usual file systems end at 255 bytes a name; this leaves room for a track number, a suffix and a temporary's
# mark.
_MOST_BYTES: Final = 100
_FALLBACK = "_"

# Device names, reserved with any suffix: Microsoft, "Naming Files, Paths, and Namespaces". Its superscript
# digits and dollar names need no entry, since those signs are replaced.
_DEVICES = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
)


def file_name(name: str) -> str:
    """Return a name as it stands in a file name, without number or suffix.

    Letters (of any script, with their marks), digits, space and ``-_.()+&'#,`` stay; every other character
    becomes ``_``. No dots or spaces at the ends, at most 100 bytes of UTF-8, composed form (NFC), never empty
    and never a reserved device name. A result given again comes back unchanged.
    """
    kept = "".join(c if _is_kept(c) else "_" for c in unicodedata.normalize("NFC", name))
    kept = _cut(kept.strip(" ."), _MOST_BYTES)
    if kept.split(".")[0].rstrip().lower() in _DEVICES:
        kept = _cut("_" + kept, _MOST_BYTES)
    return kept or _FALLBACK


def natural_key(name: str) -> NaturalKey:
    """Return what to sort by so that numbers in names count by value: 1, 2, 10.

    Letter case does not count, except between names that are otherwise equal.
    """
    # An odd number of pieces, text and digits in turn: texts only ever meet texts in a comparison.
    pieces = re.split("([0-9]+)", unicodedata.normalize("NFC", name).casefold())
    return tuple(_digits_value(piece) if index % 2 else piece for index, piece in enumerate(pieces)), name


def _digits_value(digits: str) -> int:
    # Python refuses to convert thousands of digits; so long a number only has to come last.
    return int(digits) if len(digits) <= 1000 else 10**1000


def _is_kept(character: str) -> bool:
    category = unicodedata.category(character)
    return character in _KEPT_SIGNS or category[0] in "LM" or category == "Nd"


def _cut(name: str, most_bytes: int) -> str:
    """Return the name cut to a number of bytes, between characters, without dots or spaces at its end."""
    encoded = name.encode()
    if len(encoded) > most_bytes:
        name = encoded[:most_bytes].decode(errors="ignore")
    return name.rstrip(" .")
