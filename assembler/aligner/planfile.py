"""The plan as text: which pass each stretch of each track is taken from, for a person to read and change.

A plan is TOML. Every track has a list of takes in order; a take begins at ``at`` and runs to the next one, or to
the set's end. ``at`` is a timecode label and, where a take begins inside a frame, ``+`` and samples into it.
An empty ``pass`` is silence. Joins are not written: they follow from the takes, and are proved or faded when
the set is built. ``fade`` (samples) stands where the program chose a length other than the sheet's.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any

import tomlkit
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assembler.aligner.edit import CONSTANT_POWER
from assembler.errors import SheetError, TimecodeError
from assembler.timecode import format_sample, frame_rate, frame_to_sample, parse_label, sample_to_frame

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.edit import Edit, TrackEdit
    from assembler.sheet import Session, Sheet

FORMAT = 1
LARGEST_PLAN = 16 << 20
_PLACE = re.compile(r"(?P<label>[^+]+?)\s*(?:\+\s*(?P<samples>[0-9]{1,6}))?")


@dataclass(frozen=True)
class Take:
    """A stretch of a track that begins at ``at`` (timeline sample) and is taken from one pass, or is silence.

    ``fade`` is the length in samples of the fade at its beginning; None for the sheet's.
    """

    at: int
    pass_name: str | None
    fade: int | None = None


Plan = dict[str, tuple[Take, ...]]
"""Takes by track name."""


class _TakeModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    at: str
    pass_name: Annotated[str, Field(alias="pass")]
    fade: Annotated[int | None, Field(ge=0, le=10_000_000)] = None


class _TrackModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    name: str
    take: Annotated[list[_TakeModel], Field(min_length=1)]


class _PlanModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)
    format: int
    title: str = ""
    track: list[_TrackModel]


def write_plan(sheet: Sheet, edit: Edit) -> str:
    """Return the plan of an edit as TOML text. Building with it unchanged gives the same set."""
    document = tomlkit.document()
    for line in (
        "Which pass each stretch of each track is taken from. Change it by hand, then build with --plan.",
        'A take begins at its timecode (+ samples) and runs to the next one. pass = "" is silence.',
        "Sides that are bit-identical are joined without a fade, others with the sheet's fade_ms or fade = samples.",
    ):
        document.add(tomlkit.comment(line))
    document.add("format", FORMAT)
    document.add("title", sheet.session.title)
    tracks = tomlkit.aot()
    for track in edit.tracks:
        table = tomlkit.table()
        table.add("name", track.track.name)
        takes = tomlkit.array()
        for take in _takes(track, edit.start_sample):
            takes.append(_inline(take, sheet.session))
        table.add("take", takes.multiline(multiline=True))
        tracks.append(table)
    document.add("track", tracks)
    return tomlkit.dumps(document)


def read_plan(path: Path, sheet: Sheet, start: int) -> Plan:
    """Return the takes of every track.

    Args:
        path: the plan.
        sheet: the session that it belongs to.
        start: timeline sample of the set's first sample; labels past midnight are taken to follow it.

    Raises:
        SheetError: it is no plan of this session; the message names the file, the key and what is allowed.
    """
    model = _parse(path)
    if model.format != FORMAT:
        raise SheetError(f"found {model.format}; allowed: {FORMAT}", file=path, key="format")
    wanted = {name: reel.name for reel in sheet.reels for name in reel.tracks if name}
    plan: Plan = {}
    for number, track in enumerate(model.track, 1):
        key = f"track[{number}]"
        if track.name not in wanted or track.name in plan:
            allowed = ", ".join(f'"{name}"' for name in wanted if name not in plan)
            raise SheetError(
                f'found "{track.name}"; allowed: each track once: {allowed}', file=path, key=f"{key}.name"
            )
        plan[track.name] = tuple(
            _take(path, f"{key}.take[{n}]", entry, sheet, track.name, start)
            for n, entry in enumerate(track.take, 1)
        )
        for n, (before, after) in enumerate(pairwise(plan[track.name]), 2):
            if after.at <= before.at:
                raise SheetError(
                    "begins no later than the take before it; allowed: takes in order",
                    file=path,
                    key=f"{key}.take[{n}].at",
                )
    missing = [name for name in wanted if name not in plan]
    if missing:
        raise SheetError(f'has no takes for "{missing[0]}"; allowed: every track of the session', file=path)
    return plan


def _parse(path: Path) -> _PlanModel:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SheetError(f"cannot be read: {error.strerror}", file=path) from error
    if len(data) > LARGEST_PLAN:
        raise SheetError(f"has {len(data)} bytes; allowed: {LARGEST_PLAN}", file=path)
    try:
        values: Mapping[str, Any] = tomllib.loads(data.decode("utf-8-sig"))
        return _PlanModel.model_validate(values)
    except UnicodeDecodeError as error:
        raise SheetError("is not UTF-8 text", file=path) from error
    except tomllib.TOMLDecodeError as error:
        raise SheetError(f"not valid TOML: {error}", file=path) from error
    except ValidationError as error:
        first = error.errors()[0]
        raise SheetError(
            f"{first['msg'][:1].lower()}{first['msg'][1:]}", file=path, key=_key(first["loc"])
        ) from error


def _key(parts: Sequence[str | int]) -> str:
    key = ""
    for part in parts:
        key += f"[{part + 1}]" if isinstance(part, int) else ("." if key else "") + part
    return key


def _take(path: Path, key: str, entry: _TakeModel, sheet: Sheet, track: str, start: int) -> Take:
    passes = {
        one.name
        for one in sheet.passes
        for reel in sheet.reels
        if reel.name == one.reel and track in reel.tracks
    }
    if entry.pass_name and entry.pass_name not in passes:
        allowed = ", ".join(f'"{name}"' for name in sorted(passes))
        raise SheetError(
            f'found "{entry.pass_name}"; allowed: "" for silence, or a pass that holds {track}: {allowed}',
            file=path,
            key=f"{key}.pass",
        )
    try:
        at = _sample(entry.at, sheet.session, start)
    except TimecodeError as error:
        raise SheetError(str(error), file=path, key=f"{key}.at") from error
    return Take(at, entry.pass_name or None, entry.fade)


def _sample(text: str, session: Session, near: int) -> int:
    rate = frame_rate(session.frame_rate)
    found = _PLACE.fullmatch(text.strip())
    if found is None:
        raise TimecodeError(f'found "{text}"; allowed: a label, or a label + samples, as "01:00:00:00+120"')
    sample = frame_to_sample(parse_label(found["label"], rate), rate, session.sample_rate)
    sample += int(found["samples"] or 0)
    day = round(rate.frames_per_day * session.sample_rate / rate.exact)
    return sample + day if near - sample > day / 2 else sample


def _place(sample: int, session: Session) -> str:
    rate = frame_rate(session.frame_rate)
    rest = sample - frame_to_sample(
        sample_to_frame(sample, rate, session.sample_rate), rate, session.sample_rate
    )
    label = format_sample(sample, rate, session.sample_rate)
    return f"{label}+{rest}" if rest else label


def _takes(track: TrackEdit, start: int) -> list[Take]:
    """Return the takes of a track; spans of one pass on both sides of a slip are one take."""
    takes: list[Take] = []
    for index, span in enumerate(track.spans):
        if takes and takes[-1].pass_name == span.pass_name:
            continue
        join = track.joins[index - 1] if index else None
        fade = join.fade if join is not None and join.law == CONSTANT_POWER else None
        takes.append(Take(span.start + start, span.pass_name, fade))
    return takes


def _inline(take: Take, session: Session) -> Any:  # noqa: ANN401 - tomlkit's own type
    entry = tomlkit.inline_table()
    entry.add("at", _place(take.at, session))
    entry.add("pass", take.pass_name or "")
    if take.fade is not None:
        entry.add("fade", take.fade)
    return entry
