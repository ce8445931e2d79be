"""Frozen records: the standard library's dataclasses, less what is compiled for each class while its module loads.

Six functions are, though a command makes records of a third of the classes that it loads, and compares or prints fewer:
a seventh of a short check. Here a class gets its initializer when its first record is made, and shares the others.
Nothing else is different: ``fields``, ``replace``, pickling, what a record says of itself and what it refuses.
"""

from __future__ import annotations

import dataclasses
from dataclasses import MISSING, FrozenInstanceError, fields
from functools import cache
from operator import attrgetter
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["dataclass", "is_record"]

_Kind = TypeVar("_Kind", bound=type)


def _decorated(kind: type | None = None, **options: bool) -> Any:  # noqa: ANN401 - a class, or what decorates one
    """Make a class a dataclass; only frozen ones without further options are made here."""
    if kind is None:
        return _frozen if options == {"frozen": True} else dataclasses.dataclass(**options)
    return dataclasses.dataclass(kind, **options)


if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    dataclass = _decorated


def is_record(kind: type) -> bool:
    """Return whether a class is a dataclass whose fields keep the values that they are made with."""
    parameters = getattr(kind, "__dataclass_params__", None)
    return parameters is not None and (vars(kind).get("__setattr__") is _refuse or bool(parameters.frozen))


def _frozen(kind: _Kind) -> _Kind:
    # A text of its own, or the library would write the signature into it.
    kind.__doc__ = kind.__doc__ or kind.__name__
    own = vars(kind)
    shared = {name: method for name, method in _SHARED.items() if own.get(name) is None}
    dataclasses.dataclass(init=False, repr=False, eq=False)(kind)

    def first(self: object, /, *values: object, **named: object) -> None:
        made = _initializer(kind)
        setattr(kind, "__init__", made)  # noqa: B010 - of a class, which a plain assignment may not replace
        made(self, *values, **named)

    if "__init__" not in own:
        shared["__init__"] = first
    for name, method in shared.items():
        setattr(kind, name, method)
    return kind


def _initializer(kind: type) -> Callable[..., None]:
    """Return what sets the fields of a record from its arguments."""
    known: dict[str, Any] = {"put": object.__setattr__, "MISSING": MISSING}
    arguments: list[str] = []
    named: list[str] = []
    lines: list[str] = []
    for number, one in enumerate(fields(kind)):
        default, value = "", one.name
        if one.default_factory is not MISSING:
            known[f"make{number}"] = one.default_factory
            default, value = "=MISSING", f"make{number}() if {one.name} is MISSING else {one.name}"
        elif one.default is not MISSING:
            known[f"default{number}"] = one.default
            default = f"=default{number}"
        if one.init:
            (named if one.kw_only else arguments).append(one.name + default)
        elif one.default_factory is not MISSING:
            value = f"make{number}()"
        else:
            continue
        lines.append(f"put(self, {one.name!r}, {value})")
    if hasattr(kind, "__post_init__"):
        lines.append("self.__post_init__()")
    head = ", ".join(["self", *arguments, *(["*", *named] if named else [])])
    made: dict[str, Callable[..., None]] = {}
    exec(f"def __init__({head}):\n " + "\n ".join(lines or ["pass"]), known, made)  # noqa: S102 - of a class's own fields
    found = made["__init__"]
    found.__qualname__ = f"{kind.__qualname__}.__init__"
    return found


@cache
def _values(kind: Any, of: str) -> Callable[[object], tuple[Any, ...]]:  # noqa: ANN401 - any record's class
    """Return what takes the values out of a record of a kind that are compared, or hashed."""
    names = [
        one.name for one in fields(kind) if (one.compare if of == "compare" or one.hash is None else one.hash)
    ]
    if len(names) > 1:
        return attrgetter(*names)
    return lambda record: tuple(getattr(record, name) for name in names)


def _is_equal(self: Any, other: Any) -> Any:  # noqa: ANN401 - any records
    kind: Any = self.__class__
    if other.__class__ is not kind:
        return NotImplemented
    return _values(kind, "compare")(self) == _values(kind, "compare")(other)


def _hashed(self: Any) -> int:  # noqa: ANN401 - any record
    kind: Any = self.__class__
    return hash(_values(kind, "hash")(self))


@recursive_repr()
def _told(self: Any) -> str:  # noqa: ANN401 - any record
    told = (f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{self.__class__.__qualname__}({', '.join(told)})"


def _refuse(_record: object, name: str, _value: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_to_delete(_record: object, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


_SHARED: dict[str, Callable[..., Any]] = {
    "__eq__": _is_equal,
    "__hash__": _hashed,
    "__repr__": _told,
    "__setattr__": _refuse,
    "__delattr__": _refuse_to_delete,
}
