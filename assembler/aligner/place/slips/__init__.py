"""Samples lost and repeated in capture: where, and by which pass.

Question: a shift changes between two anchors; between which two samples, and whose slip is it?
Input: two passes and the shifts before and after; a third one; what the logs say.
Output: the border with its doubt; each pass's own slips.

Rules, each in its file:

- `steady`: anchors that are believed, and short ones between slips close together.
- `borders`: the border that most samples speak for.
- `surplus`: whose slip it is by the sound, and where: what was captured twice stands beside its copy.
- `splices`: where that, too, leaves it open: every track breaks there.
- `doubled`: what came twice where no other pass bears witness.
- `logged`: what a log says of it.
- `blame`: whose it is by all evidence: other passes, the sound, the logs, the order of trust.
- `pinning`: a slip in doubt moved to where a third pass shows it, or parted into those that it shows.

The numbers stand in `place.limits`.
"""
