"""What one look at a block can rule out, so that the rules that look closely need not.

Question: can there be a level, a line or a block played twice in these samples at all?
Input: samples of one capture.
Output: exact bounds: what they rule out no closer look finds.

- `glance`: where samples stay where they are, or bend by a step at most, and what follows from how few they are.
- `repeats`: whether a stretch may stand once more a little later.

Nothing is decided here, so there are no numbers.
"""
