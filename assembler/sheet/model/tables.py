"""The records that a session sheet becomes.

pydantic checks what one table says by itself; what tables say about each other is checked in ``checks``.
Each field's ``description`` is what the sheet allows there, in the words that a person is shown after
"allowed:". All records are frozen. Times are milliseconds or timecode labels, as the key's name says; word
lengths are bits; paths are text as the sheet has them, relative to the sheet's folder.
"""

# Annotations are read while the program runs, by pydantic: no postponed evaluation in this module.
import datetime as dt
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator

from assembler.sheet.model.sources import TIMECODE_ALLOWED, TimecodeSource, read_timecode
from assembler.sheet.model.stretches import Accepted, FadeMs, Punch, Unrecorded
from assembler.sheet.model.values import Name, Record, Text, plain_text, refusal, shown_key

FrameRateName: TypeAlias = Literal["24", "25", "29.97", "29.97df", "30"]
Checksum: TypeAlias = Literal["sha256", "sha512", "md5"]

# What is allowed of every path, in the words of an error.
INSIDE: Final = "files inside it (or --allow-outside)"

# Sixteen machines in sync give 128 tracks; the limits only keep a nonsensical sheet from costing memory.
_MOST_TRACKS = 1024
MOST_FILES = 4096
_PREPARED_NUMBERS = ("baked_c", "baked_f", "baked_hours", "warmed_c", "warmed_f")


