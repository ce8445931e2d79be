"""A bag's tag files, and every way a bag can be unsound that the check must name."""

from __future__ import annotations

import hashlib
import os
import shutil
from typing import TYPE_CHECKING

import pytest

from assembler.consolidator.bag import (
    BagProblem,
    bag_info_text,
    check_bag,
    manifest_text,
    payload_oxum,
    tag_files,
)
from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PAYLOAD = {
    "data/tracks/01_Kick.wav": b"kick" * 700_000,
    "data/tracks/02_Fuß.wav": b"pedal",
    "data/a.json": b"{}",
}


def make_bag(root: Path, algorithms: tuple[str, ...] = ("sha256",)) -> Path:
    """Write a sound bag and return its folder."""
    digests = {
        name: {path: hashlib.new(name, data).hexdigest() for path, data in PAYLOAD.items()}
        for name in algorithms
    }
    info = [("Source-Organization", "Millbrook"), ("Payload-Oxum", payload_oxum(map(len, PAYLOAD.values())))]
    for path, data in {**PAYLOAD, **tag_files(digests, info)}.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)
    return root


def problems(root: Path) -> list[tuple[str, str]]:
    """Return path and text of each problem of a bag."""
    return [(problem.path, problem.text) for problem in check_bag(root).problems]


def edit(root: Path, name: str, change: Callable[[bytes], bytes]) -> None:
    """Change a file, and bring the tag manifest up to a changed tag file, so that only the change is told."""
    data = change((root / name).read_bytes())
    (root / name).write_bytes(data)
    tag_manifest = root / "tagmanifest-sha256.txt"
    if not name.startswith(("data/", "tagmanifest")):
        lines = [line for line in tag_manifest.read_text().splitlines() if not line.endswith(f"  {name}")]
        lines.append(f"{hashlib.sha256(data).hexdigest()}  {name}")
        tag_manifest.write_text("\n".join(lines) + "\n")


def _replacing(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    return lambda data: data.replace(old, new)


@pytest.mark.parametrize("algorithms", [("sha256",), ("sha256", "sha512", "md5")])
def test_sound_bag(tmp_path: Path, algorithms: tuple[str, ...]) -> None:
    """A bag made of the text makers has no problems, and its payload is counted."""
    report = check_bag(make_bag(tmp_path / "bag", algorithms))
    assert report.problems == ()
    assert (report.files, report.bytes) == (3, sum(map(len, PAYLOAD.values())))


def test_progress_counts_every_byte(tmp_path: Path) -> None:
    """Progress rises to the size of all files that a manifest lists."""
    root = make_bag(tmp_path / "bag")
    told: list[int] = []
    check_bag(root, told.append)
    listed = sum(path.stat().st_size for path in root.rglob("*") if path.is_file())
    assert told == sorted(told)
    assert len(told) > 5
    assert told[-1] == listed - (root / "tagmanifest-sha256.txt").stat().st_size


def test_changed_file(tmp_path: Path) -> None:
    """One changed bit of a payload file is told, whatever its size and time say."""
    root = make_bag(tmp_path / "bag")
    edit(root, "data/tracks/01_Kick.wav", lambda data: data[:-1] + bytes([data[-1] ^ 1]))
    assert problems(root) == [
        ("data/tracks/01_Kick.wav", "is changed: its sha256 digest is not the one listed")
    ]


def test_changed_tag_file(tmp_path: Path) -> None:
    """A changed bag-info is told by the tag manifest."""
    root = make_bag(tmp_path / "bag")
    (root / "bag-info.txt").write_bytes((root / "bag-info.txt").read_bytes().replace(b"Mill", b"Hill"))
    assert problems(root) == [("bag-info.txt", "is changed: its sha256 digest is not the one listed")]


def test_missing_and_extra(tmp_path: Path) -> None:
    """A missing and an unlike extra file are told as such, and the byte count as wrong."""
    root = make_bag(tmp_path / "bag")
    (root / "data/a.json").unlink()
    (root / "data/b.json").write_bytes(b"[ ]")
    total = sum(map(len, PAYLOAD.values()))
    assert problems(root) == [
        ("bag-info.txt", f"says Payload-Oxum {total}.3, but the payload is {total + 1}.3 (bytes.files)"),
        ("data/a.json", "is missing"),
        ("data/b.json", "is extra: no manifest lists it"),
    ]


def test_renamed(tmp_path: Path) -> None:
    """A file under another name is told once, with its former name."""
    root = make_bag(tmp_path / "bag", ("md5", "sha256"))
    (root / "data/tracks/02_Fuß.wav").rename(root / "data/pedal.wav")
    assert problems(root) == [("data/pedal.wav", "is renamed from data/tracks/02_Fuß.wav")]


def test_extra_tag_file(tmp_path: Path) -> None:
    """A file beside the payload that no tag manifest lists is told."""
    root = make_bag(tmp_path / "bag")
    (root / "notes.txt").write_bytes(b"")
    assert problems(root) == [("notes.txt", "is extra: no manifest lists it")]


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n", "must hold two lines"),
        (b"BagIt-Version: 1.0\n", "must hold two lines"),
        (b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n\n", "must hold two lines"),
        (b"BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n", "must hold two lines"),
        (b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", "byte-order mark"),
        (b"BagIt-Version: 1.0\nTag-File-Character-Encoding: \xff\n", "not UTF-8 at byte 48"),
    ],
)
def test_declaration_is_exact(tmp_path: Path, content: bytes, place: str) -> None:
    """Anything but the two lines of RFC 8493 section 2.1.1 is told."""
    root = make_bag(tmp_path / "bag")
    edit(root, "bagit.txt", lambda _: content)
    [(path, text)] = problems(root)
    assert path == "bagit.txt"
    assert place in text


def test_line_ends_of_the_declaration(tmp_path: Path) -> None:
    """CR LF and CR end a line as LF does: RFC 8493 section 2.3."""
    root = make_bag(tmp_path / "bag")
    for old, new in ((b"\n", b"\r\n"), (b"\r\n", b"\r")):
        edit(root, "bagit.txt", _replacing(old, new))
        assert problems(root) == []


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{digest}  data/../../secret", "is not a plain path inside the bag"),
        ("{digest}  /etc/passwd", "is not a plain path inside the bag"),
        ("{digest}  ~/x", "is not a plain path inside the bag"),
        ("{digest}  data//a.json", "is not a plain path inside the bag"),
        ("{digest}  ./data/a.json", "is not a plain path inside the bag"),
        ("{digest}  bagit.txt", "is not in data/"),
        ("{digest} *data/a.json", "begins with a mark of a checksum tool"),
        ("{digest}  data/a.json", "is listed twice"),
        ("{short}  data/a.json", "is not a sha256 digest"),
        ("# a comment", "is not a sha256 digest"),
        ("", "is not a sha256 digest"),
    ],
)
def test_unsound_manifest_lines(tmp_path: Path, line: str, words: str) -> None:
    """A manifest line that leads out of the bag, or is none, is told with its number and not followed."""
    root = make_bag(tmp_path / "bag")
    (tmp_path / "secret").write_bytes(b"")
    added = line.format(digest="0" * 64, short="0" * 40)
    edit(root, "manifest-sha256.txt", lambda data: data + added.encode() + b"\n")
    [(path, text)] = problems(root)
    assert path == "manifest-sha256.txt"
    assert text.startswith("line 4")
    assert words in text


