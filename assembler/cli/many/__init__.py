"""What concerns many sessions: batch and collection.

Question: what is built of many sheets, and what has become of each?
Input: folders with sheets; the root of a collection.
Output: an `Answer`; CSV and a page where they are wanted.

Each in its file:

- `batch`: sets built or verified, each told as it ends.
- `collection`: what a ledger tells; `printing`: that on a terminal.
"""
