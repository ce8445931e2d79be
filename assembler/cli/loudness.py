"""How much a command says: ``--quiet``, ``--verbose``."""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING, Any, Final

import click

if TYPE_CHECKING:
    from collections.abc import Callable

_KEY: Final = "assembler.loudness"


class Loudness(IntEnum):
    """How much is said."""

    QUIET = 0
    USUAL = 1
    VERBOSE = 2


def quiet_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--quiet``."""
    return click.option(
        "-q",
        "--quiet",
        is_flag=True,
        expose_value=False,
        callback=_setter(Loudness.QUIET),
        help="Say only the verdict, what a person must do, and why the status is 1; no progress.",
    )(command)


def verbose_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--verbose``."""
    return click.option(
        "-v",
        "--verbose",
        is_flag=True,
        expose_value=False,
        callback=_setter(Loudness.VERBOSE),
        help="List all places and notes, with every column and why each is told.",
    )(command)


def loudness() -> Loudness:
    """Return how much the command that runs is to say."""
    context = click.get_current_context(silent=True)
    return Loudness.USUAL if context is None else context.meta.get(_KEY, Loudness.USUAL)


def _setter(value: Loudness) -> Callable[[click.Context, click.Parameter, bool], None]:
    def set_it(context: click.Context, _: click.Parameter, is_given: bool) -> None:  # noqa: FBT001 - click's own
        if not is_given:
            return
        if _KEY in context.meta:
            raise click.UsageError("--quiet says less, --verbose more; allowed: one of them")
        context.meta[_KEY] = value

    return set_it
