"""A strict check of a bag: everything listed, everything there, nothing else, and every digest as it was.

Source: RFC 8493 sections 2 and 3. Stricter than the standard in this: version 1.0 and UTF-8 only; where there
is a tag manifest, every tag file is in it; no link and no special file, since what it leads to is not in
the bag.
"""

from __future__ import annotations

import hashlib
import os
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.consolidator.bag.folder import SetFolder
from assembler.consolidator.bag.listing import BagProblem, listing_problems
from assembler.consolidator.bag.manifests import HEX_DIGITS, Manifest, parse_manifest
from assembler.consolidator.bag.writing import BAGIT_TXT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

HASHING_THREADS = (
    2  # what the machine of a small archive has to spare; one thread reads while the other computes
)
BLOCK_BYTES = 1 << 20
LARGEST_TAG_FILE_BYTES = 64 << 20  # half a million listed files; more is no tag file of a session

_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_INFO_LINE = re.compile(r"[^\s:][^:]*(?<!\s):[ \t]\S.*")


@dataclass(frozen=True)
class BagReport:
    """What a check found.

    Args:
        problems: sorted by path; none for a valid bag.
        files: payload files there.
        bytes: their size.
    """

    problems: tuple[BagProblem, ...]
    files: int
    bytes: int


@dataclass
class _Findings:
    """What a check has gathered so far."""

    folder: SetFolder
    problems: list[BagProblem] = field(default_factory=list)
    sizes: dict[str, int] = field(default_factory=dict)
    manifests: list[Manifest] = field(default_factory=list)

    def tell(self, path: str, text: str) -> None:
        self.problems.append(BagProblem(path, text))


def check_bag(
    root: Path | SetFolder,
    progress: Callable[[int], None] | None = None,
    *,
    largest: Mapping[str, int] | None = None,
    known: Mapping[str, Mapping[str, str]] | None = None,
) -> BagReport:
    """Return everything that is wrong with a bag.

    Args:
        root: the bag's folder, or what was found in it; it may be read-only.
        progress: called with the number of bytes hashed so far, payload and tag files, by one thread at a
            time.
        largest: bytes that a file can have, by path; of one that has more no digest is computed. A file that no
            manifest lists can have as many as the largest.
        known: digests by algorithm, by path, of files that were just read; they are not read again.
    """
    if isinstance(root, Path) and not root.is_dir():
        return BagReport((BagProblem("", "is not a folder"),), 0, 0)
    folder = SetFolder(root) if isinstance(root, Path) else root
    findings = _Findings(folder, sizes=folder.sizes)
    for path, text in folder.oddities:
        findings.tell(path, text)
    _check_declaration(findings)
    _read_manifests(findings)
    _check_info(findings)
    found = dict(_hash_files(_wanted_digests(findings, largest or {}), findings, progress, known or {}))
    findings.problems += listing_problems(
        findings.manifests, {path: found.get(path, {}) for path in findings.sizes}
    )
    payload = [size for path, size in findings.sizes.items() if _is_payload(path)]
    problems = sorted(set(findings.problems), key=lambda problem: (problem.path, problem.text))
    return BagReport(tuple(problems), len(payload), sum(payload))


def _is_payload(path: str) -> bool:
    return path.startswith("data/")


def _read_tag_file(name: str, findings: _Findings) -> str | None:
    """Return a tag file's text, or None after telling why there is none."""
    if name not in findings.sizes:
        findings.tell(name, "is missing")
        return None
    if findings.sizes[name] > LARGEST_TAG_FILE_BYTES:
        findings.tell(name, f"is larger than {LARGEST_TAG_FILE_BYTES} bytes, no tag file")
        return None
    try:
        text = findings.folder.read(name, LARGEST_TAG_FILE_BYTES).decode("utf-8")
    except OSError as error:
        findings.tell(name, f"cannot be read: {error.strerror}")
    except UnicodeDecodeError as error:
        findings.tell(name, f"is not UTF-8 at byte {error.start}")
    else:
        if not text.startswith("\ufeff"):
            return text
        findings.tell(name, "begins with a byte-order mark, which is not allowed")
    return None


def _lines(text: str) -> list[str]:
    """Return the lines of a tag file: LF, CR and CRLF end a line, section 2.3, and nothing else does."""
    lines = re.split(r"\r\n|\n|\r", text)
    return lines[:-1] if lines[-1] == "" else lines


def _check_declaration(findings: _Findings) -> None:
    """Tell of a ``bagit.txt`` other than the two lines of section 2.1.1."""
    text = _read_tag_file("bagit.txt", findings)
    wanted = BAGIT_TXT.decode().splitlines()
    if text is not None and _lines(text) != wanted:
        findings.tell("bagit.txt", f"must hold two lines, {wanted[0]!r} and {wanted[1]!r}")
    if "data" not in findings.folder.folders:
        findings.tell("data", "is missing: a bag has a payload folder")


