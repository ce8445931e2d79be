"""What names of folders and files say about reels, passes and tracks.

Guesses for a draft that a person corrects: never used on a sheet that somebody wrote.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

_SEPARATORS = " _-."
# "tape1_take2", "Reel A retake": a word says that the number after it counts captures.
_WORDED_PASS = re.compile(
    r"(?P<reel>.*?)[ _.-]*(?P<word>pass|take|retake)[ _.-]*(?P<number>[0-9]{0,4})", re.IGNORECASE
)
# "A2", "drums-1": the number counts captures, unless the text before it is the word for a tape ("reel 3").
_NUMBERED_PASS = re.compile(r"(?P<reel>.*?[^0-9])(?P<number>[0-9]{1,4})")
_NUMBERED_TRACK = re.compile(r"Track ([0-9]{1,6})")
_TAPE_WORD = re.compile(r"(?:.*[ _.-])?(?:reel|tape)", re.IGNORECASE)

_WORD = re.compile(r"[^ _.\-]+[ _.\-]*")
# What says that the number after it counts tapes, captures or tracks.
_COUNTING = re.compile(r"(?:.*[ _.-])?(?:reel|tape|pass|take|retake|track|trk|ch)[ _.-]*", re.IGNORECASE)


def split_pass_name(name: str) -> tuple[str, int]:
    """Return the reel and the number of the capture that a pass's name speaks of.

    >>> split_pass_name("A2"), split_pass_name("Reel 3"), split_pass_name("tape1_take2")
    (('A', 2), ('Reel 3', 1), ('tape1', 2))
    """
    name = name.strip(_SEPARATORS)
    worded = _WORDED_PASS.fullmatch(name)
    if worded and worded["reel"]:
        default = 2 if worded["word"].lower() == "retake" else 1
        return worded["reel"], int(worded["number"] or default)
    numbered = _NUMBERED_PASS.fullmatch(name)
    if numbered:
        reel = numbered["reel"].rstrip(_SEPARATORS)
        if reel and not _TAPE_WORD.fullmatch(reel):
            return reel, int(numbered["number"])
    return name or "A", 1


def shown(name: str) -> str:
    """Return a reel's name, or a word where nobody would see it: file names may be of spaces alone."""
    return name if name.strip() else "reel"


def track_name_from_file(file_name: str, pass_name: str = "") -> str:
    """Return the track's name in a capture's file name; "" if it has only a number there.

    The suffix, the pass's name and the track's number in front are taken off, underscores read as spaces.

    >>> track_name_from_file("03 Snare.wav"), track_name_from_file("A1_04_Lead_Vox.wav", "A1")
    ('Snare', 'Lead Vox')
    """
    stem = re.sub(r"\.[A-Za-z][A-Za-z0-9]{1,4}$", "", file_name).strip(_SEPARATORS)
    if pass_name and stem.lower().startswith(pass_name.lower()):
        rest = stem[len(pass_name) :]
        stem = rest.strip(_SEPARATORS) if rest[:1] in (*_SEPARATORS, "") else stem
    stem = re.sub(r"^(?:(?:track|trk|ch)[ _.-]*)?[0-9]{1,3}(?:[ _.-]+|$)", "", stem, flags=re.IGNORECASE)
    return " ".join(stem.replace("_", " ").split())


def without_shared(names: Sequence[str]) -> list[str]:
    """Return names without the words that all of them begin with, and those that all of them end with.

    Nothing is stripped that would leave a name empty or a bare number, or two names alike; words that say what is
    counted, as reel, stay with their number.

    >>> without_shared(["Harvest A1", "Harvest A2", "Harvest B1"]), without_shared(["Reel 1", "Reel 2"])
    (['A1', 'A2', 'B1'], ['Reel 1', 'Reel 2'])
    """
    if len(set(names)) < 2:
        return list(names)
    words = [_WORD.findall(name) for name in names]
    if any("".join(row) != name for row, name in zip(words, names, strict=True)):
        return list(names)
    fewest = min(map(len, words))
    first = _alike([row[:fewest] for row in words])
    last = _alike([row[::-1][: fewest - first] for row in words])
    for begin, end in ((first, last), (first, 0), (0, last)):
        left = ["".join(row[begin : len(row) - end]).strip(_SEPARATORS) for row in words]
        if _may_stand(left) and not _COUNTING.fullmatch("".join(words[0][:begin]) or "-"):
            return left
    return list(names)


def names_beside(names: Sequence[str], taken: Collection[str]) -> list[str]:
    """Return the names of a tape's tracks beside which others run in sync, none of them one of theirs.

    Two reels that name one track follow one another on it. Names that are a number alone run on, as the sixteen tracks
    of two machines do; any other one that is taken gets a number.

    >>> names_beside(["Track 1", "Track 2", "Vox", ""], ["Track 1", "Track 2", "Vox"])
    ['Track 3', 'Track 4', 'Vox 2', '']
    """
    numbers = [int(found[1]) for name in taken if (found := _NUMBERED_TRACK.fullmatch(name))]
    is_taken = not set(names).isdisjoint(taken)
    firsts = []
    for name in names:
        number = _NUMBERED_TRACK.fullmatch(name)
        firsts.append(f"Track {int(number[1]) + max(numbers)}" if number and numbers and is_taken else name)
    return unique(firsts, taken)


def unique(names: Sequence[str], taken: Collection[str] = ()) -> list[str]:
    """Return names of which none is another's or taken: a number goes to those that come later.

    A name that differs from the start keeps its own; "" stands for any number of unused tracks.
    """
    wanted, used = set(names), set(taken)
    result = []
    for name in names:
        chosen, number = name, 2
        while chosen and (chosen in used or (chosen != name and chosen in wanted)):
            chosen, number = f"{name} {number}", number + 1
        used.add(chosen)
        result.append(chosen)
    return result


def _alike(rows: Sequence[Sequence[str]]) -> int:
    """Return how many of the first words all rows have in common."""
    count = 0
    for column in zip(*rows, strict=True):
        if len({word.strip(_SEPARATORS).lower() for word in column}) > 1:
            break
        count += 1
    return count


def _may_stand(names: Sequence[str]) -> bool:
    return all(name and not name.isdecimal() for name in names) and len(set(names)) == len(names)
