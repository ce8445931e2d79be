"""Which pass each stretch of a delivered track is taken from, and how stretches are joined.

Question: what does the set take from where?
Input: passes in their places with their flaws, the sheet, a person's plan if there is one.
Output: spans and joins of each track, with evidence.

In the order in which they act:

- `extent`: first and last sample of the set; punches and accepted places on the timeline; what was never recorded is no
  flaw.
- `weaving`: stretches that no pass has right as a whole, filled from several.
- `path/`: what each pass offers a track, and the cheapest way through all stretches.
- `joins/`: borders moved to where a join can be made, proved or faded.
- `hand/`: a person's plan in place of the path.
- `track`: all of it, track by track.

The numbers stand in `limits`.
"""
