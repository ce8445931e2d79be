"""New sound of a pass that is being recorded, looked at by the aligner's own rules: alone, or beside finished passes.

Positions are samples of the pass.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from assembler.aligner.comparison import compare_reel
from assembler.aligner.records.because import Rule
from assembler.aligner.records.limits import WINDOW_SAMPLES
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common, merged
from assembler.aligner.records.timemap import Stretch, TimeMap
from assembler.aligner.sound.levels import is_peak
from assembler.watch.sound.beside import place_beside
from assembler.watch.sound.silences import is_cut

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.passes import TrackReader
    from assembler.watch.sound.beside import Place, Witness
    from assembler.watch.sound.silences import Silences


_MADE_OFTEN: Final = {
    (Rule.IN_PHASE, "mute"),
    (Rule.IN_PHASE, "hold"),
    (Rule.FORETOLD, "burst"),
}
"""What an instrument may make as well, if it makes it again and again: the builds that ``flaws_alone`` counts."""

_CLIPPED_OFTEN: Final = {(Rule.FORETOLD, "straight"), (Rule.CUT_OFF, "hold")}
"""The same, where they are peaks of sound that was clipped before it was recorded."""


@dataclass(frozen=True)
class Seen:
    """A flaw of one track in new sound.

    Args:
        kind: one of the record's kinds.
        track: tape track.
        start: first sample.
        end: first sample after it.
        is_doubtful: whether an instrument may make it, too, if it does so often.
        is_silence: whether it is sound cut off, without a witness: a rest may be.
    """

    kind: str
    track: int
    start: int
    end: int
    is_doubtful: bool = False
    is_silence: bool = False


@dataclass(frozen=True)
class Examined:
    """What new sound shows.

    Args:
        flaws: on single tracks.
        slips: pass sample and samples lost (positive) or repeated.
        shift: of the last sample, as another pass shows it; None where none does.
    """

    flaws: tuple[Seen, ...]
    slips: tuple[tuple[int, int], ...] = ()
    shift: int | None = None


@dataclass(frozen=True)
class Scales:
    """What sample values and positions mean: rate in samples a second, the tape's step, the largest value."""

    sample_rate: int
    step: int
    full_scale: int


def examine(
    audio: TrackReader,
    starts: Mapping[int, int],
    end: int,
    silences: Silences,
    place: Place | None,
    witnesses: Sequence[Witness],
    scales: Scales,
    executor: Executor,
) -> Examined:
    """Return what new sound of a pass shows.

    Args:
        audio: of the pass.
        starts: for each tape track that is looked at, from which sample on; not empty.
        end: up to which sample.
        silences: of the pass so far; those of new sound are noted.
        place: of the pass; None where nothing tells it.
        witnesses: finished passes of its reel, most trusted first.
        scales: of the samples.
        executor: runs tracks side by side.
    """
    window = min(starts.values()), end
    own, beside, related = place_beside(audio, window, place, witnesses, scales.sample_rate)
    maps = tuple(_from(own, starts.get(track, end)) for track in range(audio.tracks))
    placed = [*(_cut(witness, maps) for witness in beside), PlacedPass("", audio, maps)]
    placed = [one for one in placed if any(held.stretches for held in one.maps)]
    tracks = sorted(starts)
    findings = compare_reel(placed, tracks, scales.step, scales.full_scale, executor, lambda _: None)
    if findings.unlike:
        # Its chain changes every number: it has only itself to tell of it.
        placed = placed[-1:]
        findings = compare_reel(placed, tracks, scales.step, scales.full_scale, executor, lambda _: None)
    witnessed = {
        track: merged(piece for one in placed[:-1] for piece in one.covered(track)) for track in tracks
    }
    alone: list[FoundFlaw] = []
    borne_out: list[FoundFlaw] = []
    for flaw in findings.flaws:
        reach = own.pass_reach(flaw.start, flaw.end) if flaw.pass_name == "" else None
        if reach is not None:
            kept = borne_out if common([(flaw.start, flaw.end)], witnessed[flaw.track]) else alone
            kept.append(replace(flaw, start=reach[0], end=reach[1]))
    silences.add(audio, starts, end, scales.step)
    flaws = [
        *(Seen(flaw.kind, flaw.track, flaw.start, flaw.end) for flaw in borne_out),
        *(
            Seen(
                flaw.kind,
                flaw.track,
                flaw.start,
                flaw.end,
                is_doubtful=_may_be_played(audio, flaw),
                is_silence=is_cut(flaw),
            )
            for flaw in silences.weighed(audio, end, alone)
        ),
    ]
    slips = tuple((slip.pass_sample, slip.samples) for slip in own.slips())
    return Examined(tuple(flaws), slips, own.stretches[-1].shift if related else None)


def _may_be_played(audio: TrackReader, flaw: FoundFlaw) -> bool:
    """Return whether a flaw is what an instrument may make as well, if it does so often."""
    build = flaw.because.rule, flaw.kind
    if build not in _CLIPPED_OFTEN:
        return build in _MADE_OFTEN
    size = flaw.end - flaw.start
    samples = audio.read(flaw.track, flaw.start - WINDOW_SAMPLES, size + 2 * WINDOW_SAMPLES)
    return is_peak(samples, WINDOW_SAMPLES, WINDOW_SAMPLES + size)


def _from(own: TimeMap, start: int) -> TimeMap:
    """Return a map from a pass sample on."""
    kept = []
    for one in own.stretches:
        first = max(start, one.pass_start)
        if first < one.pass_end:
            kept.append(Stretch(first, one.pass_end, first + one.shift))
    return TimeMap(tuple(kept))


def _cut(witness: Witness, maps: Sequence[TimeMap]) -> PlacedPass:
    """Return a finished pass with what it holds of new sound, track by track."""
    inside = tuple(
        TimeMap(witness.time_map.covering(one.start, one.end) if one.stretches else ()) for one in maps
    )
    return PlacedPass(witness.name, witness.audio, inside)
