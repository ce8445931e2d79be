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
    words = "Say only the verdict, what a person must do, and why the status is 1; no progress."
    return _option("-q", "--quiet", Loudness.QUIET, words)(command)


def verbose_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--verbose``."""
    words = "List all places and notes, with every column and why each is reported."
    return _option("-v", "--verbose", Loudness.VERBOSE, words)(command)


def loudness() -> Loudness:
    """Return how much the command that runs is to say."""
    context = click.get_current_context(silent=True)
    return Loudness.USUAL if context is None else context.meta.get(_KEY, Loudness.USUAL)


def _option(
    short: str, long: str, value: Loudness, words: str
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    return click.option(short, long, is_flag=True, expose_value=False, callback=_setter(value), help=words)


def _setter(value: Loudness) -> Callable[[click.Context, click.Parameter, bool], None]:
    def set_it(context: click.Context, _: click.Parameter, is_given: bool) -> None:  # noqa: FBT001 - click's own
        if not is_given:
            return
        if _KEY in context.meta:
            raise click.UsageError("--quiet says less, --verbose more; allowed: one of them")
        context.meta[_KEY] = value

    return set_it
