"""Manifests that are damaged themselves: every flipped bit is told, of the file that it was flipped in."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import pytest

from assembler.consolidator.bag import check_bag, payload_oxum, tag_files

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PAYLOAD = {"data/a.json": b"{}", "data/tracks/01_J-K.wav": b"kick"}
MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"


def make_bag(root: Path, *algorithms: str) -> Path:
    """Write a small bag and return its folder."""
    digests = {
        name: {path: hashlib.new(name, data).hexdigest() for path, data in PAYLOAD.items()}
        for name in algorithms
    }
    info = [("Payload-Oxum", payload_oxum(map(len, PAYLOAD.values())))]
    for path, data in {**PAYLOAD, **tag_files(digests, info)}.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)
    return root


def told(root: Path) -> list[str]:
    """Return the problems of a bag in lines."""
    return [f"{problem.path}: {problem.text}" for problem in check_bag(root).problems]


def change(path: Path, edit: Callable[[str], str]) -> None:
    """Change a file's text."""
    before = path.read_text()
    assert edit(before) != before
    path.write_text(edit(before))


@pytest.mark.parametrize("name", [MANIFEST, TAG_MANIFEST])
def test_every_flipped_bit_is_told_of_the_manifest(tmp_path: Path, name: str) -> None:
    """One bit of a manifest, be it in a digest, a path, a blank or a line end: the manifest is named, no other file."""
    root = make_bag(tmp_path / "bag", "sha256")
    data = (root / name).read_bytes()
    for bit in range(8 * len(data)):
        damaged = bytearray(data)
        damaged[bit // 8] ^= 1 << bit % 8
        (root / name).write_bytes(damaged)
        paths = {problem.path for problem in check_bag(root).problems}
        # Bytes that are no UTF-8 leave the bag without a payload manifest that can be read: so it is told, too.
        assert paths - {""} == {name}, (bit, told(root))


def capitals(text: str) -> str:
    """Return a manifest with its first digest in capital letters."""
    return text[:64].upper() + text[64:]


def test_a_capital_letter_in_a_digest_is_told(tmp_path: Path) -> None:
    """Digests are written in small letters: a capital one is an altered byte, though it reads the same."""
    root = make_bag(tmp_path / "bag", "sha256")
    change(root / TAG_MANIFEST, capitals)
    assert told(root) == [
        f"{TAG_MANIFEST}: line 1 is not a sha256 digest in small letters, white space and a path"
    ]


def test_a_file_that_another_manifest_confirms_is_not_blamed(tmp_path: Path) -> None:
    """Of two digests of a file, one right and the other far off, the line of the second was altered."""
    root = make_bag(tmp_path / "bag", "md5", "sha256")
    digest = hashlib.sha256(b"other").hexdigest()
    change(root / TAG_MANIFEST, lambda text: digest + text[64:])
    assert told(root) == [f"{TAG_MANIFEST}: line 1 is altered: bag-info.txt is as another manifest has it"]


def test_a_manifest_made_anew_does_not_blame_the_files(tmp_path: Path) -> None:
    """Where the tag manifest's digest is that of a manifest of the files as they are, these are whole."""
    root = make_bag(tmp_path / "bag", "sha256")
    lines = [f"{hashlib.sha256(path.encode()).hexdigest()}  {path}\n" for path in PAYLOAD]
    (root / MANIFEST).write_text("".join(lines))
    assert told(root) == [f"{MANIFEST}: is changed: its sha256 digest is not the one listed"]


def test_a_changed_file_is_told_beside_a_changed_manifest(tmp_path: Path) -> None:
    """A manifest with an altered line still tells of another file that was changed."""
    root = make_bag(tmp_path / "bag", "sha256")
    change(root / MANIFEST, lambda text: text.replace("a.json", "b.json"))
    (root / "data/tracks/01_J-K.wav").write_bytes(b"kock")
    assert told(root) == [
        "data/tracks/01_J-K.wav: is changed: its sha256 digest is not the one listed",
        f"{MANIFEST}: is changed: its sha256 digest is not the one listed",
        f"{MANIFEST}: line 1 is altered: its digest is that of data/a.json, its path is another",
    ]


def test_a_tag_file_renamed_is_told_as_that(tmp_path: Path) -> None:
    """A tag file with a name of its own may have been renamed; those that the standard names were not."""
    root = make_bag(tmp_path / "bag", "sha256")
    (root / "notes.txt").write_bytes(b"notes")
    change(root / TAG_MANIFEST, lambda text: f"{text}{hashlib.sha256(b'notes').hexdigest()}  notes.txt\n")
    assert told(root) == []
    (root / "notes.txt").rename(root / "words.txt")
    assert told(root) == ["words.txt: is renamed from notes.txt"]


def test_a_tag_manifest_cut_short_is_told_of_itself(tmp_path: Path) -> None:
    """What the standard names belongs into a tag manifest: lines that are gone are told of it, not of the files."""
    root = make_bag(tmp_path / "bag", "sha256")
    (root / TAG_MANIFEST).write_bytes(b"")
    assert told(root) == [
        f"{TAG_MANIFEST}: does not list bag-info.txt",
        f"{TAG_MANIFEST}: does not list bagit.txt",
        f"{TAG_MANIFEST}: does not list {MANIFEST}",
    ]