def _tuple_from_list(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _no_fraction(value: object) -> object:
    """Refuse 16.0 for 16: the two are equal, and what follows from the number asks for its kind."""
    if isinstance(value, float):
        raise refusal(value, "a whole number of bits, 16, 20 or 24")
    return value


def _each_once(checksums: tuple[str, ...]) -> tuple[str, ...]:
    if len(set(checksums)) < len(checksums):
        raise ValueError("found the same checksum twice; allowed: each once")
    return checksums


def _read_tracks(value: object) -> tuple[str, ...]:
    """The reel's track names in tape order, each name once."""
    if not isinstance(value, (list, tuple)) or not 1 <= len(value) <= _MOST_TRACKS:
        raise refusal(value, f'a list of 1 to {_MOST_TRACKS} names, "" for unused tracks')
    first_use: dict[str, int] = {}
    for number, name in enumerate(value, 1):
        if not isinstance(name, str) or (name and not name.strip()):
            raise refusal(name, 'a name, or "" for an unused track', f" for track {number}")
        plain_text(name)
        if name and first_use.setdefault(name, number) != number:
            raise refusal(name, "each name once in a reel", f" for tracks {first_use[name]} and {number}")
    if not first_use:
        raise ValueError('found every track unused (""); allowed: at least one track with a name')
    return tuple(value)


def _read_prepared(value: object) -> Mapping[str, object]:
    """Transfer notes: free keys, single values, temperatures and hours as numbers."""
    if not isinstance(value, Mapping):
        raise refusal(value, "a table of notes, for instance { baked_c = 54.4 }")
    for key, note in value.items():
        plain_text(key)
        where = f" for {shown_key(key)}"
        if not isinstance(note, (str, int, float, dt.date, dt.time)):
            raise refusal(note, "a text, a number, true, false or a date", where)
        if isinstance(note, str):
            plain_text(note)
        if isinstance(note, float) and not math.isfinite(note):
            raise refusal(note, "a finite number", where)
        if key in _PREPARED_NUMBERS and (isinstance(note, bool) or not isinstance(note, (int, float))):
            raise refusal(note, "a number", where)
    return dict(value)


def _read_audio(value: object) -> str | tuple[str, ...]:
    """One path or pattern, or a list of paths."""
    paths = tuple(value) if isinstance(value, (list, tuple)) else (value,)
    if not 1 <= len(paths) <= MOST_FILES:
        raise refusal(value, f"1 to {MOST_FILES} files")
    seen: set[str] = set()
    for path in paths:
        if not isinstance(path, str) or not path.strip():
            raise refusal(path, "a path, a pattern, or a list of paths")
        plain_text(path)
        if path in seen:
            raise refusal(path, "each file once", " twice")
        seen.add(path)
    return value if isinstance(value, str) else paths


class Session(Record):
    """What holds for the whole set. ``start`` and ``end`` are timecode labels; ``end`` is excluded."""

    title: Annotated[Name, Field(description="the session's title, a text")]
    sample_rate: Annotated[
        int,
        Field(
            ge=8000, le=192_000, description="44100 or 48000 (whole numbers from 8000 to 192000 are accepted)"
        ),
    ]
    bit_depth: Annotated[
        Literal[16, 20, 24], BeforeValidator(_no_fraction), Field(description="16, 20 or 24")
    ]
    frame_rate: Annotated[
        FrameRateName, Field(description='one of "24", "25", "29.97", "29.97df", "30", in quotation marks')
    ]
    date: Annotated[
        dt.date | None, Field(description="a date without quotation marks, for instance 1995-09-02")
    ] = None
    originator: Annotated[Text, Field(description="a text")] = ""
    reference: Annotated[Text, Field(description="a text")] = ""
    description: Annotated[Text, Field(description="a text")] = ""
    timecode_delay_ms: Annotated[
        float, Field(ge=-10_000, le=10_000, description="milliseconds from -10000 to 10000")
    ] = 0.0
    start: Annotated[Text | None, Field(description='a timecode label, for instance "01:00:00:00"')] = None
    end: Annotated[Text | None, Field(description='a timecode label, for instance "01:00:00:00"')] = None


class Reel(Record):
    """One tape: ``tracks`` in tape order, ``""`` for an unused one; ``prepared`` are transfer notes.

    ``timecode_offset`` is a signed label that is added to the tape's timecode. ``bit_depth`` is this tape's own word
    length, None where it is the session's.
    """

    name: Annotated[Name, Field(description="the reel's name, a text")]
    tracks: Annotated[
        tuple[str, ...], PlainValidator(_read_tracks), Field(description='a list of names, "" for unused')
    ]
    prepared: Annotated[Mapping[str, object], PlainValidator(_read_prepared)] = Field(
        default_factory=dict, description="a table of notes"
    )
    timecode_offset: Annotated[
        Text | None, Field(description='a signed label, for instance "-00:10:00:00"')
    ] = None
    bit_depth: Annotated[
        Literal[16, 20, 24] | None, BeforeValidator(_no_fraction), Field(description="16, 20 or 24")
    ] = None


class Pass(Record):
    """One continuous capture of one reel. ``audio`` is one path or pattern, or a list of paths."""

    name: Annotated[Name, Field(description="the pass's name, a text")]
    reel: Annotated[Name, Field(description="the name of a reel")]
    audio: Annotated[
        str | tuple[str, ...],
        PlainValidator(_read_audio),
        Field(description='a pattern, a file or a list of files, for instance "captures/A1/*.wav"'),
    ]
    timecode: Annotated[
        TimecodeSource, PlainValidator(read_timecode), Field(description=TIMECODE_ALLOWED)
    ] = TimecodeSource()
    timecode_delay_ms: Annotated[
        float | None, Field(ge=-10_000, le=10_000, description="milliseconds from -10000 to 10000")
    ] = None
    relabel: Annotated[bool, Field(description="true or false")] = False
    fix: Annotated[bool, Field(description="true or false")] = False


class Repair(Record):
    """How flaws are cured."""

    mode: Annotated[Literal["auto", "listed", "off"], Field(description='"auto", "listed" or "off"')] = "auto"
    scope: Annotated[Literal["track", "reel"], Field(description='"track" or "reel"')] = "track"
    fade_ms: Annotated[FadeMs, Field(description="milliseconds from 0 to 10000")] = 10.0
    unlike: Annotated[Literal["cure", "list"], Field(description='"cure" or "list"')] = "cure"


class Deliver(Record):
    """What is delivered; ``word_length`` in bits, filled in from the session where the sheet is silent."""

    word_length: Annotated[Literal[16, 24], BeforeValidator(_no_fraction), Field(description="16 or 24")]
    checksums: Annotated[
        tuple[Checksum, ...],
        BeforeValidator(_tuple_from_list),
        AfterValidator(_each_once),
        Field(
            min_length=1, max_length=3, description='a list of one or more of "sha256", "sha512" and "md5"'
        ),
    ] = ("sha256",)
    timecode_tracks: Annotated[bool, Field(description="true or false")] = False


@dataclass(frozen=True)
class Sheet:
    """A whole session sheet, checked.

    Attributes:
        path: the file it was read from, None for text that was never a file.
        folder: what the sheet's paths are relative to.
        text: the sheet, byte for byte.
        accepted: places that a person lets stand.
        unrecorded: stretches that were never recorded.
        allow_outside: the sheet's paths may lead out of ``folder``.
    """

    path: Path | None
    folder: Path
    text: bytes
    session: Session
    reels: tuple[Reel, ...]
    passes: tuple[Pass, ...]
    punches: tuple[Punch, ...]
    repair: Repair
    deliver: Deliver
    allow_outside: bool = False
    accepted: tuple[Accepted, ...] = ()
    unrecorded: tuple[Unrecorded, ...] = ()

    @cached_property
    def timecode_files(self) -> frozenset[Path]:
        """Files, links followed, that any pass names as its timecode: looked up once, as there may be thousands."""
        return frozenset(
            Path(os.path.realpath(self.folder / str(one.timecode.value)))
            for one in self.passes
            if one.timecode.kind in ("log", "ltc")
        )


def smallest_word_length(bit_depth: int) -> int:
    """Return the smallest delivered word length, in bits, that holds ``bit_depth``."""
    return 16 if bit_depth <= 16 else 24
