"""What manifests and files say of each other, at sizes that a forger chooses."""

from __future__ import annotations

import hashlib
from time import process_time
from typing import TYPE_CHECKING

import pytest

from assembler.consolidator.bag.listing import listing_problems
from assembler.consolidator.bag.manifests import parse_manifest

if TYPE_CHECKING:
    from collections.abc import Callable

FILES, LINES = 2000, 6000
SECONDS = 10
"""Of the processor; with each line held against each file it takes a minute and more."""


def digest_of(text: str) -> str:
    """Return the digest of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


EMPTY = digest_of("")

FORGED: dict[str, tuple[Callable[[int], str], Callable[[int], str]]] = {
    "files that are not there": (lambda n: f"{digest_of(f'x{n}')}  data/g{n}", lambda n: digest_of(str(n))),
    "lines that are none": (lambda n: f"{digest_of(f'x{n}')}data/g{n}", lambda n: digest_of(str(n))),
    "one digest everywhere": (lambda n: f"{EMPTY}  data/g{n}", lambda _: EMPTY),
    "one digest nearly everywhere": (lambda n: f"{EMPTY[:-1]}0  data/f{n}", lambda _: EMPTY),
}


@pytest.mark.parametrize("kind", FORGED)
def test_a_forged_manifest_takes_no_longer_than_its_lines(kind: str) -> None:
    """Time goes with lines and files, not with their product."""
    line, digest = FORGED[kind]
    manifest = parse_manifest("manifest-sha256.txt", "sha256", [line(number) for number in range(LINES)])
    found = {f"data/f{number}": {"sha256": digest(number)} for number in range(FILES)}
    started = process_time()
    assert len(list(listing_problems([manifest], found))) >= FILES
    assert process_time() - started < SECONDS


def test_files_renamed_in_bulk_are_each_told() -> None:
    """Two manifests that list different files: each file that is there by another name has its former one."""
    sums = {
        f"data/{number:04}": {"sha256": digest_of(str(number)), "md5": f"{number:032x}"}
        for number in range(400)
    }
    listings = (("sha256", list(sums)[:300]), ("md5", list(sums)[100:]))
    manifests = [
        parse_manifest(f"manifest-{name}.txt", name, [f"{sums[path][name]}  {path}" for path in paths])
        for name, paths in listings
    ]
    found = {f"{path}x": digests for path, digests in sums.items()}
    told = [(problem.path, problem.text) for problem in listing_problems(manifests, found)]
    assert sorted(told) == sorted((f"{path}x", f"is renamed from {path}") for path in sums)
