"""Many sessions: which is built or verified next, and by whom.

Question: what is still to be done for these sessions, and who does it?
Input: folders with sheets, the root of a collection with its ledger; workers.
Output: sets in the root, a row of the ledger for each session; a result that sums up.

Each in its file:

- `finding`: the sessions in folders; `digests`: what a session, and what a set, is made from.
- `orders`: what is asked of a worker, what a pool of workers is, what came of all.
- `queueing`: what is due, and in which order.
- `running`: the one place that decides what happens next: orders given, deaths counted, rows written.
- `workers/`: who does an order, and how.
"""

from assembler.batch.orders import BatchResult
from assembler.batch.running import build_collection, verify_collection

__all__ = ["BatchResult", "build_collection", "verify_collection"]
