"""From captures on disk to passes in memory.

Question: what does a sheet's session hold, opened and placed by timecode alone?
Input: a checked sheet, and what is known.
Output: an `ImportedSession`: open audio, a place for each pass, notes on what is odd about its files.

Each in its file:

- `session`: all passes opened and placed; files whose rate, number or length does not fit are refused or told.
- `audio`: the tracks of a pass as samples, read when they are asked for.
- `places/`: where its own timecode puts a pass.
- `keeping`: how open captures stand in what is known.
"""

from assembler.importer.audio import PassAudio
from assembler.importer.keeping import sheet_words
from assembler.importer.places.position import CoarseSlip, Position, search_doubt
from assembler.importer.session import ImportedPass, ImportedSession, import_session

__all__ = [
    "CoarseSlip",
    "ImportedPass",
    "ImportedSession",
    "PassAudio",
    "Position",
    "import_session",
    "search_doubt",
    "sheet_words",
]
