"""The plan as text: which pass each stretch of each track is taken from, for a person to read and change.

A plan is TOML. Every track has a list of takes in order; a take begins at ``at`` and runs to the next one, or to
the set's end. ``at`` is a timecode label and, where a take begins inside a frame, ``+`` and samples into it.
An empty ``pass`` is silence. Joins are not written: they follow from the takes, and are proved or faded when
the set is built. ``fade`` (samples) stands where the program chose a length other than the sheet's; ``woven`` where
samples that the pass lost are filled from others.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assembler.aligner.plan.hand.takes import Plan, Take, takes_of
from assembler.aligner.plan.hand.why import Reasons
from assembler.aligner.plan.limits import FORMAT
from assembler.aligner.records.reel import place_label
from assembler.errors import SheetError, TimecodeError
from assembler.sheet import TomlKind, decode_text, dotted_key, parse_toml, read_file, shown
from assembler.timecode import day_samples, frame_rate, label_sample, nearest_day

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pydantic_core import ErrorDetails

    from assembler.aligner.records.edit import Edit
    from assembler.aligner.records.ranges import Range
    from assembler.sheet import Session, Sheet


PLAN = TomlKind("a plan (TOML)", "a [[track]] table for every track of the session", 2 << 20)
"""Two megabytes hold some 20,000 takes with their reasons, which are planned in seconds and in some 400 MB; no
person makes as many."""


_PLACE = re.compile(r"(?P<label>[^+]+?)\s*(?:\+\s*(?P<samples>[0-9]{1,6}))?")


class _TakeModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)
    at: str
    pass_name: Annotated[str, Field(alias="pass")]
    fade: Annotated[int | None, Field(ge=0, le=10_000_000)] = None
    woven: bool = False


class _TrackModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)
    name: str
    take: Annotated[list[_TakeModel], Field(min_length=1)]


class _PlanModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)
    format: int
    title: str = ""
    track: Annotated[list[_TrackModel], Field(min_length=1)]


_ALLOWED = {
    "at": 'a timecode label, or a label + samples, as "01:00:00:00+120"',
    "pass": 'the name of a pass, or "" for silence',
    "fade": "whole samples from 0 to 10000000, or no such key",
    "woven": "true or false, or no such key",
    "name": "the name of a track of the session",
    "take": 'a list of takes, each as { at = "01:00:00:00", pass = "A1" }',
    "format": f"{FORMAT}",
    "title": "a text",
    "track": "a [[track]] table for every track of the session",
}
"""What each key of a plan may hold, for whoever has written something else."""


def write_plan(sheet: Sheet, edit: Edit) -> str:
    """Return the plan of an edit as TOML text. Building with it unchanged gives the same set."""
    import tomlkit  # noqa: PLC0415 - only where a plan is written

    document = tomlkit.document()
    for line in (
        "Which pass each stretch of each track is taken from. Change it by hand, then build with --plan.",
        'A take begins at its timecode (+ samples) and runs to the next one. pass = "" is silence.',
        "Sides that are bit-identical are joined without a fade, others with the sheet's fade_ms or fade = samples.",
        "woven = true fills what the pass lost, where other passes have it; without it the pass stands as it is.",
    ):
        document.add(tomlkit.comment(line))
    document.add("format", FORMAT)
    document.add("title", sheet.session.title)
    tracks, place = tomlkit.aot(), place_label(sheet)
    for track in edit.tracks:
        table = tomlkit.table()
        table.add("name", track.track.name)
        takes = tomlkit.array()
        reasons = Reasons(track, edit)
        for take in takes_of(track, edit.start_sample):
            takes.add_line(_inline(take, place(take.at)), comment=reasons.why(take) or None)
        takes.add_line(indent="")
        table.add("take", takes)
        tracks.append(table)
    document.add("track", tracks)
    return tomlkit.dumps(document)


def read_plan(path: Path, sheet: Sheet, tracks: Sequence[str], extent: Range) -> Plan:
    """Return the takes of every track.

    Args:
        path: the plan.
        sheet: the session that it belongs to.
        tracks: names of the tracks that the set has.
        extent: first sample of the set, and the first one after it; labels past midnight are taken to follow.

    Raises:
        SheetError: it is no plan of this session; the message names the file, the key and what is allowed.
    """
    model = _parse(path)
    if model.format != FORMAT:
        raise SheetError(f"found {shown(model.format)}; allowed: {FORMAT}", file=path, key="format")
    plan: Plan = {}
    for number, track in enumerate(model.track, 1):
        key = f"track[{number}]"
        if track.name not in tracks or track.name in plan:
            allowed = ", ".join(f'"{name}"' for name in tracks if name not in plan) or "no more tracks"
            raise SheetError(
                f'found "{track.name}"; allowed: each track once: {allowed}', file=path, key=f"{key}.name"
            )
        plan[track.name] = tuple(
            _take(path, f"{key}.take[{n}]", entry, sheet, track.name, extent)
            for n, entry in enumerate(track.take, 1)
        )
        for n, (before, after) in enumerate(pairwise(plan[track.name]), 2):
            if after.at <= before.at:
                raise SheetError(
                    f'track {track.name}: found "{track.take[n - 1].at}" after "{track.take[n - 2].at}"; '
                    "allowed: takes in order, each later than the one before it",
                    file=path,
                    key=f"{key}.take[{n}].at",
                )
    missing = [name for name in tracks if name not in plan]
    if missing:
        raise SheetError(f'has no takes for "{missing[0]}"; allowed: every track of the session', file=path)
    return plan


def _parse(path: Path) -> _PlanModel:
    values = parse_toml(decode_text(read_file(path, PLAN), path, PLAN), path)
    try:
        return _PlanModel.model_validate(values)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        problem = f"{_where(values, first['loc'])}{_problem(first)}"
        raise SheetError(problem, file=path, key=dotted_key(first["loc"])) from error


def _problem(details: ErrorDetails) -> str:
    """Return what was found at a key of a plan and what is allowed there."""
    key = next(part for part in reversed(details["loc"]) if isinstance(part, str))
    allowed = f"allowed: {_ALLOWED.get(key, 'one of ' + ', '.join(_ALLOWED))}"
    if details["type"] == "missing":
        return f"missing; {allowed}"
    if details["type"] == "extra_forbidden":
        keys = ("at", "pass", "fade", "woven") if "take" in details["loc"] else ("name", "take")
        return f"unknown key; allowed: {', '.join(keys if len(details['loc']) > 1 else ('format', 'title', 'track'))}"
    return f"found {shown(details['input'])}; {allowed}"


def _where(values: Mapping[str, Any], loc: Sequence[str | int]) -> str:
    """Return the name of the track that a mistake is on, and the take's place, as far as the plan has them."""
    held: Any = values
    words = []
    for part, label in zip(loc, (None, "name", None, "at"), strict=False):
        try:
            held = held[part]
            if label:
                words.append(f"{'track' if label == 'name' else 'at'} {shown(held[label])}")
        except (KeyError, TypeError, IndexError):
            break
    return f"{', '.join(words)}: " if words else ""


