"""What is known is kept: results that took long to find, for files that have not changed since.

Question: was this found out before, of these very bytes and by this very program?
Input: what is asked (a name and its arguments, captures among them) and how to find it.
Output: what is found, from the folder or anew. Nothing here knows what a result means; nothing delivered rests on it.

Each in its file:

- `known`: a question asked, an answer kept; which files may be believed.
- `plain`: values to JSON and back: records, enumerations, arrays.
- `store`: a folder of entries: whole or absent, bounded, private; `folder`: where that is.
- `program`: what this very program is, so that another one finds nothing of it.
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
