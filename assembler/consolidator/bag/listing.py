"""What manifests and files say of each other, and which of the two is at fault.

A digest that is another in a few letters alone is no digest of another file: by chance two files agree in one letter of
sixteen. So such a line was altered, not the file. A manifest that a tag manifest shows to be changed has no word
against the files; where it would be right again with the digests of the files as they are, nothing is wrong with them.
A tag manifest has no other witness.
"""

from __future__ import annotations

import hashlib
import re
from collections import deque
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

from assembler.consolidator.bag.likeness import Likeness
from assembler.consolidator.bag.writing import manifest_text
from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from collections.abc import Set as AbstractSet

    from assembler.consolidator.bag.manifests import Manifest

    Digests = Mapping[str, Mapping[str, str]]

_CHANGED = "is changed"
_STANDARD_NAME = re.compile(r"bagit\.txt|bag-info\.txt|manifest-[a-z0-9]+\.txt")


@dataclass(frozen=True)
class BagProblem:
    """One thing that is wrong with a bag.

    Args:
        path: the file, relative to the bag's root; empty for the bag as a whole.
        text: what is wrong, in a few words.
    """

    path: str
    text: str


@dataclass
class _Account:
    """What one manifest says that the files do not.

    Args:
        listed: digest by path of the lines that no file agrees with, and that are not known to be altered.
        excused: paths of which nothing is to be reported, since the manifest is at fault.
        altered: problems of the manifest itself.
    """

    listed: dict[str, str] = field(default_factory=dict)
    excused: set[str] = field(default_factory=set)
    altered: list[BagProblem] = field(default_factory=list)


def listing_problems(manifests: Sequence[Manifest], found: Digests) -> Iterator[BagProblem]:
    """Yield files listed and not there, there and not listed, changed, renamed; and lines that are at fault.

    Args:
        manifests: all of a bag that could be read.
        found: for each file there its digest by algorithm; none for a file that could not be read.
    """
    tags = [manifest for manifest in manifests if not manifest.is_payload]
    payload = [manifest for manifest in manifests if manifest.is_payload]
    tag_files = {path: found[path] for path in found if not path.startswith(("data/", "tagmanifest-"))}
    # What is to be reported of the payload depends on what the tag manifests tell of its manifests.
    told = list(_kind_problems(tags, tag_files, {}))
    yield from told
    changed = {problem.path for problem in told if problem.text.startswith(_CHANGED)}
    vouched = {
        manifest.name: {tag.algorithm: tag.digests.get(manifest.name, "") for tag in tags}
        for manifest in payload
        if manifest.name in changed
    }
    yield from _kind_problems(
        payload, {path: found[path] for path in found if path.startswith("data/")}, vouched
    )


def _kind_problems(
    manifests: Sequence[Manifest], found: Digests, changed: Mapping[str, Mapping[str, str]]
) -> Iterator[BagProblem]:
    """Yield the problems of all manifests of one kind and of their files.

    Args:
        manifests: payload manifests, or tag manifests.
        found: the files of that kind.
        changed: manifests that are known to be changed, with their digests as they should be.
    """
    if not manifests:
        return
    right = {manifest.name: _right_paths(manifest, found) for manifest in manifests}
    confirmed: set[str] = set().union(*right.values())
    listed: set[str] = set().union(*(manifest.digests for manifest in manifests))
    # A tag manifest has to list what the standard names; a file of another name may have been put there.
    wanted = listed if manifests[0].is_payload else {path for path in found if _STANDARD_NAME.fullmatch(path)}
    accounts = []
    for manifest in manifests:
        account = _account(manifest, found, confirmed, is_changed=manifest.name in changed)
        yield from account.altered
        yield from _unlisted(manifest, found, account, wanted)
        if manifest.name in changed and _is_whole(manifest, found, changed[manifest.name]):
            account = _Account(excused={*found, *manifest.digests})
        accounts.append(account)
    excused: set[str] = set().union(*(account.excused for account in accounts))
    missing = listed - set(found) - excused
    extra = set(found) - listed - excused - wanted
    for path, former in _renamed(manifests, found, missing, extra):
        missing.discard(former)
        extra.discard(path)
        yield BagProblem(path, f"is renamed from {former}")
    for path in missing:
        yield BagProblem(path, "is missing")
    for path in extra:
        yield BagProblem(path, "is extra: no manifest lists it")
    for path in found:
        differing = [m.algorithm for m, a in zip(manifests, accounts, strict=True) if path in a.listed]
        if differing:
            digests = " and ".join(differing)
            yield BagProblem(path, f"{_CHANGED}: its {digests} digest is not the one listed")


