"""Frozen records are what the standard library's are, method by method, though compiled later."""

from __future__ import annotations

import dataclasses
import pickle
from dataclasses import FrozenInstanceError, field
from functools import cached_property
from typing import Any, ClassVar

import pytest

from assembler import frozen


class Base:
    """Fields with and without defaults, made ones, some that count for less than others."""

    first: int
    second: Any = 2
    made: list[int] = field(default_factory=list)
    hidden: int = field(default=0, compare=False, repr=False)
    unhashed: tuple[int, ...] = field(default=(), hash=False)
    kept: int = field(default=7, init=False)
    named: str = field(default="n", kw_only=True)
    SHARED: ClassVar[int] = 1


class Checked:
    """A record that looks at what it is given."""

    low: int
    high: int

    def __post_init__(self) -> None:
        """Refuse what is the wrong way round."""
        if self.low > self.high:
            raise ValueError(self.low)

    @cached_property
    def width(self) -> int:
        """High less low."""
        return self.high - self.low


class One:  # noqa: PLW1641 - records are given one
    """A record of a single field with an equality of its own."""

    only: object

    def __eq__(self, other: object) -> bool:
        """Equal to all of its kind."""
        return isinstance(other, type(self))


def both(plain: type) -> tuple[Any, Any]:
    """Return a class made a record by this module, and by the library."""
    ours, theirs = (type(plain.__name__, (plain,), dict(vars(plain))) for _ in range(2))
    return frozen.dataclass(frozen=True)(ours), dataclasses.dataclass(frozen=True)(theirs)


@pytest.mark.parametrize(
    ("values", "named"),
    [((1,), {}), ((1, 5, [3], 4, (2,)), {"named": "x"}), ((), {"first": 1, "unhashed": (1,)})],
)
def test_fields_are_set_told_and_compared_as_the_library_does(
    values: tuple[Any, ...], named: dict[str, Any]
) -> None:
    """What is given, left out, made anew each time, and kept out of words, equality or hash."""
    ours, theirs = (kind(*values, **named) for kind in both(Base))
    assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
    assert repr(ours) == repr(theirs)
    for change in ({"hidden": 9}, {"first": 8}, {"unhashed": (7,)}, {"named": "y"}):
        assert (ours == dataclasses.replace(ours, **change)) == (
            theirs == dataclasses.replace(theirs, **change)
        )
    assert ours != theirs
    assert ours.made is not type(ours)(1).made


def test_hashes_follow_from_the_fields_that_count() -> None:
    """Equal records have equal hashes; a field without hash counts for equality alone."""
    ours, theirs = both(Checked)
    assert hash(ours(1, 2)) == hash(theirs(1, 2)) == hash((1, 2))
    ours, theirs = both(One)
    assert (hash(ours(1)), ours(1) == ours(2)) == (hash(theirs(1)), theirs(1) == theirs(2))
    for kind in both(Base):
        assert hash(kind(1, made=())) == hash(kind(1, made=(), hidden=3, unhashed=(4,)))


@pytest.mark.parametrize(
    "wrong", [((), {}), ((1,) * 9, {}), ((1,), {"other": 2}), ((1,), {"kept": 2}), ((1, 2), {"first": 1})]
)
def test_wrong_arguments_are_refused(wrong: tuple[tuple[Any, ...], dict[str, Any]]) -> None:
    """Too few, too many, unknown ones, and a field that is not to be given."""
    for kind in both(Base):
        with pytest.raises(TypeError):
            kind(*wrong[0], **wrong[1])


def test_a_record_keeps_what_it_is_made_with() -> None:
    """Fields can be neither set nor deleted; what is cached beside them can be."""
    for kind in both(Checked):
        one = kind(1, 5)
        with pytest.raises(FrozenInstanceError, match="cannot assign to field 'low'"):
            one.low = 2
        with pytest.raises(FrozenInstanceError, match="cannot delete field 'low'"):
            del one.low
        with pytest.raises(ValueError, match="9"):
            kind(9, 5)
        assert one.width == 4
        assert frozen.is_record(kind)
    assert not frozen.is_record(dataclasses.make_dataclass("Loose", ["a"]))


@frozen.dataclass(frozen=True)
class Sent:
    """A record that goes to another process."""

    word: str


@frozen.dataclass(frozen=True)
class Longer(Sent):
    """One that has more."""

    size: int = 3


def test_records_can_be_sent_and_extended() -> None:
    """By pickle, before and after the first was made; fields of the base come first, and kinds are not equal."""
    one = Longer("a")
    assert pickle.loads(pickle.dumps(one)) == one  # noqa: S301 - just made
    assert repr(one) == "Longer(word='a', size=3)"
    assert Sent("a") != one
    assert Longer.__match_args__ == ("word", "size")
