"""What one block of a reel shows, in a form that can be kept: a pass that is added changes the blocks it lies in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.blocks import note_block
from assembler.aligner.events.stops.standstill import find_stills, heard
from assembler.aligner.events.stops.twice import find_repeats
from assembler.aligner.events.strewn.losses import Windows, strewn_losses
from assembler.aligner.events.stuck import stuck_beside, stuck_bits
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.records.ranges import common, total
from assembler.aligner.sound.glance import Glance
from assembler.aligner.sound.limits import NOISE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.compare.notes import TrackBlock
    from assembler.aligner.events.stops.stop import Still, Stop
    from assembler.aligner.records.passes import Packed, PlacedPass
    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Block:
    """What one block of a reel shows.

    Args:
        stills: of each pass, by its index, where it stands still.
        repeats: of each pass, where it holds once more what was before.
        stuck: of each pass and track, where a bit is stuck, and how unlikely that is by nature, in nats.
        tracks: in the order of the tracks that are compared.
    """

    stills: dict[int, list[Still]]
    repeats: dict[int, list[Stop]]
    stuck: dict[tuple[int, int], list[tuple[Range, float]]]
    tracks: tuple[TrackBlock, ...]


def asked_of_block(
    passes: Sequence[PlacedPass], tracks: Sequence[int], low: int, high: int, step: int
) -> tuple[object, ...]:
    """Return all that a block's notes depend on: what each pass holds in it and as far beside it as anything looks."""
    reach = LINE_SAMPLES + NOISE_SAMPLES
    held = (
        (index, one.reader, tuple(tuple(one.maps[t].covering(low - reach, high + reach)) for t in tracks))
        for index, one in enumerate(passes)
    )
    return (low, high, step, tuple(tracks), *(row for row in held if any(row[2])))


def note_whole(
    placed: Sequence[PlacedPass],
    whole: Sequence[Sequence[Range]],
    tracks: Sequence[int],
    block: Range,
    step: int,
) -> Block:
    """Return what a block shows; ``whole`` is where each pass holds all tracks."""
    low, high = block
    seen = _block(placed, tracks, low - LINE_SAMPLES, high + LINE_SAMPLES, step)
    held = {index: [glance.samples for glance in own] for index, own in seen.items()}
    covered = dict(enumerate(whole))
    stills = find_stills(held, covered, low - LINE_SAMPLES, tracks, step)
    silent = {index: [(one.start, one.end) for one in own] for index, own in stills.items()}
    repeats = find_repeats(held, covered, silent, low - LINE_SAMPLES, tracks)
    stuck = _stuck(placed, tracks, seen, low - LINE_SAMPLES)
    listening = []
    for index, one in enumerate(placed):
        # What no other pass bears out is told from a rest when all blocks are known; till then it is heard.
        stops = [*filter(None, (still.stop() for still in stills.get(index, []))), *repeats.get(index, [])]
        listening.append(heard(one, [stop for stop in stops if stop.is_witnessed], stuck_of(stuck, index)))
    notes = {}
    for place, track in enumerate(tracks):
        own = {index: glances[place] for index, glances in seen.items()}
        notes[track] = note_block(listening, track, low, high, step, own)
    _note_strewn(seen, tracks, whole, low - LINE_SAMPLES, step, notes)
    return Block(stills, repeats, stuck, tuple(notes.values()))


def _block(
    passes: Sequence[PlacedPass], tracks: Sequence[int], low: int, high: int, step: int
) -> dict[int, list[Glance]]:
    """Return a look at each track of a block, of each pass that holds any of it; one and the same at the same samples.

    Nearly everywhere all passes hold the same: whatever asks of samples asks once.
    """
    holding = [
        index
        for index, one in enumerate(passes)
        if any(common(one.covered(track), [(low, high)]) for track in tracks)
    ]
    seen: dict[int, list[Glance]] = {index: [] for index in holding}
    for track in tracks:
        known: list[tuple[Packed | None, Glance]] = []
        for index in holding:
            packed = passes[index].packed(track, low, high)
            glance = next((look for other, look in known if packed and other == packed), None)
            if glance is None:
                samples = packed.unpacked() if packed else passes[index].samples(track, low, high)
                same = (look for _, look in known if np.array_equal(samples, look.samples))
                glance = next(same, None) or Glance(samples, step)
            known.append((packed, glance))
            seen[index].append(glance)
    return seen


def _stuck(
    passes: Sequence[PlacedPass], tracks: Sequence[int], seen: Mapping[int, Sequence[Glance]], low: int
) -> dict[tuple[int, int], list[tuple[Range, float]]]:
    """Return where a bit is stuck on a track of a pass that holds it."""
    stuck = {}
    bits: dict[Glance, list[tuple[Range, float]]] = {}
    for index, own in seen.items():
        for place, (track, glance) in enumerate(zip(tracks, own, strict=True)):
            if glance not in bits:
                others = [theirs[place].samples for of, theirs in seen.items() if of != index]
                bits[glance] = stuck_bits(glance.samples) + stuck_beside(glance.samples, others)
            found = bits[glance]
            covered = passes[index].covered(track) if found else []
            if inside := [
                (part, nats)
                for (start, end), nats in found
                for part in common([(start + low, end + low)], covered)
            ]:
                stuck[index, track] = inside
    return stuck


def stuck_of(
    stuck: Mapping[tuple[int, int], Sequence[tuple[Range, float]]], index: int
) -> dict[int, list[Range]]:
    """Return where each track of a pass has a stuck bit."""
    return {track: [place for place, _ in own] for (of, track), own in stuck.items() if of == index}


def _note_strewn(
    seen: Mapping[int, Sequence[Glance]],
    tracks: Sequence[int],
    covered: Sequence[Sequence[Range]],
    low: int,
    step: int,
    notes: Mapping[int, TrackBlock],
) -> None:
    """Note where samples of a pass were lost on several tracks at once; of a track that is silent there nothing."""
    windows = {glance: Windows(glance, step) for own in seen.values() for glance in own}
    found: dict[tuple[Glance, ...], list[tuple[Range, float]]] = {}
    for index, own in seen.items():
        if tuple(own) not in found:
            found[tuple(own)] = strewn_losses([windows[glance] for glance in own])
        places = found[tuple(own)]
        held = [(start - low, end - low) for start, end in covered[index]]
        for track, glance in zip(tracks, own, strict=True):
            samples = glance.samples
            # Blocks overlap: what lies in another one speaks there.
            block = [(LINE_SAMPLES, samples.size - LINE_SAMPLES)]
            for place, nats in places:
                for start, end in common([place], held):
                    if np.diff(samples[start:end]).any():
                        share = total(common([(start, end)], block)) / (end - start)
                        notes[track].means.append((index, (start + low, end + low), nats * share))
