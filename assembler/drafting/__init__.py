"""A first sheet for a folder of captures, and a sheet that grows with them.

Question: which of the files in a folder are captures, of which tape is each, and how does a sheet say so?
Input: a folder, and the sheet that names some of its captures already.
Output: the text of a sheet for a person to correct; what was guessed is marked so.

Each in its file:

- `looking`: what lies where in a folder; mixes and what cannot be read are left out.
- `found`: that as records.
- `names`: what names of folders and files say of tapes, passes and tracks.
- `hearing`: what the sound of one capture shows: bits in use, what stands still, where its log puts it.
- `tapes`: which captures are of one tape, and which comes first.
- `writing`: a sheet, or more tables for one, as text.
- `draft`: a first sheet from all that; `growing`: new captures in a sheet that stands.
"""

from assembler.drafting.draft import draft_sheet, place_within, sheet_by_names
from assembler.drafting.growing import Grown, grow_sheet

__all__ = ["Grown", "draft_sheet", "grow_sheet", "place_within", "sheet_by_names"]
