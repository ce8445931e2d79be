"""The one way out: nothing that came from outside is obeyed by a terminal, all of it is shown.

Question: how does a text reach a person, or a script, whatever it holds and wherever it goes?
Input: lines, tables, records, progress.
Output: text on standard output and standard error.

Each in its file:

- `words`: lines, wrapped lines, JSON; light, so that errors are told before anything heavy is loaded.
- `consoles`: where tables and progress are drawn; `columns`: which columns a line has room for.
- `progress`: bars, where a person looks at them.
"""
