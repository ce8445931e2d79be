"""The cheapest way through all stretches of a delivered track.

Question: which pass is each stretch of this track taken from?
Input: what each pass holds of it, its flaws, what is woven, what the sheet forces.
Output: choices in order without gaps, and where they join.

- `choices`: the records that the path works on, and what each pass offers a track.
- `cheapest`: the path.

The numbers stand in `plan.limits`.
"""
