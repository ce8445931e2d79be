"""Pages that a person reads: templates that take every value for text, whatever it holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.printable import printable

if TYPE_CHECKING:
    from jinja2 import Template


def page_template(package: str, name: str) -> Template:
    """Return a template of a package; a value that it names and is not given is an error.

    Args:
        package: its name; templates stand in its folder ``templates``.
        name: of the file.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - a check makes no page

    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        # A name that turns the direction of the page's own words would forge them. What a template has made itself
        # is markup already, and its names are made printable before.
        finalize=lambda value: (
            printable(value) if isinstance(value, str) and not hasattr(value, "__html__") else value
        ),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)
