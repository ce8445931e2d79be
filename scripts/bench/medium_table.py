"""The lines of the trials' table."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scripts.bench.medium_truth import Tally

BY = ("cause", "kind")

_COLUMNS = (
    ("session", 16),
    ("curable", 10),
    ("right", 10),
    ("unlisted", 9),
    ("listed", 9),
    ("needless", 9),
    ("lost", 8),
    ("unlisted", 8),
    ("weave", 8),
    ("right", 8),
    ("set told", 11),
    ("passes told", 11),
    ("false/h", 7),
    ("blamed", 6),
    ("places/100", 10),
    ("astray", 8),
    ("unlisted", 8),
    ("s", 6),
)
HEAD = " ".join(f"{name:>{width}}" for name, width in _COLUMNS)


def line(name: str, tally: Tally) -> str:
    """Return one line of the table."""
    if tally["refused",] and not tally["sessions",]:
        return f"{name:>16} refused"
    flaws, told = _summed(tally, "flaws"), _summed(tally, "flaws told")
    wrong, listed = _summed(tally, "delivered"), _summed(tally, "delivered told")
    hours = tally["hours, millionths",] / 1e6
    values = (
        name,
        tally["curable",],
        tally["curable right",],
        tally["curable unlisted",],
        tally["curable listed",],
        tally["needless",],
        tally["lost",],
        tally["lost unlisted",],
        tally["weave",],
        tally["weave right",],
        f"{listed}/{wrong}",
        f"{told}/{flaws}",
        f"{tally['false',] / hours:.0f}" if hours else "–",
        tally["blamed",],
        f"{100 * tally['needless places',] / flaws:.1f}" if flaws else f"({tally['needless places',]})",
        tally["astray",],
        tally["astray unlisted",],
        f"{tally['milliseconds',] / 1000:.1f}",
    )
    return " ".join(f"{value:>{width}}" for value, (_, width) in zip(values, _COLUMNS, strict=True))


def _summed(tally: Tally, name: str) -> int:
    return sum(count for key, count in tally.items() if key[:2] == (name, "kind"))


def by_lines(tally: Tally, what: str) -> list[str]:
    """Return lines of the same figures by cause or kind; samples are counted by cause alone."""
    names = sorted({key[2] for key in tally if len(key) == 3 and key[1] == what})
    head = f"{what:>18} {'set told':>11} {'passes told':>11}"
    if what == "cause":
        head += "".join(f" {name:>9}" for name in ("wrong", "curable", "right", "unlisted", "listed"))
    lines = [head]
    for name in names:
        pairs = [
            f"{tally[f'{part} told', what, name]}/{tally[part, what, name]}"
            for part in ("delivered", "flaws")
        ]
        row = f"{name.lower():>18} {pairs[0]:>11} {pairs[1]:>11}"
        if what == "cause":
            keys = ("samples", "samples curable", "samples right", "samples unlisted", "samples listed")
            row += "".join(f" {tally[key, what, name]:>9}" for key in keys)
        lines.append(row)
    return lines
