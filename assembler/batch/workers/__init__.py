"""Who does an order, and how.

Question: how does one order become one row, wherever it is done, and what if its worker dies?
Input: orders, one line of text each.
Output: a row for each, or word that its worker is gone.

Each in its file:

- `doing`: one order done: a set built, recognised, or verified, and the row that comes of it.
- `worker`: a process that does one after another; `process`: the same as the process sees it that started it.
- `pool`: workers of our own; `cluster`: those of a Dask cluster.
"""
