"""From captures on disk to passes in memory."""

from assembler.importer.audio import PassAudio
from assembler.importer.keeping import sheet_words
from assembler.importer.position import CoarseSlip, Position, search_doubt
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
