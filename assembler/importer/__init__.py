"""From captures on disk to passes in memory."""

from assembler.importer.audio import PassAudio
from assembler.importer.notes import NEED_A_PERSON, Held, Note
from assembler.importer.position import CoarseSlip, Position, search_doubt
from assembler.importer.session import ImportedPass, ImportedSession, import_session

__all__ = [
    "NEED_A_PERSON",
    "CoarseSlip",
    "Held",
    "ImportedPass",
    "ImportedSession",
    "Note",
    "PassAudio",
    "Position",
    "import_session",
    "search_doubt",
]
