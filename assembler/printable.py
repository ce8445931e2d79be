"""Texts from outside, made safe to show: file names, sheets, records and errors may hold anything."""

from __future__ import annotations

import unicodedata
from typing import Final

_UNSEEN: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""General categories (Unicode, chapter 4.5) of what a terminal or page obeys instead of showing it: control
characters, C1 and line ends among them; direction marks and other format characters; halves of surrogate pairs;
separators of lines and paragraphs."""

_BYTES: Final = range(0xDC80, 0xDD00)
"""What Python has for the bytes of a name that are no UTF-8 (PEP 383): 0xDC00 and the byte. Shown as such: a
character of that number is shown with four digits."""

_JOINERS: Final = "\u200c\u200d"
"""Format characters that words of many scripts need: they join or part the letters beside them, nothing else."""


def printable(text: str) -> str:
    r"""Return a text as one line in which every character is shown and none is obeyed.

    >>> print(printable("A1\x1b[31m\n\u202egnp.1"))
    A1\x1b[31m\x0a\u202egnp.1
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(map(_shown, text))


def _shown(character: str) -> str:
    if character in _JOINERS or unicodedata.category(character) not in _UNSEEN:
        return character
    code = ord(character)
    if code < 0x80 or code in _BYTES:
        return f"\\x{code & 0xFF:02x}"
    # As TOML and JSON write it, so that a sheet that is printed stays one.
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
