"""One reel from imported passes to findings: wired, placed, compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.aligner.comparing import PlacedPass, ReelFindings, compare_reel
from assembler.aligner.reels import place_reel
from assembler.aligner.timemap import TimeMap
from assembler.aligner.wiring import WiredReel, wire_reel

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from concurrent.futures import Executor

    from assembler.aligner.reels import PlacedReel
    from assembler.importer import ImportedPass, ImportedSession, Note
    from assembler.sheet import Reel, Sheet


@dataclass(frozen=True)
class ExaminedReel:
    """What is known of one reel.

    Args:
        reel: as the sheet has it.
        wired: its passes, put right where that was asked for.
        maps: time map of each pass that is used.
        groups: passes with one value hold identical samples wherever both are good.
        passes: the passes that are used, with a time map for each track.
        findings: what comparing them has shown; nothing before ``compare_passes``.
        notes: corrections and findings on the way.
    """

    reel: Reel
    wired: WiredReel
    maps: Mapping[str, TimeMap]
    groups: Mapping[str, tuple[str, int]]
    passes: tuple[PlacedPass, ...]
    findings: ReelFindings
    notes: tuple[Note, ...]

    @property
    def name(self) -> str:
        """The reel's name."""
        return self.reel.name

    def moved(self, samples: int) -> ExaminedReel:
        """Return the reel, not compared yet, ``samples`` later on the timeline."""
        return replace(
            self,
            maps={name: time_map.moved(samples) for name, time_map in self.maps.items()},
            passes=tuple(
                replace(one, maps=tuple(time_map.moved(samples) for time_map in one.maps))
                for one in self.passes
            ),
        )


def place_passes(
    session: ImportedSession, reel: Reel, advance: Callable[[str, float], None] = lambda *_: None
) -> ExaminedReel:
    """Return a reel whose passes lie on the timeline, not compared yet."""
    sheet = session.sheet
    rate = sheet.session.sample_rate
    fixed = {one.name for one in sheet.passes if one.fix}
    wired = wire_reel(session.of_reel(reel.name), reel, fixed, rate)
    passes = [one for one in wired.passes if one.name not in wired.refused]
    if not passes:
        return ExaminedReel(reel, wired, {}, {}, (), ReelFindings(()), wired.notes)
    placed = place_reel(passes, rate, lambda share: advance(f"aligning reel {reel.name}", share))
    used = tuple(
        PlacedPass(one.name, one.audio, _track_maps(placed, one, wired.left_out.get(one.name, frozenset())))
        for one in passes
        if one.name in placed.maps
    )
    groups = {name: (reel.name, group) for name, group in placed.groups.items()}
    notes = (*wired.notes, *placed.notes)
    return ExaminedReel(reel, wired, placed.maps, groups, used, ReelFindings(()), notes)


def compare_passes(
    examined: ExaminedReel,
    sheet: Sheet,
    executor: Executor,
    advance: Callable[[str, float], None] = lambda *_: None,
) -> ExaminedReel:
    """Return the reel with what its passes say about each other."""
    if not examined.passes or sheet.repair.mode == "off":
        return examined
    wanted = [index for index, track in enumerate(examined.reel.tracks) if track]
    findings = compare_reel(
        examined.passes,
        wanted,
        native_step(sheet),
        (1 << (sheet.deliver.word_length - 1)) - 1,
        executor,
        lambda share: advance(f"comparing reel {examined.name}", share),
    )
    return replace(examined, findings=findings)


def native_step(sheet: Sheet) -> int:
    """Return one step of the tape's word length, in delivered sample values."""
    return 1 << (sheet.deliver.word_length - sheet.session.bit_depth)


def _track_maps(placed: PlacedReel, one: ImportedPass, left_out: frozenset[int]) -> tuple[TimeMap, ...]:
    """Return the time map of each tape track: cut to what the track holds, empty where it is not used."""
    lengths = one.audio.track_lengths
    return tuple(
        TimeMap(()) if track in left_out else placed.maps[one.name].cut_to(length)
        for track, length in enumerate(lengths)
    )
