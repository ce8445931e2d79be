"""Which pass lost which samples of the tape and concealed them: read off the numbers, sample by sample.

Question: where passes differ in single samples, which of them has there what a machine puts in the place of a lost one?
Input: passes of one track in their places, and where they differ.
Output: each pass's losses, what stays open, what is left for other rules, the stretches to weave from several passes.

Rules, each in its file:

- `marks`: what concealment makes of a lost sample's neighbours.
- `truth/`: the cheapest truth of all differing samples together, in nats.
- `surprise`: how unlikely it is by chance that samples look lost; where that is too little whatever the truth is.
- `evidence`: whether they speak for concealment over a patch of differences.
- `settle`: where they do this truth is taken; what other tracks show nearby counts.
- `reel`: stretches in which passes differ, all tracks of each together.
- `weave`: stretches rebuilt from several passes.

The numbers stand in `limits`.
"""