def test_encoded_path(tmp_path: Path) -> None:
    """%25, %0A and %0D in a manifest stand for what RFC 8493 section 2.1.3 says, other % for themselves."""
    root = make_bag(tmp_path / "bag")
    name = "data/100%\n\r %41.txt"
    (root / name).write_bytes(b"")
    empty = hashlib.sha256(b"").hexdigest()
    edit(root, "manifest-sha256.txt", lambda data: data + f"{empty}  data/100%25%0a%0D %2541.txt\n".encode())
    edit(root, "bag-info.txt", lambda data: data.replace(b".3", b".4"))
    assert problems(root) == []


def test_manifests_list_the_same_files(tmp_path: Path) -> None:
    """In BagIt 1.0 every manifest lists every file; one that lists fewer is told."""
    root = make_bag(tmp_path / "bag", ("sha256", "md5"))
    kept = [line for line in (root / "manifest-md5.txt").read_text().splitlines() if "a.json" not in line]
    (root / "manifest-md5.txt").write_text("\n".join(kept) + "\n")
    assert ("manifest-md5.txt", "does not list data/a.json") in problems(root)


def test_tag_manifest_lists_manifests_only_once(tmp_path: Path) -> None:
    """A payload manifest left out of the tag manifest is told, and so is a tag manifest that lists itself."""
    root = make_bag(tmp_path / "bag")
    tag_manifest = root / "tagmanifest-sha256.txt"
    lines = [
        line for line in tag_manifest.read_text().splitlines() if not line.endswith(" manifest-sha256.txt")
    ]
    tag_manifest.write_text("\n".join([*lines, "0" * 64 + "  tagmanifest-sha256.txt"]) + "\n")
    assert ("tagmanifest-sha256.txt", "does not list manifest-sha256.txt") in problems(root)
    assert any("does not belong into a tag manifest" in text for _, text in problems(root))


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (b"Payload-Oxum: 1.1\n", "more than once"),
        (b"no label\n", "line 3 is not 'Label: value'"),
        (b"Label:value\n", "line 3 is not 'Label: value'"),
        (b"Label : value\n", "line 3 is not 'Label: value'"),
    ],
)
def test_unsound_bag_info(tmp_path: Path, lines: bytes, words: str) -> None:
    """A line of bag-info that is no label and value, and a second byte count, are told."""
    root = make_bag(tmp_path / "bag")
    edit(root, "bag-info.txt", lambda data: data + lines)
    [(path, text)] = problems(root)
    assert path == "bag-info.txt"
    assert words in text


