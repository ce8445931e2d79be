"""Transliteration to ASCII and fitting into fields."""

from __future__ import annotations

import pytest

from assembler.wave import fit_field, transliterate


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Kick in 1", "Kick in 1"),
        ("Flügelhorn", "Flugelhorn"),
        ("Flu\u0308gelhorn", "Flugelhorn"),
        ("Straße, Æbler, Øre, Đorđe, Łódź", "Strasse, AEbler, Ore, Dorde, Lodz"),
        ("\u201cChór\u201d \u2013 \u2018alt\u2019…", "\"Chor\" - 'alt'..."),
        ("F♯ and B♭", "F# and Bb"),
        ("7½ ips, 2 µs", "7 1/2 ips, 2 us"),
        ("太鼓 1", "?? 1"),
        ("tab\there\x00nul", "tab here nul"),
        ("two\r\nlines", "two\r\nlines"),
        ("soft\u00adhyphen", "softhyphen"),
    ],
)
def test_text_becomes_ascii(text: str, expected: str) -> None:
    """Letters lose their marks, signs get their nearest form, the rest is a question mark."""
    assert transliterate(text) == expected


@pytest.mark.parametrize(
    ("text", "limit", "expected"),
    [
        ("Millbrook", 9, "Millbrook"),
        ("Millbrook", 4, "Mill"),
        ("Straße", 6, "Strass"),
        ("Straße", 5, "Stra"),
        ("take…", 6, "take"),
        ("one\r\ntwo", 7, "one two"),
        ("anything", 0, ""),
    ],
)
def test_fields_are_cut_between_letters(text: str, limit: int, expected: str) -> None:
    """A letter that became several characters is whole or absent; line ends become blanks."""
    assert fit_field(text, limit) == expected
