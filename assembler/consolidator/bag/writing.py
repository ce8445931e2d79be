"""A bag's tag files as text: declaration, manifests, bag-info.

Source: RFC 8493, The BagIt File Packaging Format (V1.0); the sections are named where they matter. Pure: each
tag file is made as bytes, and who publishes the set puts it in place.

Paths are the bag's own: relative to its root, parted by ``/``. A ``%`` or a line end in a path would have to
be encoded (section 2.1.3), which common readers do in different ways; such paths are refused.
"""

from __future__ import annotations

import hashlib
import re
import textwrap
from typing import TYPE_CHECKING

from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

BAGIT_TXT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"  # section 2.1.1, exactly
LONGEST_LINE = 79  # section 2.2.2, recommended

_DIGEST = re.compile(r"[0-9a-f]+")


def bagit_txt() -> bytes:
    """Return the declaration that makes a folder a bag, section 2.1.1."""
    return BAGIT_TXT


def manifest_text(digests: Mapping[str, str]) -> bytes:
    r"""Return a manifest, or a tag manifest: sorted by path, in a form that checksum tools read as well.

    Args:
        digests: lower-case hex digest by path; at least one.

    Raises:
        PublishError: a path that cannot stand in a manifest as it is, or a digest that is not one.

    Source: RFC 8493 section 2.1.3; two spaces between digest and path as coreutils ``sha256sum`` has them.

    >>> manifest_text({"data/b": "02", "data/a": "01"})
    b'01  data/a\n02  data/b\n'
    """
    lines = []
    for path in sorted(digests):
        if any(character in path for character in "%\r\n\\") or not path or path[0] in "/~":
            allowed = "no %, \\, line end or leading / or ~ is allowed"
            raise PublishError(f"{path!r} cannot be listed in a manifest: {allowed}")
        if not _DIGEST.fullmatch(digests[path]):
            raise PublishError(f"{path}: {digests[path]!r} is not a digest in lower-case hex")
        lines.append(f"{digests[path]}  {path}\n")
    return "".join(lines).encode()


def bag_info_text(pairs: Sequence[tuple[str, str]]) -> bytes:
    r"""Return ``bag-info.txt``: labels in the order given, long values folded.

    White space in a value, line ends among it, becomes single spaces: a folded line is read back that way. A
    word that is longer than a line stays whole.

    Args:
        pairs: label and value; empty values are left out.

    Raises:
        PublishError: a label that is empty, holds a colon or a line end, or has white space at an end.

    Source: RFC 8493 section 2.2.2.

    >>> bag_info_text([("Source-Organization", "Millbrook"), ("Bag-Count", "1 of\n1")])
    b'Source-Organization: Millbrook\nBag-Count: 1 of 1\n'
    """
    lines = []
    for label, value in pairs:
        if not label or label != label.strip() or any(character in label for character in ":\r\n"):
            allowed = "no colon, line end or outer white space is allowed"
            raise PublishError(f"{label!r} cannot be a label in bag-info.txt: {allowed}")
        words = " ".join(value.split())
        if words:
            # The label is no word of the text: a line never ends after it, however long the first word is.
            lines += textwrap.wrap(
                words,
                LONGEST_LINE,
                initial_indent=f"{label}: ",
                subsequent_indent="  ",
                break_long_words=False,
                break_on_hyphens=False,
            )
    return "".join(f"{line}\n" for line in lines).encode()


def payload_oxum(sizes: Iterable[int]) -> str:
    """Return the value of Payload-Oxum, octets and files, for the sizes of all payload files: section 2.2.2.

    >>> payload_oxum([3, 5])
    '8.2'
    """
    listed = list(sizes)
    return f"{sum(listed)}.{len(listed)}"


def tag_files(payload: Mapping[str, Mapping[str, str]], info: Sequence[tuple[str, str]]) -> dict[str, bytes]:
    """Return every tag file of a bag by name: declaration, bag-info, manifests, tag manifests.

    Args:
        payload: for each algorithm (``sha256``), digest by path of every payload file, ``data/`` and all.
        info: label and value for ``bag-info.txt``.

    Raises:
        PublishError: see ``manifest_text`` and ``bag_info_text``; or a path outside ``data/``, or algorithms
            that do not cover the same files, or no algorithm at all.
    """
    listings = [set(digests) for digests in payload.values()]
    if not listings or any(listing != listings[0] for listing in listings):
        raise PublishError("each manifest of a bag must list the same files, and there must be one")
    stray = sorted(path for path in listings[0] if not path.startswith("data/"))
    if stray:
        raise PublishError(f"{stray[0]}: only files in data/ belong into a payload manifest")
    files = {"bagit.txt": bagit_txt(), "bag-info.txt": bag_info_text(info)}
    files |= {f"manifest-{algorithm}.txt": manifest_text(digests) for algorithm, digests in payload.items()}
    tagged = dict(files)
    for algorithm in payload:
        digests = {name: hashlib.new(algorithm, data).hexdigest() for name, data in tagged.items()}
        files[f"tagmanifest-{algorithm}.txt"] = manifest_text(digests)
    return files
