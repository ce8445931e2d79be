"""The page that a person reads: one self-contained file.

Question: how does a person see at a glance what was delivered, and what must be listened to?
Input: the record of a set, and the views that a build has made; nothing else.
Output: the bytes of a page; and words that the terminal has in common with it.

Each in its file:

- `page`: the page; `parts/`: its tables, charts and data; `palette`: its colours.
- `views`: what is there to see and hear of a place, as records.
- `grouping`: notes in the order in which they are read, those of one theme in one line.
- `outcomes`: what became of a flaw, in words; `reasons`: why it is reported.
"""

from typing import TYPE_CHECKING

from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.reasons import RULE_WORDS, because_words, reason_words, with_reason

if TYPE_CHECKING:
    from assembler.report.page import load_page, report_page

__all__ = [
    "RULE_WORDS",
    "TextLine",
    "because_words",
    "group_lines",
    "load_page",
    "outcome_words",
    "reason_words",
    "report_page",
    "with_reason",
]


def __getattr__(name: str) -> object:
    """Load the page when it is first used: a check makes none."""
    if name in {"load_page", "report_page"}:
        from assembler.report import page  # noqa: PLC0415 - with the rest of it

        return getattr(page, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
