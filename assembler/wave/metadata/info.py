"""LIST INFO: short texts about the file under four-character keys (INAM title, IARL archival location, ...).

Source: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter RIFF,
"INFO List Chunk". The keys archives use are listed in the FADGI guideline on embedding metadata in Broadcast
WAVE files.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.errors import WaveError
from assembler.wave.metadata.lists import join_list, split_list
from assembler.wave.metadata.text import is_plain, transliterate

if TYPE_CHECKING:
    from collections.abc import Mapping


def encode_info(texts: Mapping[str, str]) -> bytes:
    """Return the payload of a ``LIST`` chunk of type INFO, always even.

    Args:
        texts: four-character keys and their texts, kept in order. Texts are put on one line and
            transliterated to ASCII, because RIFF names no character set; empty ones are left out.

    Raises:
        WaveError: a key is not four printable ASCII characters.
    """
    for key in texts:
        if len(key) != 4 or not is_plain(key):
            raise WaveError(f"INFO key {key!r}; four ASCII characters are needed")
    lines = {key: transliterate(" ".join(text.splitlines())) for key, text in texts.items()}
    return join_list("INFO", [(key, line.encode("ascii") + b"\0") for key, line in lines.items() if line])


def decode_info(payload: bytes) -> dict[str, str]:
    """Return the texts of a LIST INFO payload (latin-1; the first of a key that stands twice).

    Raises:
        WaveError: the list is of another type or a text runs past its end.
    """
    texts: dict[str, str] = {}
    for key, text in split_list(payload, "INFO"):
        texts.setdefault(key, text.partition(b"\0")[0].decode("latin-1"))
    return texts
