"""The session sheet: what a person writes about a session, as checked records.

Reading and checking (``load_sheet``), the capture files a sheet stands for (``find_audio``,
``find_timecode``), names as file names. A foundation: imports nothing else of the package but its errors.
"""

from assembler.sheet.faults import sheet_error
from assembler.sheet.files import find_audio, find_timecode
from assembler.sheet.model import (
    Deliver,
    Pass,
    Reel,
    Repair,
    Session,
    Sheet,
    smallest_word_length,
)
from assembler.sheet.names import file_name, natural_key, unique_file_names
from assembler.sheet.preparation import NO_ADVICE, preparation_cautions, preparation_words, reel_cautions
from assembler.sheet.reading import load_sheet, parse_sheet
from assembler.sheet.sources import LOG_SUFFIXES, TimecodeSource
from assembler.sheet.stretches import Accepted, Punch, ReelStretch, Unrecorded
from assembler.sheet.texts import shown, without_control_characters
from assembler.sheet.toml import TomlKind, decode_text, parse_toml, read_file

__all__ = [
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
    "unique_file_names",
    "without_control_characters",
]
