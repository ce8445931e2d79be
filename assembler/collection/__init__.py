"""Many sessions at a glance: what has become of each, as its ledger tells.

Question: what is saved, what needs a person, what needs another play, and what do failures have in common?
Input: the ledger of a root, JSON lines.
Output: rows; groups of tapes; lines, CSV and a page.

- `rows`: what is known of a session; `ledger`: the file that holds it.
- `grouping`: sums and groups; `telling`: CSV and JSON; `page`: all of it to read.
"""

from assembler.collection.ledger import LEDGER, Collection, Ledger, check_root, read_collection
from assembler.collection.rows import (
    ReelRow,
    Row,
    SessionState,
    latest_rows,
    read_row,
    row_line,
    whole_sets,
)

__all__ = [
    "LEDGER",
    "Collection",
    "Ledger",
    "ReelRow",
    "Row",
    "SessionState",
    "check_root",
    "latest_rows",
    "read_collection",
    "read_row",
    "row_line",
    "whole_sets",
]
