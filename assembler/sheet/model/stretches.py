"""The tables of a sheet that say something of one stretch of a reel: punches, accepted places, what was never recorded.

Labels are timecode, ``end`` excluded. ``tracks`` are names as the reel has them; None stands for all of them.
"""

# Annotations are read while the program runs, by pydantic: no postponed evaluation in this module.
from typing import Annotated, TypeAlias

from pydantic import Field, PlainValidator

from assembler.sheet.model.values import Name, Record, Text, plain_text, refusal

FadeMs: TypeAlias = Annotated[float, Field(ge=0, le=10_000)]

_MOST_NAMES = 1024


def _read_names(value: object) -> tuple[str, ...]:
    """A list of names, each once."""
    if not isinstance(value, (list, tuple)) or not 1 <= len(value) <= _MOST_NAMES:
        raise refusal(value, f"a list of 1 to {_MOST_NAMES} names, or no such key")
    seen: set[str] = set()
    for number, name in enumerate(value, 1):
        if not isinstance(name, str) or not name.strip():
            raise refusal(name, "a name", f" as name {number} of the list")
        plain_text(name)
        if name in seen:
            raise refusal(name, "each name once", " twice")
        seen.add(name)
    return tuple(value)


_Names: TypeAlias = Annotated[tuple[str, ...] | None, PlainValidator(_read_names)]
_Label: TypeAlias = Annotated[Text, Field(description='a timecode label, for instance "01:00:00:00"')]


class ReelStretch(Record):
    """A stretch of a reel, on all its tracks or on some."""

    reel: Annotated[Name, Field(description="the name of a reel")]
    start: _Label
    end: _Label
    tracks: Annotated[_Names, Field(description="a list of names of tracks of the reel")] = None


class Punch(ReelStretch):
    """A stretch that is to be taken from a named pass."""

    pass_name: Annotated[Name, Field(alias="pass", description="the name of a pass")]
    fade_ms: Annotated[FadeMs | None, Field(description="milliseconds from 0 to 10000")] = None


class Accepted(ReelStretch):
    """A stretch that a person has listened to and lets stand as it is.

    ``take`` is the pass that is to be used there, None for whatever the program takes. ``passes`` are those that lay
    there for the person to judge by: what another one has there is news. A sheet that names none means the passes of
    the reel whose tables stand above this one, or all of them if none does; they are filled in when it is read.
    """

    take: Annotated[Name | None, Field(description="the name of a pass")] = None
    passes: Annotated[_Names, Field(description="a list of names of passes of the reel")] = None
    reason: Annotated[Name, Field(description="why the place may stand, a text")]
    by: Annotated[Name, Field(description="who has decided, a text")]


class Unrecorded(ReelStretch):
    """A stretch of a tape that was never recorded: silence there is no flaw."""
