"""A row of the ledger: all that is known of one session at one moment."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
import json
from collections.abc import Iterable, Mapping
from enum import StrEnum

from pydantic import BaseModel, ConfigDict, ValidationError, computed_field

FORMAT = 1


class SessionState(StrEnum):
    """What has become of a session; the worst comes last."""

    SAVED = "saved"
    """Its set is built, and nothing is left for a person to decide."""
    ASKS = "asks"
    """Its set is built, and something in it needs a person."""
    FAILED = "failed"
    """It could not be built."""
    DAMAGED = "damaged"
    """Its set was built, and is not what it was."""


class _Kept(BaseModel):
    # Keys of later versions are let by.
    model_config = ConfigDict(frozen=True, extra="ignore", defer_build=True)


class ReelRow(_Kept):
    """One tape of a session.

    Args:
        name: of the reel.
        prepared: its transfer notes, as text.
        seconds: of tape that its passes cover, from the first sample to the last.
        states: share of each state, 0 to 1, each stretch counted by its worst track.
        rolls: how often it must be played again.
        roll_seconds: of playing, pre-rolls included.
    """

    name: str
    prepared: Mapping[str, str] = {}
    seconds: float = 0.0
    states: Mapping[str, float] = {}
    rolls: int = 0
    roll_seconds: float = 0.0


class Row(_Kept):
    """All that is known of a session at one moment.

    Args:
        format: of the row.
        session: its name in the collection; stays the same when its files are moved.
        sheet: where its sheet was.
        title: by its sheet.
        status: exit status of its last build, 0, 1 or 2; -1 before there was one.
        set_name: the folder of its last set, in the root; "" where it has none.
        set_bytes: that this folder takes.
        places: that ask for a person.
        reels: its tapes.
        digest: of what the set was made from.
        seen: of the states that these files had.
        shape: digest of the sheet, and of names and sizes of its files: sets of another shape are not this session's.
        program: that built it, with its version.
        built: when, UTC.
        build_seconds: how long that took.
        verified: when the set was last found whole, or damaged; "" for never since it was built.
        damage: what was wrong with it then, "" where nothing was.
        words: why the session failed, or what it asks.
    """

    format: int = FORMAT
    session: str
    sheet: str
    title: str = ""
    status: int = -1
    set_name: str = ""
    set_bytes: int = 0
    places: int = 0
    reels: tuple[ReelRow, ...] = ()
    digest: str = ""
    seen: str = ""
    shape: str = ""
    program: str = ""
    built: str = ""
    build_seconds: float = 0.0
    verified: str = ""
    damage: str = ""
    words: str = ""

    @computed_field  # type: ignore[prop-decorator]
    @property
    def state(self) -> SessionState:
        """What has become of the session."""
        if self.damage:
            return SessionState.DAMAGED
        return {0: SessionState.SAVED, 1: SessionState.ASKS}.get(self.status, SessionState.FAILED)

    @computed_field  # type: ignore[prop-decorator]
    @property
    def seconds(self) -> float:
        """Seconds of tape, all reels together."""
        return round(sum(reel.seconds for reel in self.reels), 3)

    @computed_field  # type: ignore[prop-decorator]
    @property
    def rolls(self) -> int:
        """How often its tapes must be played again."""
        return sum(reel.rolls for reel in self.reels)

    @computed_field  # type: ignore[prop-decorator]
    @property
    def roll_seconds(self) -> float:
        """Seconds of that playing."""
        return round(sum(reel.roll_seconds for reel in self.reels), 3)


def row_line(row: Row) -> bytes:
    """Return a row as one line of the ledger."""
    return json.dumps(row.model_dump(mode="json"), separators=(",", ":")).encode("ascii") + b"\n"


def read_row(line: bytes | str) -> Row:
    """Return the row in a line.

    Raises:
        ValueError: there is none; the message says what was found, and what is allowed.
    """
    try:
        row = Row.model_validate_json(line)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ValueError(f"no row of a ledger{f': {key}' if key else ''}: {first['msg']}") from error
    if row.format != FORMAT:
        raise ValueError(f"found format {row.format}; allowed: {FORMAT}")
    return row


def latest_rows(rows: Iterable[Row]) -> dict[str, Row]:
    """Return the last row of each session by its name, in the order in which sessions were first seen."""
    return {row.session: row for row in rows}


def whole_sets(rows: Iterable[Row]) -> dict[str, Row]:
    """Return for each set that was ever built the row that tells of it; not of those that were found damaged.

    A later build that failed says nothing of what the older set was made from.
    """
    found: dict[str, Row] = {}
    for row in rows:
        if row.set_name and row.status in (0, 1):
            found[row.set_name] = row
        elif row.set_name in found:
            kept = {"verified": row.verified, "damage": row.damage}
            found[row.set_name] = found[row.set_name].model_copy(update=kept)
    return {name: row for name, row in found.items() if not row.damage}