def _right_paths(manifest: Manifest, found: Digests) -> set[str]:
    return {
        path
        for path, digest in manifest.digests.items()
        if path in found and found[path].get(manifest.algorithm) == digest
    }


def _account(
    manifest: Manifest, found: Digests, confirmed: AbstractSet[str], *, is_changed: bool
) -> _Account:
    """Go through the lines that no file agrees with."""
    account = _Account()
    right = _right_paths(manifest, found)
    open_files = {
        path: digests[manifest.algorithm]
        for path, digests in found.items()
        if path not in right and manifest.algorithm in digests
    }
    likeness = Likeness(open_files)

    @cache
    def misnamed(digest: str) -> str:
        """Return a file of this digest that a line of another path was altered of; empty if there is none."""
        # A file may well have been renamed, but not one whose name the standard gives, and not by a changed manifest.
        return next(
            (
                path
                for path in likeness.paths[digest]
                if is_changed or path in confirmed or _STANDARD_NAME.fullmatch(path)
            ),
            "",
        )

    about: set[str] = set()
    for line in manifest.lines:
        if line.path in right:
            continue
        fault, near = line.fault, likeness.find(line.text)
        if not fault and line.path in open_files:
            if open_files[line.path] in near:
                fault = f" is altered: its digest is that of {line.path} but for a few letters"
            elif line.path in confirmed:
                fault = f" is altered: {line.path} is as another manifest has it"
        elif not fault and (path := next(filter(None, map(misnamed, near)), "")):
            fault = f" is altered: its digest is that of {path}, its path is another"
        if fault:
            account.excused.add(line.path)
            about.update(near)
            account.altered.append(BagProblem(manifest.name, f"line {line.number}{fault}"))
        elif line.path in open_files:
            account.listed[line.path] = line.digest
    account.excused.update(path for digest in about for path in likeness.paths[digest])
    return account


def _is_whole(manifest: Manifest, found: Digests, wanted: Mapping[str, str]) -> bool:
    """Tell whether a changed manifest would be as it was with the digests of the files that are there."""
    try:
        text = manifest_text({path: digests[manifest.algorithm] for path, digests in found.items()})
    except (KeyError, PublishError):
        return False
    return any(
        hashlib.new(name, text, usedforsecurity=False).hexdigest() == digest
        for name, digest in wanted.items()
    )


def _renamed(
    manifests: Sequence[Manifest], found: Digests, missing: AbstractSet[str], extra: AbstractSet[str]
) -> Iterator[tuple[str, str]]:
    """Yield the new and the former name of each file that has only another name."""
    former: dict[tuple[str, ...], dict[tuple[str, ...], deque[str]]] = {}
    for path in sorted(missing):
        listing = [manifest for manifest in manifests if path in manifest.digests]
        algorithms = tuple(manifest.algorithm for manifest in listing)
        wanted = tuple(manifest.digests[path] for manifest in listing)
        former.setdefault(algorithms, {}).setdefault(wanted, deque()).append(path)
    for path in sorted(extra):
        same = [
            names
            for algorithms, by_digests in former.items()
            if (names := by_digests.get(tuple(found[path].get(name, "") for name in algorithms)))
        ]
        if same:
            yield path, min(same, key=lambda names: names[0]).popleft()


def _unlisted(
    manifest: Manifest, found: Digests, account: _Account, listed: AbstractSet[str]
) -> Iterator[BagProblem]:
    """Yield what a manifest leaves out though it has to be there; all of one kind list the same in version 1.0."""
    for path in sorted(set(found) & listed - set(manifest.digests) - account.excused):
        yield BagProblem(manifest.name, f"does not list {path}")
