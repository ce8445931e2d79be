"""A collection as one page that needs nothing but itself."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from assembler.collection.grouping import groups_of
from assembler.collection.rows import SessionState
from assembler.collection.telling import session_state_words, sums_lines
from assembler.pages import page_template
from assembler.verdict.states import share_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.collection.rows import Row

MOST_ROWS = 500
"""Rows of one table; past that the page says how many more there are. CSV and JSON have all."""

# Read when the module is: that it is missing is to be reported before the work and not after.
_TEMPLATE = page_template("assembler.collection", "collection.html.j2")


def collection_page(title: str, rows: Sequence[Row]) -> str:
    """Return a collection as HTML: what is saved, what needs a person or another play, what failures share.

    Args:
        title: of the page.
        rows: the last one of each session.
    """
    asking = [row for row in rows if row.state is not SessionState.SAVED]
    order = list(SessionState)
    return _TEMPLATE.render(
        title=title,
        sums=sums_lines(rows),
        asking=sorted(asking, key=lambda row: (-order.index(row.state), -row.places, row.session)),
        playing=sorted((row for row in rows if row.rolls), key=lambda row: -row.roll_seconds),
        groups=[(key, list(own)) for key, own in groupby(groups_of(rows), key=lambda group: group.key)],
        saved=[row for row in rows if row.state is SessionState.SAVED],
        words=session_state_words,
        share=share_words,
        most=MOST_ROWS,
    )
