"""The bag around the delivered files, BagIt 1.0 (RFC 8493).

Question: which files is a set, and is each of them the one that was put there?
Input: digests by path, for a bag in the making; a folder from anywhere, for a check.
Output: tag files as text; problems, each with its file.

Each in its file:

- `writing`: tag files of a set in the making.
- `folder`: what is in a set's folder, and the one way in which its files are opened.
- `checking`: all that the standard asks, strictly; `manifests`: manifests as their lines.
- `listing`: what manifests and files say of each other, and which is at fault; `likeness`: which one a line once meant.
"""

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
