"""Coding history: each step that a track has come through, from the tape to the set.

Source: EBU R 98-1999.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assembler.sheet import NO_ADVICE, preparation_words
from assembler.wave import coding_history_row

if TYPE_CHECKING:
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedReel, RecordedSet

HISTORY_LIMIT: Final = 12_000
"""Characters of all rows together; see the limits of other texts in `metadata`."""


def coding_history(record: RecordedSet, track: RecordedTrack) -> list[str]:
    """Return one row for each step of the chain: for each reel the tape and its transfer, then the assembly."""
    session = record.session
    taken = track.taken
    rows: list[str] = []
    for reel in reels_of(record, track):
        passes = [name for name in taken if record.pass_named(name).reel == reel.name]
        recorded = f"; recorded {session.date}" if session.date else ""
        words = "; ".join(preparation_words(reel.prepared))
        if words and record.format > 1:
            words += f" ({NO_ADVICE.replace(',', ';')})"
        native = (
            f"tape; reel {reel.name} track {record.tape_track(track, reel.name) + 1}{recorded}",
            f"transfer; reel {reel.name}; {'passes ' + '+'.join(passes) if passes else 'not used'}; {words}",
        )
        rows += [_row(session.sample_rate, _native_word(record, reel), text) for text in native]
    return [*rows, _row(session.sample_rate, session.word_length, _assembly_words(record, track, taken))]


def fitting_rows(rows: list[str]) -> list[str]:
    """Return rows of coding history, each cut to its share of ``HISTORY_LIMIT`` where they are more together."""
    ends = 2  # CR LF
    if sum(len(row) + ends for row in rows) <= HISTORY_LIMIT:
        return rows
    return [row[: max(0, HISTORY_LIMIT // len(rows) - ends)] for row in rows]


def _assembly_words(record: RecordedSet, track: RecordedTrack, taken: list[str]) -> str:
    session = record.session
    fades = sum(1 for join in track.joins if join.fade)
    words = f"assembly; {record.program}; from {'+'.join(taken) or 'nothing'}; "
    words += f"joins: {len(track.joins)}; fades: {fades}"
    if track.woven:
        words += f"; woven: {sum(filled.samples for _, filled in track.woven)} samples"
    words += "; dither in the fades alone" if fades else "; no dither"
    if session.bit_depth < session.word_length:
        words += f"; {session.bit_depth} valid bits in {session.word_length}"
    return words


def _row(sample_rate: int, word_length: int, text: str) -> str:
    return coding_history_row(
        sample_rate=sample_rate, word_length=word_length, channels=1, text=text.rstrip("; ")
    )


def _native_word(record: RecordedSet, reel: RecordedReel) -> int:
    return reel.bit_depth or record.session.bit_depth


def native_words(record: RecordedSet, track: RecordedTrack) -> str:
    """Return the word lengths of the tapes that a track is on: one, unless they differ."""
    words = dict.fromkeys(_native_word(record, reel) for reel in reels_of(record, track))
    return " and ".join(str(word) for word in words)


def reels_of(record: RecordedSet, track: RecordedTrack) -> list[RecordedReel]:
    """Return the reels that a track comes from, in the order of the record."""
    return [reel for reel in record.reels if reel.name in track.reels]
