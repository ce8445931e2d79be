"""A first sheet for a folder of captures, and a sheet that grows with them.

In: a folder, and the sheet that names some of its captures already. Out: the text of a sheet for a person to correct.
The importer tells what lies where; here sound is asked what names and timecode do not tell.

    hearing   what the sound of one capture shows: bits in use, how much of it stands still, where its log puts it
    tapes     which captures are of one tape, and which comes first
    draft     a first sheet
    growing   new captures in a sheet that stands
"""

from assembler.drafting.draft import draft_sheet, place_within, sheet_by_names
from assembler.drafting.growing import Grown, grow_sheet

__all__ = ["Grown", "draft_sheet", "grow_sheet", "place_within", "sheet_by_names"]
