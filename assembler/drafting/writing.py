"""A first session sheet, written for a person to correct.

What was found in a folder becomes TOML with comments that say what to check. Whatever was guessed is marked so.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, TypeVar

import tomlkit

from assembler.drafting.found import Draft, DraftPass, Named
from assembler.drafting.names import (
    names_beside,
    shown,
    split_pass_name,
    track_name_from_file,
    unique,
    without_shared,
)
from assembler.errors import SheetError
from assembler.printable import printable
from assembler.sheet.model.values import without_control_characters
from assembler.sheet.names import natural_key

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from tomlkit.items import Array, Table

_Value = TypeVar("_Value")

_LONGEST_LINE = 300

_NAMES_THAT_SHARE = 4
"""Two tracks named Guitar left and Guitar right have more in common than the song's name."""

UNUSED_WORDS = frozenset({"unused", "empty", "not used", "blank"})
"""What people call the file of a track that holds nothing."""


def write_draft(draft: Draft) -> str:
    """Return a sheet for what was found, as TOML text with comments.

    Passes whose names speak of one tape (``A1``, ``A2``) become passes of one reel, in the order of their
    numbers.

    Raises:
        SheetError: there is no pass to write about.
    """
    if not draft.passes:
        words = "no captures found; allowed: a folder with WAV files in it or in its folders"
        if draft.notes:
            more = f", and {len(draft.notes) - 1} more" if len(draft.notes) > 1 else ""
            words += f" ({_line(draft.notes[0])}{more})"
        raise SheetError(words)
    document = tomlkit.document()
    for line in (
        "Draft of a session sheet: correct it by hand, then check it.",
        "What is marked GUESSED was not found in the files but concluded from names or habits.",
    ):
        document.add(tomlkit.comment(line))
    for note in draft.notes:
        document.add(tomlkit.comment(f"CHECK: {_line(note)}"))
    document.add(tomlkit.nl())
    document.add("session", _session_table(draft))
    reels = _reels(draft.passes)
    tracks = _tracks_of(reels, ())
    document.add("reel", _tables(_reel_table(name, found, tracks[name]) for name, found in reels.items()))
    names = iter(unique([each.name.strip() or "pass" for passes in reels.values() for each in passes]))
    document.add(
        "pass",
        _tables(_pass_table(next(names), reel, each) for reel, found in reels.items() for each in found),
    )
    return tomlkit.dumps(document)


def draft_tables(passes: Sequence[DraftPass], reels: Mapping[str, Named], names: Collection[str]) -> str:
    """Return what a sheet that stands needs for more captures: their passes, and reels that it has not.

    Args:
        passes: the captures, each with its reel.
        reels: the sheet's by their names.
        names: of its passes; those of the captures are numbered where they are taken.
    """
    document = tomlkit.document()
    by_reel = _reels(passes)
    tracks = _tracks_of({name: found for name, found in by_reel.items() if name not in reels}, reels.values())
    new = [_reel_table(name, by_reel[name], own) for name, own in tracks.items()]
    if new:
        document.add("reel", _tables(new))
    rows = [(reel, each) for reel, found in by_reel.items() for each in found]
    chosen = unique([each.name.strip() or "pass" for _, each in rows], names)
    document.add("pass", _tables(_pass_table(name, *row) for name, row in zip(chosen, rows, strict=True)))
    return tomlkit.dumps(document)


def _reels(passes: Sequence[DraftPass]) -> dict[str, list[DraftPass]]:
    """Passes by reel: as they come where their tapes are known, else by names and numbers in natural order."""
    reels: dict[str, list[DraftPass]] = {}
    if all(each.reel for each in passes):
        for each in passes:
            reels.setdefault(shown(without_control_characters(each.reel)), []).append(
                replace(each, name=without_control_characters(each.name))
            )
        return reels
    named = (replace(each, name=without_control_characters(each.name)) for each in passes)
    for each in sorted(named, key=lambda each: natural_key(each.name)):
        reels.setdefault(shown(split_pass_name(each.name)[0]), []).append(each)
    for found in reels.values():
        found.sort(key=lambda each: split_pass_name(each.name)[1])
    return dict(sorted(reels.items(), key=lambda item: natural_key(item[0])))


def _session_table(draft: Draft) -> Table:
    table = tomlkit.table()
    table.add("title", without_control_characters(draft.title).strip() or "Untitled session")
    rates = Counter(each.sample_rate for each in draft.passes if each.sample_rate is not None)
    _add(table, "sample_rate", _commonest(rates, 48_000), _checked("the files", rates, "Hz"))
    depths = Counter(each.bit_depth for each in draft.passes if each.bit_depth in (16, 20, 24))
    where = "the samples" if draft.is_measured else "the files"
    comment = _checked(where, depths, "bit") + "; the tape's own word length: 16, 20 or 24"
    _add(table, "bit_depth", _commonest(depths, 16), comment)
    frame_rates: Counter[str] = Counter(
        each.frame_rate for each in draft.passes if each.frame_rate is not None
    )
    _add(table, "frame_rate", _commonest(frame_rates, "30"), _checked("the timecode logs", frame_rates, ""))
    for line in (
        # A log can't tell 29.97 from 30 (the MIDI rate code has one value for both), hence the words in any case.
        'Allowed: "24" "25" "29.97" "29.97df" "30". A log says 30 for a 29.97 tape that drops no frames, too.',
        "Also: date = 1995-09-02, originator, reference, description, timecode_delay_ms, start, end.",
    ):
        table.add(tomlkit.comment(line))
    return table