def _read_manifests(findings: _Findings) -> None:
    """Read all manifests, telling of what is no manifest line."""
    for name in sorted(findings.sizes):
        found = _MANIFEST.fullmatch(name)
        if not found:
            continue
        algorithm = found[2]
        if algorithm not in HEX_DIGITS:
            findings.tell(name, f"cannot be checked: {algorithm} is none of {', '.join(HEX_DIGITS)}")
            continue
        text = _read_tag_file(name, findings)
        if text is not None:
            findings.manifests.append(parse_manifest(name, algorithm, _lines(text)))
    if not any(manifest.is_payload for manifest in findings.manifests):
        findings.tell("", "has no payload manifest that can be read")


def _check_info(findings: _Findings) -> None:
    """Tell of ``bag-info.txt`` lines that are none, and of a wrong Payload-Oxum: section 2.2.2."""
    if "bag-info.txt" not in findings.sizes:
        return
    text = _read_tag_file("bag-info.txt", findings)
    oxums = []
    for number, line in enumerate(_lines(text or ""), 1):
        if number > 1 and line[:1] in (" ", "\t") and line.strip():
            continue
        if not _INFO_LINE.fullmatch(line):
            findings.tell("bag-info.txt", f"line {number} is not 'Label: value'")
        elif line.split(":")[0].lower() == "payload-oxum":
            oxums.append(line.split(":", 1)[1].strip())
    payload = [size for path, size in findings.sizes.items() if _is_payload(path)]
    if len(oxums) > 1:
        findings.tell("bag-info.txt", "gives Payload-Oxum more than once")
    elif oxums and oxums[0] != f"{sum(payload)}.{len(payload)}":
        found = f"{sum(payload)}.{len(payload)}"
        findings.tell(
            "bag-info.txt", f"says Payload-Oxum {oxums[0]}, but the payload is {found} (bytes.files)"
        )


def _wanted_digests(findings: _Findings, largest: Mapping[str, int]) -> dict[str, list[str]]:
    """Return the algorithms of each file's manifests; none for a file that is told to be larger than it can be.

    A tag manifest is listed nowhere, and not hashed.
    """
    wanted = {
        path: [m.algorithm for m in findings.manifests if m.is_payload == _is_payload(path)]
        for path in findings.sizes
        if not path.startswith("tagmanifest-")
    }
    listed: set[str] = set().union(*(manifest.digests for manifest in findings.manifests))
    # What nothing lists is read to tell whether it is a listed file by another name; more than any has it cannot have.
    unlisted = max(largest.values(), default=None)
    for path in wanted:
        most = largest.get(path, None if path in listed else unlisted)
        if _MANIFEST.fullmatch(path):
            most = LARGEST_TAG_FILE_BYTES
        if most is not None and findings.sizes[path] > most:
            findings.tell(path, f"has {findings.sizes[path]} bytes, at most {most} are read")
            wanted[path] = []
    return wanted


def _hash_files(
    wanted: Mapping[str, Iterable[str]],
    findings: _Findings,
    progress: Callable[[int], None] | None,
    known: Mapping[str, Mapping[str, str]],
) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Yield the digests of each file of which any are wanted, reading it once unless all are known."""
    lock = threading.Lock()
    done = 0

    def count(size: int) -> None:
        nonlocal done
        if progress is not None:
            with lock:
                done += size
                progress(done)

    def digest(path: str) -> tuple[str, Mapping[str, str] | OSError]:
        if set(wanted[path]) <= set(known.get(path, ())):
            return path, known[path]
        try:
            return path, _hash_file(findings.folder.open(path), wanted[path], count)
        except OSError as error:
            return path, error

    with ThreadPoolExecutor(HASHING_THREADS) as pool:
        for path, digests in pool.map(digest, [path for path in sorted(wanted) if wanted[path]]):
            if isinstance(digests, OSError):
                findings.tell(path, f"cannot be read: {digests.strerror}")
            else:
                yield path, digests


def _hash_file(descriptor: int, algorithms: Iterable[str], count: Callable[[int], None]) -> dict[str, str]:
    """Return the digests of one open file by algorithm, and close it."""
    with os.fdopen(descriptor, "rb", buffering=0) as stream:
        sums = {algorithm: hashlib.new(algorithm, usedforsecurity=False) for algorithm in algorithms}
        while block := stream.read(BLOCK_BYTES):
            for running in sums.values():
                running.update(block)
            count(len(block))
    return {algorithm: running.hexdigest() for algorithm, running in sums.items()}
