"""One track of all passes compared: where they differ, and what that says of each.

Question: what is wrong on this track, and in which pass?
Input: passes of a reel in their places, read block by block.
Output: flaws of each pass, undecided places, what all agree on, what is left for events over several tracks.

In the order in which they act:

- `blocks`: ranges noted block by block: differences, votes, levels, of what passes hold alike once; `notes`: what is
  kept of it.
- `track`: the notes of a track weighed: votes, losses concealed, places judged.
- `places`: differences that are judged as one place, and losses that no difference shows.
- `differences/`: which pass is right in a place, by a majority or by its sound.
- `unlike/`: passes that hold other numbers all along, as witnesses.
- `lone`: what a pass shows where no other one bears witness; `runs`: whether a level is cut off, or the sound itself.

The numbers stand in `limits`.
"""