def _take(path: Path, key: str, entry: _TakeModel, sheet: Sheet, track: str, extent: Range) -> Take:
    passes = {
        one.name
        for one in sheet.passes
        for reel in sheet.reels
        if reel.name == one.reel and track in reel.tracks
    }
    if entry.pass_name and entry.pass_name not in passes:
        allowed = ", ".join(f'"{name}"' for name in sorted(passes))
        raise SheetError(
            f'track {track}, at {entry.at}: found "{entry.pass_name}"; allowed: "" for silence, or a pass that holds '
            f"{track}: {allowed}",
            file=path,
            key=f"{key}.pass",
        )
    try:
        at = _sample(entry.at, sheet.session, extent)
    except TimecodeError as error:
        raise SheetError(f"track {track}: {error}", file=path, key=f"{key}.at") from error
    return Take(at, entry.pass_name or None, entry.fade, entry.woven)


def _sample(text: str, session: Session, extent: Range) -> int:
    rate = frame_rate(session.frame_rate)
    found = _PLACE.fullmatch(text.strip())
    if found is None:
        raise TimecodeError(f'found "{text}"; allowed: a label, or a label + samples, as "01:00:00:00+120"')
    sample = label_sample(found["label"], rate, session.sample_rate) + int(found["samples"] or 0)
    return nearest_day(sample, *extent, day_samples(rate, session.sample_rate))


def _inline(take: Take, at: str) -> Any:  # noqa: ANN401 - tomlkit's own type
    import tomlkit  # noqa: PLC0415 - as above

    entry = tomlkit.inline_table()
    entry.add("at", at)
    entry.add("pass", take.pass_name or "")
    if take.fade is not None:
        entry.add("fade", take.fade)
    if take.woven:
        entry.add("woven", take.woven)
    return entry
