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

from assembler.consolidator.bag.writing import BAGIT_TXT
from assembler.consolidator.folder import SetFolder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

HEX_DIGITS = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}
HASHING_THREADS = (
    2  # what the machine of a small archive has to spare; one thread reads while the other computes
)
BLOCK_BYTES = 1 << 20
LARGEST_TAG_FILE_BYTES = 64 << 20  # half a million listed files; more is no tag file of a session

_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+(\S.*)")
_ENCODED = re.compile(r"%(?:0[Aa]|0[Dd]|25)")
_INFO_LINE = re.compile(r"[^\s:][^:]*(?<!\s):[ \t]\S.*")


@dataclass(frozen=True)
class BagProblem:
    """One thing that is wrong with a bag.

    Args:
        path: the file, relative to the bag's root; empty for the bag as a whole.
        text: what is wrong, in a few words.
    """

    path: str
    text: str


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
    payload: dict[str, dict[str, str]] = field(default_factory=dict)  # algorithm, path, digest
    tags: dict[str, dict[str, str]] = field(default_factory=dict)

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
        largest: bytes that a file can have, by path; of one that has more no digest is computed.
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
    _check_listing(findings)
    _check_info(findings)
    _check_digests(findings, progress, largest or {}, known or {})
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
            manifests = findings.tags if found[1] else findings.payload
            manifests[algorithm] = _read_manifest(name, text, algorithm, findings)
    if not findings.payload:
        findings.tell("", "has no payload manifest that can be read")


def _read_manifest(name: str, text: str, algorithm: str, findings: _Findings) -> dict[str, str]:
    """Return digest by path; section 2.1.3, without the marks that checksum tools add (section 6.1.3)."""
    listed: dict[str, str] = {}
    for number, line in enumerate(_lines(text), 1):
        found = _LINE.fullmatch(line)
        if not found or len(found[1]) != HEX_DIGITS[algorithm]:
            findings.tell(name, f"line {number} is not a {algorithm} digest, white space and a path")
            continue
        path = _ENCODED.sub(lambda code: chr(int(code[0][1:], 16)), found[2])
        fault = _path_fault(path, is_payload=not name.startswith("tag"))
        if fault:
            findings.tell(name, f"line {number}: {path!r} {fault}")
        elif path in listed:
            findings.tell(name, f"line {number}: {path!r} is listed twice")
        else:
            listed[path] = found[1].lower()
    return listed


def _path_fault(path: str, *, is_payload: bool) -> str | None:
    """Return why a manifest may not list this path, or None where it may."""
    if path[0] in "*\\":
        return "begins with a mark of a checksum tool, which is not allowed here"
    if path[0] in "/~" or any(part in ("", ".", "..") for part in path.split("/")):
        return "is not a plain path inside the bag"
    if is_payload and not _is_payload(path):
        return "is not in data/"
    if not is_payload and (_is_payload(path) or path.startswith("tagmanifest-")):
        return "does not belong into a tag manifest"
    return None


def _check_listing(findings: _Findings) -> None:
    """Tell of files listed and not there, there and not listed, and listed by some manifests only."""
    payload_names = {f"manifest-{algorithm}.txt" for algorithm in findings.payload}
    for algorithm, listed in findings.tags.items():
        for name in sorted(payload_names - set(listed)):
            findings.tell(name, f"is not listed in tagmanifest-{algorithm}.txt")
    for manifests, is_payload in ((findings.payload, True), (findings.tags, False)):
        listed_anywhere = set().union(*manifests.values())
        there = {path for path in findings.sizes if _is_payload(path) == is_payload}
        there -= {path for path in there if path.startswith("tagmanifest-")}
        for path in sorted(listed_anywhere - set(findings.sizes)):
            findings.tell(path, "is missing")
        if manifests:
            for path in sorted(there - listed_anywhere):
                findings.tell(path, "is extra: no manifest lists it")
        if is_payload:
            for algorithm, listed in manifests.items():
                for path in sorted((listed_anywhere & there) - set(listed)):
                    findings.tell(path, f"is not listed in manifest-{algorithm}.txt")


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


def _check_digests(
    findings: _Findings,
    progress: Callable[[int], None] | None,
    largest: Mapping[str, int],
    known: Mapping[str, Mapping[str, str]],
) -> None:
    """Tell of files whose digest is another, and of those that were only renamed."""
    listed: dict[str, dict[str, str]] = {}  # path, algorithm, digest
    for manifests in (findings.payload, findings.tags):
        for algorithm, digests in manifests.items():
            for path, digest in digests.items():
                listed.setdefault(path, {})[algorithm] = digest
    missing = {path: digests for path, digests in listed.items() if path not in findings.sizes}
    extra = {problem.path for problem in findings.problems if problem.text.startswith("is extra")}
    wanted = {path: set(listed.get(path, ())) for path in findings.sizes}
    for path in extra if missing else ():
        wanted[path] = set().union(*missing.values())
    for path in wanted:
        most = LARGEST_TAG_FILE_BYTES if _MANIFEST.fullmatch(path) else largest.get(path)
        if most is not None and findings.sizes[path] > most:
            findings.tell(path, f"has {findings.sizes[path]} bytes, at most {most} are read")
            wanted[path] = set()
    for path, found in _hash_files(wanted, findings, progress, known):
        differing = [name for name, digest in listed.get(path, {}).items() if found[name] != digest]
        if differing:
            findings.tell(path, f"is changed: its {' and '.join(differing)} digest is not the one listed")
        if path in extra:
            _tell_renamed(path, found, missing, findings)


def _tell_renamed(
    path: str, found: Mapping[str, str], missing: dict[str, dict[str, str]], findings: _Findings
) -> None:
    """Turn an extra file and a missing one with the same digests into one problem."""
    for former, digests in missing.items():
        if all(found.get(algorithm) == digest for algorithm, digest in digests.items()):
            settled = {(former, "is missing"), (path, "is extra: no manifest lists it")}
            findings.problems[:] = [
                item for item in findings.problems if (item.path, item.text) not in settled
            ]
            findings.tell(path, f"is renamed from {former}")
            del missing[former]
            return


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
