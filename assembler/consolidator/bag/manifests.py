"""Manifests and tag manifests as their lines.

Source: RFC 8493 sections 2.1.3, 2.2.1 and 6.1.3. Stricter than the standard in this: digests stand in small letters, as
checksum tools write them; a capital one is a byte that was altered.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

HEX_DIGITS = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}

_LINE = re.compile(r"([0-9a-f]+)[ \t]+(\S.*)")
_ENCODED = re.compile(r"%(?:0[Aa]|0[Dd]|25)")


@dataclass(frozen=True)
class ManifestLine:
    """One line of a manifest.

    Args:
        number: from 1.
        text: the whole line.
        digest: listed for the path.
        path: inside the bag; digest and path are empty where the line may not be followed.
        fault: why it may not be, as it goes on after "line 3"; or nothing.
    """

    number: int
    text: str
    digest: str = ""
    path: str = ""
    fault: str = ""


@dataclass(frozen=True)
class Manifest:
    """A manifest or tag manifest: its file's name, its algorithm, and its lines."""

    name: str
    algorithm: str
    lines: tuple[ManifestLine, ...]

    @property
    def is_payload(self) -> bool:
        """Whether it lists payload files."""
        return not self.name.startswith("tag")

    @cached_property
    def digests(self) -> dict[str, str]:
        """The digest by path, of the lines that may be followed."""
        return {line.path: line.digest for line in self.lines if not line.fault}


def parse_manifest(name: str, algorithm: str, lines: list[str]) -> Manifest:
    """Return a manifest from its lines; each that is none has its fault."""
    listed: set[str] = set()
    parsed = []
    for number, text in enumerate(lines, 1):
        line = _parse_line(number, text, algorithm, is_payload=not name.startswith("tag"))
        if not line.fault and line.path in listed:
            line = ManifestLine(number, text, fault=f": {line.path!r} is listed twice")
        listed.add(line.path)
        parsed.append(line)
    return Manifest(name, algorithm, tuple(parsed))


def _parse_line(number: int, text: str, algorithm: str, *, is_payload: bool) -> ManifestLine:
    found = _LINE.fullmatch(text)
    if not found or len(found[1]) != HEX_DIGITS[algorithm]:
        fault = f" is not a {algorithm} digest in small letters, white space and a path"
        return ManifestLine(number, text, fault=fault)
    path = _ENCODED.sub(lambda code: chr(int(code[0][1:], 16)), found[2])
    fault = _path_fault(path, is_payload=is_payload)
    if fault:
        return ManifestLine(number, text, fault=f": {path!r} {fault}")
    return ManifestLine(number, text, found[1], path)


def _path_fault(path: str, *, is_payload: bool) -> str:
    """Return why a manifest may not list this path, or nothing where it may."""
    if path[0] in "*\\":
        return "begins with a mark of a checksum tool, which is not allowed here"
    if path[0] in "/~" or any(part in ("", ".", "..") for part in path.split("/")):
        return "is not a plain path inside the bag"
    if is_payload and not path.startswith("data/"):
        return "is not in data/"
    if not is_payload and path.startswith(("data/", "tagmanifest-")):
        return "does not belong into a tag manifest"
    return ""
