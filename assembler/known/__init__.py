"""What is known is kept: results that took long to find, for files that have not changed since.

In: what was asked (a name and its arguments, captures among them) and how to find it. Out: what is found, from the
folder or anew. Nothing here knows what a result means; nothing that is delivered rests on it alone.

    plain    values to JSON and back: records, enumerations, arrays
    program  what this very program is, so that another one finds nothing of it
    store    a folder of entries: whole or absent, bounded, private
    known    a question asked, an answer kept; which files may be believed
"""

from assembler.known.folder import FOLDER_VARIABLE, cache_folder, open_known
from assembler.known.known import NOTHING, SMALL_BYTES, Known
from assembler.known.plain import Outside

__all__ = [
    "FOLDER_VARIABLE",
    "NOTHING",
    "SMALL_BYTES",
    "Known",
    "Outside",
    "cache_folder",
    "open_known",
]
