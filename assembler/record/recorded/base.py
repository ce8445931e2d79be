"""What all parts of a read record share: strict, frozen, keys that are not needed let by."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from typing import Annotated, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

MOST_SAMPLES = 1 << 48
"""Forty-six years at 192 kHz: past that a number is no place on a tape."""

Count: TypeAlias = Annotated[int, Field(ge=0, le=MOST_SAMPLES)]
Digest: TypeAlias = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Recorded(BaseModel):
    """A part of a record."""

    model_config = ConfigDict(
        frozen=True,
        extra="ignore",
        populate_by_name=True,
        strict=True,
        allow_inf_nan=False,
        defer_build=True,
    )


class RecordedBecause(Recorded):
    """The rule that decided, and its lead in nats; nothing where it counts none."""

    rule: str
    nats: float | None = None
