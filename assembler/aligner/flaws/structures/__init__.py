"""What a version of a place is built of.

Question: what did a machine make in this version of the place, and where may it be cut?
Input: samples of all versions with their surroundings, as arrays; a predictor.
Output: structures, each from its first sample to its last; borders.

- `structures`: all that a version holds, and where noise sets in or stops; `builds`: records.
- `levels`, `lines`, `copies`: levels held, straight lines, blocks played twice.
"""
