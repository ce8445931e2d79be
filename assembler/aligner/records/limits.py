"""The numbers by which this room decides."""

from __future__ import annotations

# findings

MOST_GAP_SAMPLES = 1024
"""Gaps of a difference that comes and goes at a steady pace are at most this long: half a period of 23 Hz.
Lost samples closer than this are one flaw, too: a sweep takes 15 ms."""

INSTANT_SAMPLES = 48
"""One millisecond at 48 kHz, an instant: the edge of a run whose level says whether something was cut off; shorter than
players or sequencers keep together; noise thrown into the sound that lasts no longer is a click, longer a burst;
losses are counted over one on either side."""

WINDOW_SAMPLES = 256
"""Some 5 ms at 48 kHz: sound may change from window to window; so far beside a peak, a line, a silence or the end of a
capture it is looked at, and at such an end a chain may still settle; flaws so close together are of one cause."""

CHANCE_SAMPLES = 7
"""So many samples in a row are equal by chance where sound is quiet."""

READ_SAMPLES = 1 << 17
"""Samples read, or rows looked at, in one go, 2.7 s at 48 kHz; as far from each other crowds are two."""

NEAR_SAMPLES = 2
"""What begins, or ends, within so many samples does so at once: a flaw's first and last sample may be right by chance,
and edges stand at whole samples."""

SEARCHED_NATS = 21.0
"""An hour of eight tracks holds e^21 samples: so unlikely a thing stands somewhere in it by chance. So much has to be
shown for samples strewn over a stretch to be lost, for a line or a stop that no other pass shows, and for concealment
to set in, or end, within a patch."""

SURE_NATS = 60.0
"""Beyond doubt, which no model of sound is by itself: so many nats say that two captures which agree are both wrong;
that a bit is stuck, as some ninety values do that the bits above it take, all with the same; that noise has a level of
its own."""

LEAST_PROOFS = 2
"""So many of a kind prove one more, and one by itself nothing: tracks a flaw for a third, or that a pass stands still
or holds a block twice where they sound; slips of a pass, all by as much, that one more which nothing tells is its own,
as a clock that drifts against another slips at even intervals, always the same way."""

LEAST_WITNESSES = 3
"""So many are no chance, one or two may be: tracks that begin and end something at the same samples, or show it at
once; places at which a pass, or a track, is found, with fewer of which it is looked wider; rests at zero around a
place, the longest of which says something then."""

MOST_TRIED = 64
"""So many are tried of what may be many: places that are asked for a block that stands twice, and earlier ones at which
each is sought; gaps as intervals, spread over all by size. It bounds work."""

ROUNDS = 5
"""So often what one look has shown is taken into the next, at most: losses nearby; shifts between slips."""

BRIDGE_SAMPLES = 64
"""What begins, ends or differs closer than this is one: inside a flaw, and at its borders, the wrong sample is now
and then the right one, so that as many identical ones prove a join, that both passes are whole beside a slip, or, where
they do not just hold a level, that a block stands twice; two sweeps' worth of interleave lie further apart."""

VISIT_SAMPLES = 4096
"""What lies so close (85 ms at 48 kHz) is looked at in one go: by the program, and by a person."""

LEAST_TELLING = 16
"""Samples, changes, values, gaps or held runs that say something chance does not. So many samples tell how a machine
rounds, whether a block of a long pass is worth a look, and a wave's period; so many held runs in a block are how its
sound goes, as a square wave's; and into so many parts a place is cut by where versions differ."""

HALF, NEARLY_ALL, FEW = 0.5, 0.9, 0.25
"""What counts as most of something, as all of it but for flaws, and as hardly any: of samples, places, power,
length."""

CLEARLY = 2.0
"""So many times as much, or as long, is clearly more."""

FAR_MORE = 8.0
"""So many times as large as what is usual is something else: a prediction error against their scale, which only says
where to cut; what differs against a chain's noise; noise against the quiet that it was thrown into."""

LEAST_STEPS = 4
"""By so many steps sound has to move where that shall tell something: bend, or change, on both sides of a sample, climb
along a line, or be as loud, where it is other sound than another pass has. Rounding and dither move it by less."""

NEIGHBOURS = 4
"""So many on either side are looked at: flaws that are known beside a place, places that say whether one keeps time,
and the gaps that are taken for the beat, windows beside noise, in which sound foretells itself."""
