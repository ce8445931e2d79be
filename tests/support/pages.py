"""A page as its reader finds it, taken apart by the standard library: its verdict, its lines, its tables by heading."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class ReadPage(HTMLParser):
    """The text of a page by its parts.

    Args:
        text: its HTML.
    """

    text: str
    verdict: str = ""
    lines: list[str] = field(default_factory=list)
    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    _heading: str = ""
    _tags: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Read the text."""
        super().__init__()
        self.feed(self.text)
        self.verdict = " ".join(self.verdict.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note where the text that follows stands."""
        is_verdict = tag == "div" and "verdict" in (dict(attrs).get("class") or "").split()
        self._tags.append("verdict" if is_verdict else tag)
        if tag == "h2":
            self._heading = ""
        elif tag == "tr":
            self.tables.setdefault(self._heading, []).append([])
        elif tag in ("td", "th"):
            self.tables[self._heading][-1].append("")
        elif tag == "p":
            self.lines.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Pass over a tag that holds nothing."""

    def handle_endtag(self, tag: str) -> None:
        """Leave a part, and what was left open in it."""
        while self._tags and self._tags.pop() not in (tag, "verdict" if tag == "div" else tag):
            pass

    def handle_data(self, data: str) -> None:
        """Put a text where it belongs."""
        if "verdict" in self._tags:
            self.verdict += data
        elif "h2" in self._tags:
            self._heading += data
        elif {"td", "th"} & set(self._tags):
            self.tables[self._heading][-1][-1] += data
        elif "p" in self._tags:
            self.lines[-1] += data

    def rows(self, heading: str) -> list[dict[str, str]]:
        """Return the rows of the table under a heading, each by the names of its columns; none where there is none."""
        head, *rows = self.tables.get(heading, [[]])
        return [dict(zip(head, row, strict=True)) for row in rows]
