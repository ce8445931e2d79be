"""One reel from imported passes to findings: wired, placed, compared."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.comparison import BLOCK_SAMPLES, compare_reel
from assembler.aligner.place.reels.reel import place_reel
from assembler.aligner.place.wiring.wire import wire_reel
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import NOISE_KINDS, FoundFlaw, ReelFindings
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import merged, without
from assembler.aligner.records.reel import ExaminedReel, left_out_kind, track_names
from assembler.aligner.records.timemap import TimeMap
from assembler.aligner.sound.scale import bits_used, scale_of, tape_word
from assembler.aligner.tell.chains import other_sound
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.place.reels.reel import PlacedReel
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import TapeWord
    from assembler.importer import ImportedPass, ImportedSession
    from assembler.sheet import Reel

LEAST_HEARD = 4800
"""So many samples that are not zero, 0.1 s at 48 kHz, are the sound of a track; a burst is shorter."""


def place_passes(
    session: ImportedSession,
    reel: Reel,
    strayed: Mapping[str, Sequence[Range]],
    advance: Callable[[str, float], None] = lambda *_: None,
) -> ExaminedReel:
    """Return a reel whose passes lie on the timeline, not compared yet; see ``place.reels.strayed``."""
    sheet = session.sheet
    passes = session.of_reel(reel.name)
    fixed = frozenset(one.name for one in sheet.passes if one.fix and one.reel == reel.name)
    asked = sheet.session.sample_rate, sheet.session.bit_depth, sheet.deliver.word_length, reel, fixed
    looked = tuple(sorted(strayed.items())), tuple(passes)
    return session.recall("place", (*asked, *looked), lambda: _placed(session, reel, strayed, advance))


def _placed(
    session: ImportedSession,
    reel: Reel,
    strayed: Mapping[str, Sequence[Range]],
    advance: Callable[[str, float], None],
) -> ExaminedReel:
    sheet = session.sheet
    rate = sheet.session.sample_rate
    fixed = {one.name for one in sheet.passes if one.fix}
    word = _word_of(session, reel)
    wired = wire_reel(session.of_reel(reel.name), reel, fixed, scale_of(sheet, word), session.known)
    told = [] if word.is_as_said else [_word_note(reel, word)]
    passes = [one for one in wired.passes if one.name not in wired.refused]
    if not passes:
        return ExaminedReel(reel, wired, {}, {}, (), ReelFindings(()), (*told, *wired.notes), word)
    placed = place_reel(
        passes, rate, lambda share: advance(f"aligning reel {reel.name}", share), session.known, strayed
    )
    used = tuple(
        PlacedPass(one.name, one.audio, _track_maps(placed, one, wired.left_out.get(one.name, frozenset())))
        for one in passes
        if one.name in placed.maps
    )
    groups = {name: (reel.name, group) for name, group in placed.groups.items()}
    notes = (*told, *wired.notes, *placed.notes)
    return ExaminedReel(reel, wired, placed.maps, groups, used, ReelFindings(()), notes, word)


def _word_of(session: ImportedSession, reel: Reel) -> TapeWord:
    """Return the tape's word length; a pass whose files hold fewer bits than the sheet says tells nothing of it."""
    sheet, passes = session.sheet, session.of_reel(reel.name)
    tracks = [track for track, name in enumerate(reel.tracks) if name]
    said = reel.bit_depth or sheet.session.bit_depth
    held = [one.audio.file_bits for one in passes]
    used = [
        None if bits < said else _bits_used(session, one, tracks)
        for one, bits in zip(passes, held, strict=True)
    ]
    return tape_word(used, said, max(held, default=said))


def _bits_used(session: ImportedSession, one: ImportedPass, tracks: list[int]) -> int | None:
    bits = session.sheet.deliver.word_length
    return session.recall("bits", (one.audio, tracks), lambda: bits_used(one.audio, tracks, bits))


def _word_note(reel: Reel, word: TapeWord) -> Note:
    text = (
        f"reel {reel.name}: the sheet says {word.said} bits, its passes use {word.bits_in_use}; they are compared by "
        f"the steps of {word.compared_bits} bits, and no bit that they hold is dropped"
    )
    return Note("other", text)


def compare_passes(
    examined: ExaminedReel,
    session: ImportedSession,
    executor: Executor,
    advance: Callable[[str, float], None] = lambda *_: None,
) -> ExaminedReel:
    """Return the reel with what its passes say about each other."""
    if not examined.passes:
        return examined
    sheet = session.sheet
    asked = sheet.session.sample_rate, sheet.deliver.word_length, examined
    return session.recall("compare", asked, lambda: _compared(examined, session, executor, advance))


