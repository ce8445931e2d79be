"""Names as file names, and names in the order a person counts."""

from __future__ import annotations

import pytest

from assembler.sheet import file_name, natural_key


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Kick", "Kick"),
        ("Ac. Gtr (L+R) #2, Pete's & co_1-b", "Ac. Gtr (L+R) #2, Pete's & co_1-b"),
        ('Vox/Lead: "hot" 50%\n', "Vox_Lead_ _hot_ 50__"),
        ("a\\b*c?d<e>f|g", "a_b_c_d_e_f_g"),
        ("..hidden", "hidden"),
        (" . spaced . ", "spaced"),
        ("...", "_"),
        ("", "_"),
        (
            "\u0441\u043a\u0440\u0438\u043f\u043a\u0430 \u7434",
            "\u0441\u043a\u0440\u0438\u043f\u043a\u0430 \u7434",
        ),
        ("e\u0301tude", "\u00e9tude"),
        ("\u0939\u093f\u0928\u094d\u0926\u0940", "\u0939\u093f\u0928\u094d\u0926\u0940"),
        ("CON", "_CON"),
        ("nul.take 2", "_nul.take 2"),
        ("com7", "_com7"),
        ("console", "console"),
        ("\u202egnp", "_gnp"),
    ],
)
def test_a_name_becomes_a_file_name(name: str, expected: str) -> None:
    """Harmless characters stay, others are replaced; device names per Microsoft's "Naming Files, Paths, and
    Namespaces".
    """
    assert file_name(name) == expected


def test_a_long_name_is_cut_between_characters() -> None:
    """At most 100 bytes of UTF-8, and no character is torn: 33 of three bytes fit, and one more byte."""
    assert file_name("\u7434" * 60) == "\u7434" * 33
    assert file_name("a" + "\u7434" * 60) == "a" + "\u7434" * 33


def test_numbers_in_names_count_by_value() -> None:
    """The order is the one a person would give, whatever the zeros in front and the letter case."""
    ordered = ["1", "2", "010", "10a", "Track 1", "track 2", "TRACK 10", "Track 10 b"]
    backwards = list(reversed(ordered))
    assert sorted(backwards, key=natural_key) == ordered


def test_names_that_differ_in_case_alone_have_a_settled_order() -> None:
    """The order never depends on the order in which a folder happens to list its files."""
    assert sorted(["a", "A"], key=natural_key) == sorted(["A", "a"], key=natural_key) == ["A", "a"]


def test_digits_without_end_are_put_in_order_all_the_same() -> None:
    """Thousands of digits, which Python does not convert, come after every usual number."""
    assert sorted(["9" * 9000, "5"], key=natural_key) == ["5", "9" * 9000]
