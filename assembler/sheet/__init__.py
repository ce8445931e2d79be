"""The session sheet: what a person writes about a session, as checked records.

Question: what does a sheet say, and for which files on disk does it stand?
Input: the path or the bytes of a sheet.
Output: a `Sheet`, or the first mistake with its line and the number of the others; a pass's capture files and log.

Each in its file:

- `reading`: bytes to a sheet: tables one by one, then all together.
- `model/`: what each key may hold; `checks/`: what tables must say about each other; `text/`: TOML, and lines of keys.
- `faults`: from a key to the error that a person reads; `near`: the path that somebody may have meant.
- `files`: the captures and logs that paths stand for; `patterns`: what a pattern matches.
- `names`: names as file names, and in the order in which a person counts.
- `preparation`: transfer notes in words, and where they call for caution.
"""

from assembler.sheet.faults import dotted_key, sheet_error
from assembler.sheet.files import find_audio, find_timecode
from assembler.sheet.model.sources import LOG_SUFFIXES, TimecodeSource
from assembler.sheet.model.stretches import Accepted, Punch, ReelStretch, Unrecorded
from assembler.sheet.model.tables import (
    Deliver,
    Pass,
    Reel,
    Repair,
    Session,
    Sheet,
    smallest_word_length,
)
from assembler.sheet.model.values import shown, without_control_characters
from assembler.sheet.names import file_name, natural_key
from assembler.sheet.preparation import NO_ADVICE, preparation_cautions, preparation_words, reel_cautions
from assembler.sheet.reading import LARGEST_SHEET, load_sheet, parse_sheet
from assembler.sheet.text.toml import TomlKind, decode_text, parse_toml, read_file

__all__ = [
    "LARGEST_SHEET",
    "LOG_SUFFIXES",
    "NO_ADVICE",
    "Accepted",
    "Deliver",
    "Pass",
    "Punch",
    "Reel",
    "ReelStretch",
    "Repair",
    "Session",
    "Sheet",
    "TimecodeSource",
    "TomlKind",
    "Unrecorded",
    "decode_text",
    "dotted_key",
    "file_name",
    "find_audio",
    "find_timecode",
    "load_sheet",
    "natural_key",
    "parse_sheet",
    "parse_toml",
    "preparation_cautions",
    "preparation_words",
    "read_file",
    "reel_cautions",
    "sheet_error",
    "shown",
    "smallest_word_length",
    "without_control_characters",
]