def test_links_and_special_files(tmp_path: Path) -> None:
    """A link is told and never followed, be it to a file or to a folder; so is a pipe."""
    root = make_bag(tmp_path / "bag")
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "a.json").write_bytes(PAYLOAD["data/a.json"])
    (root / "data/a.json").unlink()
    (root / "data/a.json").symlink_to(outside / "a.json")
    (root / "data/more").symlink_to(outside)
    os.mkfifo(root / "data/pipe")
    told = problems(root)
    link = "is a link or special file: what it leads to is not in the bag"
    for path in ("data/a.json", "data/more", "data/pipe"):
        assert (path, link) in told
    assert ("data/a.json", "is missing") in told
    assert not any("more/" in path for path, _ in told)


def test_name_that_is_not_utf8(tmp_path: Path) -> None:
    """A file name in another encoding is told in printable form."""
    root = make_bag(tmp_path / "bag")
    with open(os.fsencode(root) + b"/data/\xff.wav", "wb"):  # noqa: PTH123 -- a name that no str can hold
        pass
    assert problems(root) == [("data/\ufffd.wav", "has a name that is not UTF-8: no manifest can list it")]


def test_not_a_bag(tmp_path: Path) -> None:
    """A folder that is none, and an empty one, are told without an error being raised."""
    assert check_bag(tmp_path / "none").problems == (BagProblem("", "is not a folder"),)
    (tmp_path / "empty").mkdir()
    assert problems(tmp_path / "empty") == [
        ("", "has no payload manifest that can be read"),
        ("bagit.txt", "is missing"),
        ("data", "is missing: a bag has a payload folder"),
    ]


def test_unknown_algorithm(tmp_path: Path) -> None:
    """A manifest of an algorithm that cannot be computed is told, and is not passed over."""
    root = make_bag(tmp_path / "bag")
    shutil.copy(root / "manifest-sha256.txt", root / "manifest-sha3.txt")
    assert any(path == "manifest-sha3.txt" and "cannot be checked" in text for path, text in problems(root))


@pytest.mark.parametrize(
    "path", ["data/50%.wav", "data/a\nb", "data/a\rb", "data/a\\b", "/data/a", "~/a", ""]
)
def test_paths_no_manifest_can_hold(path: str) -> None:
    """A path that readers would understand in different ways is refused."""
    with pytest.raises(PublishError, match="cannot be listed"):
        manifest_text({path: "00"})


def test_manifest_is_sorted() -> None:
    """A manifest's order is that of its paths, not that in which files were finished: same set, same bytes."""
    assert manifest_text({"data/b": "02", "data/a": "01"}) == b"01  data/a\n02  data/b\n"


def test_digest_must_be_one() -> None:
    """What is not lower-case hex is refused as a digest."""
    with pytest.raises(PublishError, match="not a digest"):
        manifest_text({"data/a": "0G"})


def test_bag_info_is_folded() -> None:
    """Long values are folded at 79 characters and read back as they were; a longer word stays whole."""
    value = "Oxide shed on reel two; cleaned, backed up and captured again. " * 3 + "x" * 100
    text = bag_info_text([("External-Description", value), ("Empty", " ")]).decode()
    lines = text.splitlines()
    assert all(len(line) <= 79 or line.strip() == "x" * 100 for line in lines)
    assert all(line.startswith("  ") for line in lines[1:])
    assert " ".join(line.strip() for line in lines) == f"External-Description: {value}"


@pytest.mark.parametrize("length", [50, 57, 58, 59, 78, 79, 80, 5000])
def test_no_line_ends_behind_a_label(length: int) -> None:
    """A value stands on its label's line however long its first word is: RFC 8493 section 2.2.2 has no empty one."""
    text = bag_info_text([("External-Description", "x" * length + " and more")]).decode()
    assert text.startswith(f"External-Description: {'x' * length}")
    assert text.split() == ["External-Description:", "x" * length, "and", "more"]


@pytest.mark.parametrize("label", ["", "a:b", " a", "a\nb"])
def test_labels_that_are_none(label: str) -> None:
    """A label that could not be read back is refused."""
    with pytest.raises(PublishError, match="cannot be a label"):
        bag_info_text([(label, "value")])


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        ({}, "same files"),
        ({"sha256": {"data/a": "00"}, "md5": {"data/b": "00"}}, "same files"),
        ({"sha256": {"bagit.txt": "00"}}, "only files in data/"),
    ],
)
def test_tag_files_of_an_unsound_payload(payload: dict[str, dict[str, str]], words: str) -> None:
    """Manifests that would make an unsound bag are refused before anything is written."""
    with pytest.raises(PublishError, match=words):
        tag_files(payload, [])
