"""Our bags read by programs of other hands, and the examples of RFC 8493 read by ours."""

from __future__ import annotations

import hashlib
import subprocess
from typing import TYPE_CHECKING

import bagit
import pytest

from assembler.consolidator.bag import bagit_txt, check_bag, payload_oxum, tag_files

if TYPE_CHECKING:
    from pathlib import Path

PAYLOAD = {
    "data/tracks/01 Kick & Co.wav": b"abc",
    "data/tracks/02_Fuß.wav": b"",
    "data/a.json": b"a" * 1_000_000,
}
DESCRIPTION = (
    "Two reels, played at 48 kHz; a bad stretch of reel B was cleaned, backed up and captured again."
)


@pytest.fixture
def bag_folder(tmp_path: Path) -> Path:
    """Return a bag of ours."""
    digests = {
        name: {path: hashlib.new(name, data).hexdigest() for path, data in PAYLOAD.items()}
        for name in ("sha256", "sha512")
    }
    info = [
        ("Source-Organization", "Millbrook Sound Archive"),
        ("External-Description", DESCRIPTION),
        ("Payload-Oxum", payload_oxum(map(len, PAYLOAD.values()))),
    ]
    for path, data in {**PAYLOAD, **tag_files(digests, info)}.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(data)
    return tmp_path


def test_bagit_library_accepts(bag_folder: Path) -> None:
    """The bagit library (1.9) validates the bag, and reads the folded description back whole."""
    bag = bagit.Bag(str(bag_folder))
    assert bag.validate()
    assert " ".join(bag.info["External-Description"].split()) == DESCRIPTION
    assert bag.info["Payload-Oxum"] == "1000003.3"


def test_bagit_library_sees_the_same_damage(bag_folder: Path) -> None:
    """What our check calls changed, the bagit library refuses too."""
    (bag_folder / "data/a.json").write_bytes(b"b" + b"a" * 999_999)
    assert [problem.path for problem in check_bag(bag_folder).problems] == ["data/a.json"]
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(bag_folder)).validate()


@pytest.mark.parametrize("algorithm", ["sha256", "sha512"])
@pytest.mark.parametrize("kind", ["manifest", "tagmanifest"])
def test_checksum_tools_accept(bag_folder: Path, kind: str, algorithm: str) -> None:
    """Coreutils check every line of each manifest and have nothing to warn of."""
    command = [f"{algorithm}sum", "--check", "--strict", "--warn", f"{kind}-{algorithm}.txt"]
    done = subprocess.run(command, cwd=bag_folder, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("OK") == (3 if kind == "manifest" else 4)


def test_published_digests(bag_folder: Path) -> None:
    """The digests listed for "abc" and a million "a" are the published ones: FIPS 180-4, SHA-256 examples."""
    lines = (bag_folder / "manifest-sha256.txt").read_text().splitlines()
    listed = dict(line.split("  ")[::-1] for line in lines)
    assert listed["data/tracks/01 Kick & Co.wav"] == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert listed["data/a.json"] == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"


def test_bag_of_the_bagit_library(tmp_path: Path) -> None:
    """Of a bag that the bagit library makes (its declaration says 0.97) only the version is told."""
    (tmp_path / "song.wav").write_bytes(b"abc")
    bagit.make_bag(str(tmp_path), {"Contact-Name": "A. Fielding"}, checksums=["sha256"])
    told = check_bag(tmp_path).problems
    assert {problem.path for problem in told} == {"bagit.txt"}
    assert "BagIt-Version: 1.0" in told[0].text


def test_declaration() -> None:
    """The declaration is the one that RFC 8493 section 2.1.1 gives for version 1.0."""
    assert bagit_txt() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_example_without_tag_files(tmp_path: Path) -> None:
    """A bag of the least parts, as the first example of RFC 8493 section 4 has them, is sound.

    Declaration, payload and one manifest, two files in a folder of the payload; content and digests are ours.
    """
    (tmp_path / "data/27613-h/images").mkdir(parents=True)
    (tmp_path / "data/27613-h/images/q172.png").write_bytes(b"a")
    (tmp_path / "data/27613-h/images/q172.txt").write_bytes(b"message digest")
    (tmp_path / "bagit.txt").write_bytes(bagit_txt())
    # MD5 of the two strings: RFC 1321 A.5.
    (tmp_path / "manifest-md5.txt").write_text(
        "0cc175b9c0f1b6a831c399e269772661 data/27613-h/images/q172.png\n"
        "f96b697d7cb7938d525a2f31aaf161d0\tdata/27613-h/images/q172.txt\n"
    )
    report = check_bag(tmp_path)
    assert report.problems == ()
    assert (report.files, report.bytes) == (2, 15)
