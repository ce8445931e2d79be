"""Values as JSON and back again: plain ones, tuples, lists, mappings, sets, arrays, this program's records.

A tuple is a list, as nearly all rows of records are; whatever else is no plain value is an object with one key that
says what it is. Of an entry nothing is run: a class that it names has to be a frozen record or an enumeration of this
program.
"""

from __future__ import annotations

import base64
import importlib
import re
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias, cast

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

Plain: TypeAlias = Any
"""What JSON has words for."""

_PACKAGE = "assembler"
_CLASS = re.compile(r"(?:\.[a-z_][a-z0-9_]*)+:[A-Za-z_][A-Za-z0-9_]*")
_ARRAYS = "biuf"
"""Kinds of numbers that an array may hold: no objects."""


class UnknowableError(Exception):
    """A value cannot be kept, or an entry cannot be read; whoever asks has to find it out anew."""


class Outside(Protocol):
    """Objects that are not part of a result but stand in it, as open captures do, and what they are called."""

    def name_of(self, value: object) -> Plain | None:
        """Return, in plain values, what an object is called; None where it is no such object."""

    def named(self, name: Plain) -> object:
        """Return the object of a name.

        Raises:
            LookupError: there is none.
        """


class _Nobody:
    """No objects stand outside."""

    def name_of(self, _value: object) -> Plain | None:
        return None

    def named(self, name: Plain) -> object:
        raise LookupError(name)


NOBODY: Outside = _Nobody()


def to_plain(value: object, outside: Outside = NOBODY) -> Plain:
    """Return a value as JSON may hold it.

    Args:
        value: plain values, numbers of numpy, arrays, records and enumerations of this program, and rows, mappings
            and sets of these.
        outside: what stands for other objects.

    Raises:
        UnknowableError: something else is in it.
    """
    return _Writer(outside).plain(value)


def from_plain(found: Plain, outside: Outside = NOBODY) -> object:
    """Return the value that ``to_plain`` was given.

    Raises:
        UnknowableError: it is none.
    """
    try:
        return _Reader(outside).value(found)
    except UnknowableError:
        raise
    except Exception as error:  # an entry that says what no record allows is as if absent
        raise UnknowableError(str(error)) from error


@dataclass(frozen=True)
class _Writer:
    outside: Outside

    def plain(self, value: object) -> Plain:
        kind = type(value)
        if value is None or kind in (bool, int, float, str):
            return value
        if kind is tuple:
            return [self.plain(one) for one in cast("tuple[object, ...]", value)]
        name = self.outside.name_of(value)
        if name is not None:
            return {"outside": name}
        if isinstance(value, np.ndarray | np.generic):
            return _array_to_plain(value) if isinstance(value, np.ndarray) else self.plain(value.item())
        return self._gathered(value)

    def _gathered(self, value: object) -> Plain:
        kind = type(value)
        if isinstance(value, Enum):
            return {"enum": [_name_of(kind), value.name]}
        if kind is list:
            return {"list": [self.plain(one) for one in cast("list[object]", value)]}
        if kind is dict:
            rows = cast("dict[object, object]", value).items()
            return {"dict": [[self.plain(key), self.plain(one)] for key, one in rows]}
        if kind is frozenset:
            return {"set": sorted((self.plain(one) for one in cast("frozenset[object]", value)), key=repr)}
        if is_dataclass(value) and _is_record(kind):
            return {"record": [_name_of(kind), *(self.plain(getattr(value, one)) for one in _names(kind))]}
        raise UnknowableError(f"{kind.__name__} cannot be kept")


@dataclass(frozen=True)
class _Reader:
    outside: Outside

    def value(self, found: Plain) -> object:
        if isinstance(found, list):
            return tuple(self.value(one) for one in found)
        if not isinstance(found, dict):
            return found
        [(tag, held)] = found.items()
        return _MAKERS[tag](self, held)


def _record_of(reader: _Reader, held: Plain) -> object:
    name, *rows = held
    kind = _class_of(name)
    names = _names(kind)
    if not _is_record(kind) or len(names) != len(rows):
        raise UnknowableError(f"{name} is no record of {len(rows)} fields")
    return kind(**dict(zip(names, map(reader.value, rows), strict=True)))


def _enum_of(held: Plain) -> object:
    name, member = held
    kind = _class_of(name)
    if not issubclass(kind, Enum):
        raise UnknowableError(f"{name} is no enumeration")
    return kind[member]


def _array_to_plain(array: np.ndarray[Any, Any]) -> Plain:
    if array.dtype.kind not in _ARRAYS:
        raise UnknowableError(f"an array of {array.dtype} cannot be kept")
    data = np.ascontiguousarray(array).tobytes()
    return {"array": [array.dtype.str, list(array.shape), base64.b64encode(data).decode()]}


def _array_from_plain(held: Plain) -> np.ndarray[Any, Any]:
    dtype, shape, data = held
    if np.dtype(dtype).kind not in _ARRAYS:
        raise UnknowableError(f"an array of {dtype} cannot be kept")
    return np.frombuffer(base64.b64decode(data), dtype).reshape(shape).copy()


def _is_record(kind: type) -> bool:
    parameters = getattr(kind, "__dataclass_params__", None)
    return parameters is not None and bool(parameters.frozen) and kind.__module__.startswith(f"{_PACKAGE}.")


def _names(kind: type) -> list[str]:
    return [one.name for one in fields(kind) if one.init]


def _name_of(kind: type) -> str:
    name = f"{kind.__module__.removeprefix(_PACKAGE)}:{kind.__qualname__}"
    if not kind.__module__.startswith(f"{_PACKAGE}.") or not _CLASS.fullmatch(name):
        raise UnknowableError(f"{name} is no class of this program's own")
    return name


def _class_of(name: Plain) -> type[Any]:
    if not isinstance(name, str) or not _CLASS.fullmatch(name):
        raise UnknowableError("no name of a class")
    module, _, own = name.partition(":")
    found = getattr(importlib.import_module(_PACKAGE + module), own)
    if not isinstance(found, type) or found.__module__ != _PACKAGE + module:
        raise UnknowableError(f"{name} is no class")
    return found


_MAKERS: dict[str, Callable[[_Reader, Plain], object]] = {
    "outside": lambda reader, held: reader.outside.named(held),
    "enum": lambda _, held: _enum_of(held),
    "array": lambda _, held: _array_from_plain(held),
    "list": lambda reader, held: [reader.value(one) for one in held],
    "dict": lambda reader, held: {reader.value(key): reader.value(one) for key, one in held},
    "set": lambda reader, held: frozenset(reader.value(one) for one in held),
    "record": _record_of,
}
"""What makes the value of each tag."""
