"""The bag around the delivered files, BagIt 1.0 (RFC 8493): its tag files as text, and a strict check."""

from assembler.consolidator.bag.checking import BagReport, check_bag
from assembler.consolidator.bag.listing import BagProblem
from assembler.consolidator.bag.writing import (
    bag_info_text,
    bagit_txt,
    manifest_text,
    payload_oxum,
    tag_files,
)

__all__ = [
    "BagProblem",
    "BagReport",
    "bag_info_text",
    "bagit_txt",
    "check_bag",
    "manifest_text",
    "payload_oxum",
    "tag_files",
]