def _fullest(passes: Sequence[DraftPass]) -> DraftPass:
    return max(passes, key=lambda each: each.tracks)


def _tracks_of(reels: Mapping[str, Sequence[DraftPass]], others: Iterable[Named]) -> dict[str, list[str]]:
    """Return the names of each reel's tracks: none that another reel has which runs at the same time."""
    rows = list(others)
    for passes in reels.values():
        one = Named(_track_names(_fullest(passes)), [each.reach for each in passes if each.reach is not None])
        taken = {name for other in rows if one.runs_beside(other) for name in other.tracks}
        rows.append(replace(one, tracks=names_beside(one.tracks, taken)))
    return {name: list(row.tracks) for name, row in zip(reels, rows[len(rows) - len(reels) :], strict=True)}


def _reel_table(name: str, passes: Sequence[DraftPass], names: Sequence[str]) -> Table:
    table = tomlkit.table()
    _add(table, "name", name, "GUESSED from the names of the captures")
    fullest = _fullest(passes)
    tracks = fullest.tracks
    table.add("tracks", _list(names))
    guessed = 'GUESSED from file names, in tape order; "" for an unused track'
    if names != _track_names(fullest):
        guessed += "; numbered apart from those of a tape that runs at the same time"
    table["tracks"].comment(guessed)
    for each in passes:
        if each.tracks != tracks:
            line = f"CHECK: {_line(each.name)} has {each.tracks} tracks, {_line(fullest.name)} has {tracks}."
            table.add(tomlkit.comment(line))
    return table


def _track_names(found: DraftPass) -> list[str]:
    names = [f"Track {number}" for number in range(1, found.tracks + 1)]
    if len(found.files) == found.tracks:
        stems = [track_name_from_file(PurePosixPath(path).name, found.name) for path in found.files]
        stems = [without_control_characters(stem).strip() for stem in stems]
        if len(stems) >= _NAMES_THAT_SHARE and all(stems):
            stems = without_shared(stems)
        names = [stem or name for stem, name in zip(stems, names, strict=True)]
    used = ["" if name.lower() in UNUSED_WORDS else name for name in names]
    return unique(used if any(used) else names)


def _pass_table(name: str, reel: str, found: DraftPass) -> Table:
    table = tomlkit.table()
    for note in found.notes:
        table.add(tomlkit.comment(f"CHECK: {_line(note)}"))
    table.add("name", name)
    table.add("reel", reel)
    if found.pattern is not None:
        table.add("audio", found.pattern)
    else:
        table.add("audio", found.files[0] if len(found.files) == 1 else _list(found.files))
    if found.log is not None:
        table.add("timecode", found.log)
    elif found.ltc is not None:
        source = tomlkit.inline_table()
        source.add("ltc", found.ltc)
        table.add("timecode", source)
    elif found.by_sound:
        _add(
            table,
            "timecode",
            "audio",
            "GUESSED: no timecode found; its sound is sought in the reel's other passes",
        )
    else:
        table.add(
            tomlkit.comment("CHECK: no timecode found. Name it, or give the place of the first sample:")
        )
        table.add(tomlkit.comment('timecode = { start = "01:00:00:00" }   # or "bext", or "audio"'))
    return table


def _tables(tables: Iterable[Table]) -> tomlkit.items.AoT:
    array = tomlkit.aot()
    for table in tables:
        array.append(table)
    return array


def _list(texts: Iterable[str]) -> Array:
    array = tomlkit.array()
    array.extend(texts)
    return array.multiline(multiline=True)


def _add(table: Table, key: str, value: str | int, comment: str) -> None:
    table.add(key, value)
    table[key].comment(_line(comment))


def _commonest(counts: Counter[_Value], fallback: _Value) -> _Value:
    return counts.most_common(1)[0][0] if counts else fallback


def _checked(where: str, counts: Mapping[_Value, int], unit: str) -> str:
    """Words on how sure a value is: found, found with contradictions, or only guessed."""
    if not counts:
        return f"GUESSED: {where} say nothing"
    if len(counts) == 1:
        return f"as {where} say"
    return "CHECK: " + where + " differ: " + ", ".join(f"{value} {unit}".strip() for value in counts)


def _line(text: str) -> str:
    """Text for a comment: one line of printable characters, long enough for a path and what is wrong with it."""
    line = printable(text[:_LONGEST_LINE])
    return line if len(text) <= _LONGEST_LINE else f"{line}..."
