"""Text for metadata fields that can only hold ASCII.

EBU Tech 3285 (bext) asks for ASCII, and RIFF names no character set for its texts; a byte outside ASCII makes
readers fail or guess. The full text belongs where Unicode has a place (iXML, the record of the assembly).
"""

from __future__ import annotations

import unicodedata

_LINE_ENDS = "\r\n"

# Letters and signs that have no compatibility decomposition into ASCII. What is not here becomes a question
# mark.
_REPLACEMENTS = {
    "ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "đ": "d", "Đ": "D",
    "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ł": "l", "Ł": "L", "ı": "i", "ħ": "h", "Ħ": "H",
    "ŋ": "ng", "Ŋ": "Ng", "ŧ": "t", "Ŧ": "T", "ə": "e", "Ə": "E", "ƒ": "f",
    "‘": "'", "’": "'", "‚": "'", "‛": "'", "‹": "'", "›": "'", "′": "'", "´": "'", "ʼ": "'", "ʻ": "'",
    "“": '"', "”": '"', "„": '"', "‟": '"', "«": '"', "»": '"', "″": '"',
    "‐": "-", "‑": "-", "‒": "-", "–": "-", "—": "-", "―": "-", "−": "-", "⁃": "-",
    "•": "*", "·": ".", "×": "x", "÷": "/", "⁄": "/", "±": "+/-", "°": "deg", "µ": "u", "μ": "u",
    "♯": "#", "♭": "b", "→": "->", "←": "<-", "≈": "~", "≤": "<=", "≥": ">=", "¡": "!", "¿": "?",
    "\u03a9": "Ohm", "½": " 1/2", "¼": " 1/4", "¾": " 3/4",
    "€": "EUR", "£": "GBP", "¥": "JPY", "¢": "c", "©": "(c)", "®": "(R)", "§": "S", "¶": "P", "¦": "|",
}  # fmt: skip


def transliterate(text: str) -> str:
    """Return ``text`` in ASCII, as near as a table and the letters without their marks come.

    What has no near form becomes ``?``. Line ends stay; other control characters become blanks. ASCII text
    without control characters comes back as it is.

    >>> transliterate("Flügelhorn – “Søn”")
    'Flugelhorn - "Son"'
    """
    return "".join(_letters(text))


def fit_field(text: str, limit: int) -> str:
    """Return ``text`` transliterated, on one line, and cut to at most ``limit`` bytes.

    A letter that became several ASCII characters is kept whole or left out. Whether anything was cut or
    changed is for the caller to tell: compare with the text given.
    """
    kept: list[str] = []
    room = limit
    for letters in _letters(" ".join(text.splitlines())):
        room -= len(letters)
        if room < 0:
            break
        kept.append(letters)
    return "".join(kept)


def is_plain(text: str, *, line_ends: bool = False) -> bool:
    """Tell whether ``text`` holds only printable ASCII and, where they are allowed, line ends."""
    allowed = _LINE_ENDS if line_ends else ""
    return all(" " <= character <= "~" or character in allowed for character in text)


def _letters(text: str) -> list[str]:
    """Return the ASCII text of each character; a mark after its letter gives nothing."""
    if text.isascii() and text.isprintable():
        return list(text)
    return [_to_ascii(character) for character in text]


def _to_ascii(character: str) -> str:
    if character in _LINE_ENDS:
        return character
    if character in _REPLACEMENTS:
        return _REPLACEMENTS[character]
    parts = unicodedata.normalize("NFKD", character)
    return "".join(_part_to_ascii(part) for part in parts)


def _part_to_ascii(part: str) -> str:
    if " " <= part <= "~":
        return part
    if part in _REPLACEMENTS:
        return _REPLACEMENTS[part]
    category = unicodedata.category(part)
    if category in {
        "Mn",
        "Cf",
    }:  # a mark whose letter stands before it; a soft hyphen and the like
        return ""
    return " " if category in {"Cc", "Zs", "Zl", "Zp"} else "?"