def _compared(
    examined: ExaminedReel,
    session: ImportedSession,
    executor: Executor,
    advance: Callable[[str, float], None],
) -> ExaminedReel:
    sheet = session.sheet
    wanted = [index for index, track in enumerate(examined.reel.tracks) if track]
    dead = _dead_tracks(examined.passes, wanted, executor)
    sounding = _without(examined.passes, dead)
    scale = scale_of(sheet, examined.word)

    def compared() -> ReelFindings:
        return compare_reel(
            sounding,
            wanted,
            scale.step,
            (1 << (sheet.deliver.word_length - 1)) - 1,
            executor,
            lambda share: advance(f"comparing reel {examined.name}", share),
            session.known,
        )

    findings = compared()
    strange = other_sound(sounding, findings, wanted, scale.step)
    if strange:
        # A track of other sound is no capture of this one: compared without it, nothing can be taken from it.
        left_out = {(lower, track) for (_, lower), tracks in strange.items() for track in tracks}
        sounding = _without(sounding, left_out)
        examined = replace(
            examined,
            passes=_without(examined.passes, left_out),
            notes=(*examined.notes, *(_strange_note(examined.reel, *pair, t) for pair, t in strange.items())),
        )
        findings = compared()
    mutes = tuple(
        FoundFlaw(one.name, track, "mute", start, end, because=Because(Rule.DEAD))
        for one in examined.passes
        for track in wanted
        if (one.name, track) in dead
        for start, end in one.covered(track)
    )
    flaws = _beside_chains(findings, sounding)
    return replace(examined, findings=replace(findings, flaws=(*flaws, *mutes)))


def _without(passes: Sequence[PlacedPass], tracks: Collection[tuple[str, int]]) -> tuple[PlacedPass, ...]:
    """Return passes as if they had never held some tracks, given as pass and track."""
    return tuple(
        replace(
            one, maps=tuple(TimeMap(()) if (one.name, t) in tracks else m for t, m in enumerate(one.maps))
        )
        for one in passes
    )


def _strange_note(reel: Reel, upper: str, lower: str, tracks: Sequence[int]) -> Note:
    text = f"{lower}: other sound than {upper}'s wherever both sound, not used: {track_names(reel, tracks)}"
    return Note(left_out_kind(tracks, reel), text, lower, tuple(tracks))


def _beside_chains(findings: ReelFindings, passes: Sequence[PlacedPass]) -> list[FoundFlaw]:
    """Return the flaws but for differences from a better pass of one that holds other numbers all along.

    Two passes that agree outvote it everywhere, which is its chain's doing and no burst as long as the tape. What it
    shows by itself, as a mute, stays.
    """
    if not findings.unlike:
        return list(findings.flaws)
    better: dict[tuple[str, int], list[Range]] = {}
    for track in {track for tracks in findings.unlike_tracks.values() for track in tracks}:
        covered = {one.name: one.covered(track) for one in passes if one.covered(track)}
        for name in covered:
            # A witness is judged as any other.
            above = (
                []
                if (name, track) in findings.witnesses
                else findings.better_ones(name, list(covered), track)
            )
            better[name, track] = merged(piece for one in above for piece in covered[one])
    kept: list[FoundFlaw] = []
    for flaw in findings.flaws:
        barred = better.get((flaw.pass_name, flaw.track), []) if flaw.kind in NOISE_KINDS else []
        kept += [replace(flaw, start=a, end=b) for a, b in without([(flaw.start, flaw.end)], barred)]
    return kept


def _dead_tracks(
    passes: Sequence[PlacedPass], wanted: Sequence[int], executor: Executor
) -> frozenset[tuple[str, int]]:
    """Return pass and track where a pass holds nothing but zeros and another one has sound on the same track.

    A dead channel is one long mute, not a capture that differs everywhere. A track without sound in every pass is
    silent by itself, also if a pass has a burst or two on it.
    """
    places = [(one, track) for one in passes for track in wanted]
    sounding = list(executor.map(_sounding_samples, *zip(*places, strict=True)))
    heard = {track for (_, track), count in zip(places, sounding, strict=True) if count >= LEAST_HEARD}
    return frozenset(
        (one.name, track)
        for (one, track), count in zip(places, sounding, strict=True)
        if count == 0 and track in heard and one.maps[track].stretches
    )


def _sounding_samples(one: PlacedPass, track: int) -> int:
    """Return how many samples of a pass are not zero on a track; counted until they are enough to be sound."""
    count = 0
    for piece in one.maps[track].stretches:
        for start in range(piece.pass_start, piece.pass_end, BLOCK_SAMPLES):
            samples = one.reader.read(track, start, min(BLOCK_SAMPLES, piece.pass_end - start))
            count += int(np.count_nonzero(samples))
            if count >= LEAST_HEARD:
                return count
    return count


def _track_maps(placed: PlacedReel, one: ImportedPass, left_out: frozenset[int]) -> tuple[TimeMap, ...]:
    """Return the time map of each tape track: cut to what the track holds, empty where it is not used."""
    lengths = one.audio.track_lengths
    return tuple(
        TimeMap(()) if track in left_out else placed.maps[one.name].cut_to(length)
        for track, length in enumerate(lengths)
    )
