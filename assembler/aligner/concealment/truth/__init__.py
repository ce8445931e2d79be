"""The likeliest truth of samples in which captures differ: one capture's value, or nobody's.

Question: which capture has which sample of the tape, if concealment made the others?
Input: windows: what captures of each track hold of one stretch.
Output: of each differing sample the likeliest capture, its lead in nats, and which captures lost it.

- `window`: what is asked, and what is answered.
- `shares`: how many samples nearby each capture lost, counted on all tracks: they lie in the same sweeps.
- `bends`: sound bends about as much as around.
- `links`: what a machine makes of several lost samples binds neighbours together.
- `path`: the cheapest choice for a row of samples.
- `likeliest`: a round for each of these after the other, until what is counted and what is chosen agree.

What it costs that a capture lost a sample: the share of losses nearby, and whether it stands as concealment leaves it;
that it kept it: that the sound bends so. What several captures lost alike the tape may have lost once.
"""
