"""A person's plan: it replaces the path and nothing else.

Question: what does a person want each stretch to be taken from, and do the passes hold it?
Input: a plan as text, the sheet, what passes hold; or an edit, to be written as a plan.
Output: takes of each track, none where nobody has changed the program's own; or the text.

Each in its file:

- `file`: the text, read with a guard and written.
- `takes`: takes, cut to the set and held against what passes hold.
- `given`: the plan that counts.
- `why`: what speaks for each take.

The number of its format stands in `plan.limits`.
"""
