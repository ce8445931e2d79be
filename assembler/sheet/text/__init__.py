"""The text that a person has written.

Question: is a file TOML that can be read in reasonable time and memory, and on which line does a key stand?
Input: a path or bytes; sheets and plans alike.
Output: plain tables, and the line of each key, or a SheetError with the line.

Each in its file:

- `toml`: bytes to characters to tables, with a guard at each step.
- `places`: the line of every key, table and element.
"""
