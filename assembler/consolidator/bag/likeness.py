"""Which of many digests a line of a manifest may once have had, without a look at each of them for each line.

A manifest may come from anywhere, with half a million lines over thousands of files.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

NEAR = 8
"""A line was altered, not its file, where at most one letter in so many of the digest is another."""


class Likeness:
    """The digests of some files by one algorithm.

    Args:
        digests: lower-case hex digest by path.

    Attributes:
        paths: the paths of each digest, in the order given; files may be the same.
    """

    def __init__(self, digests: Mapping[str, str]) -> None:
        self.paths: dict[str, list[str]] = {}
        for path, digest in digests.items():
            self.paths.setdefault(digest, []).append(path)
        self._size = max(map(len, self.paths), default=0)
        self._of_piece: dict[tuple[int, str], list[str]] = {}
        for digest in self.paths:
            for piece in self._pieces(digest):
                self._of_piece.setdefault(piece, []).append(digest)

    def find(self, text: str) -> list[str]:
        """Return each digest that stands in a line, or that it begins with but for a few letters."""
        text, size = text.lower(), self._size
        if len(text) < size or not size:
            return []
        found = dict.fromkeys(
            text[at : at + size] for at in range(len(text) - size + 1) if text[at : at + size] in self.paths
        )
        if len(text) > size:
            for piece in self._pieces(text):
                for digest in self._of_piece.get(piece, ()):
                    if (
                        sum(ours != theirs for ours, theirs in zip(text, digest, strict=False))
                        <= size // NEAR
                    ):
                        found[digest] = None
        return list(found)

    def _pieces(self, text: str) -> Iterator[tuple[int, str]]:
        """Yield one piece more than letters may differ, with its place: of a digest that is near, one is the same."""
        count = self._size // NEAR + 1
        for number in range(count):
            start = number * self._size // count
            yield start, text[start : (number + 1) * self._size // count]
