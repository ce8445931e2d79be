"""Which pass is right where passes differ, and what lies beside slips of theirs.

Question: whose flaw is a difference that concealment does not explain?
Input: passes of one track, and ranges in which they differ.
Output: flaws of each pass, and places where nothing tells.

- `majority`: a pass that stands against several.
- `split`: passes of which none is outvoted.
- `pieces`: what passes hold in a place, judged piece by piece.
- `beside`: flaws that go on in a place; what lies beside a slip in doubt.

The numbers stand in the `limits` of the room around.
"""
