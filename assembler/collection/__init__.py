"""Many sessions at a glance: what has become of each, as its ledger tells.

Question: what is saved, what needs a person, what needs another play, and what do failures have in common?
Input: the ledger of a root, JSON lines.
Output: rows; groups of tapes; lines, CSV and a page.

Each in its file:

- `rows`: what is known of a session; `ledger`: the file that holds it.
- `grouping`: sums and groups; `telling`: CSV, JSON and lines; `page`: all of it to read.
"""

from assembler.collection.grouping import Group, Sums, groups_of, sums_of
from assembler.collection.ledger import LEDGER, Collection, Ledger, check_root, has_ledger, read_collection
from assembler.collection.rows import (
    ReelRow,
    Row,
    SessionState,
    latest_rows,
    read_row,
    row_line,
    whole_sets,
)
from assembler.collection.telling import (
    collection_csv,
    collection_json,
    counted_state,
    session_state_words,
    sums_lines,
)

__all__ = [
    "LEDGER",
    "Collection",
    "Group",
    "Ledger",
    "ReelRow",
    "Row",
    "SessionState",
    "Sums",
    "check_root",
    "collection_csv",
    "collection_json",
    "counted_state",
    "groups_of",
    "has_ledger",
    "latest_rows",
    "read_collection",
    "read_row",
    "row_line",
    "session_state_words",
    "sums_lines",
    "sums_of",
    "whole_sets",
]
