"""The palette measured: contrast, and colours told apart by eyes that see them differently.

Sources: relative luminance and contrast, and the least contrasts of words (4.5) and of shapes (3): WCAG 2.2, success
criteria 1.4.3 and 1.4.11. sRGB to linear light and to XYZ: IEC 61966-2-1. Lab and the distance of colours in it: CIE
1976. Simulated protanopia, deuteranopia, tritanopia: Machado, Oliveira, Fernandes, "A Physiologically-based Model for
Simulation of Color Vision Deficiency", 2009, table of severity 1.0, on linear light.
"""

from __future__ import annotations

import re
from itertools import combinations, product
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.report import palette

if TYPE_CHECKING:
    from numpy.typing import NDArray

ROOT = Path(__file__).parents[2]

SHADES = [pytest.param(palette.LIGHT, id="light"), pytest.param(palette.DARK, id="dark")]

EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])

APART = 15.0
"""Two patches on a screen that are as far apart as this, in Lab, are named as two colours at a glance: just seen is
2.3 (Mahy, Van Eycken, Oosterlinck, 1994); common practice, no source for the factor."""

STOCK = re.findall(
    r"[0-9a-f]{6}",
    """
    1f77b4 ff7f0e 2ca02c d62728 9467bd 8c564b e377c2 7f7f7f bcbd22 17becf e69f00 56b4e9 009e73 f0e442 0072b2 d55e00
    cc79a7 4c72b0 dd8452 55a868 c44e52 8172b3 937860 da8bc3 8c8c8c ccb974 64b5cd 636efa ef553b 00cc96 ab63fa ffa15a
    19d3f3 e41a1c 377eb8 4daf4a 984ea3 ff7f00 a65628 1b9e77 d95f02 7570b3 e7298a 66a61e e6ab02 a6761d 4e79a7 f28e2b
    e15759 76b7b2 59a14f b07aa1 332288 117733 44aa99 88ccee ddcc77 cc6677 aa4499 882255 b3261e f44336 d32f2f dc3545
    ef4444 dc2626 b91c1c da1e28 d93025 c62828 b00020
    """,
)
"""First cycles of plotting libraries, qualitative schemes of maps, and reds of design systems, as they ship."""


def linear(color: str) -> NDArray[np.float64]:
    """Return linear red, green and blue, 0 to 1."""
    coded = np.array([int(color[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, 1 to 21."""
    low, high = sorted(float(linear(color) @ XYZ[1]) for color in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(color: str, eye: str = "usual") -> NDArray[np.float64]:
    """Return a colour in Lab as an eye has it."""
    relative = XYZ @ np.clip(EYES[eye] @ linear(color), 0, 1) / XYZ.sum(1)
    f = np.where(relative > 216 / 24389, np.cbrt(relative), (24389 / 27 * relative + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_measures_are_right() -> None:
    """Black on white is 21 to 1 by definition; white stays white to every eye; a deutan has red near green."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    for eye in EYES:
        assert lab("#ffffff", eye) == pytest.approx([100, 0, 0], abs=0.1)
    far, near = (np.linalg.norm(lab("#c00000", eye) - lab("#407000", eye)) for eye in ("usual", "deutan"))
    assert near < far / 2


@pytest.mark.parametrize("shades", SHADES)
def test_words_are_readable(shades: palette.Shades) -> None:
    """What is written stands out from what it is written on."""
    for words, ground in product((shades.ink, shades.faint, shades.open), (shades.paper, shades.card)):
        assert contrast(words, ground) >= 4.5, (words, ground)


@pytest.mark.parametrize("shades", SHADES)
def test_shapes_are_seen(shades: palette.Shades) -> None:
    """What is drawn stands out from the lane and from the page."""
    for shape in (*shades.passes, *shades.states.values(), shades.sound):
        assert min(contrast(shape, ground) for ground in (shades.lane, shades.paper, shades.card)) >= 3, shape


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("shades", SHADES)
def test_colours_are_told_apart(shades: palette.Shades, eye: str) -> None:
    """Passes, with what is open on top of them, and states, to each kind of eye."""
    for colors in ((*shades.passes, shades.open), tuple(shades.states.values())):
        for one, other in combinations(colors, 2):
            assert np.linalg.norm(lab(one, eye) - lab(other, eye)) >= APART, (one, other)


@pytest.mark.parametrize("color", [*palette.LIGHT.passes, *palette.DARK.passes])
def test_no_pass_is_red(color: str) -> None:
    """Red is what is open: a pass of a hue near it has next to no colour."""
    _, a, b = lab(color)
    is_red = not 48 <= np.degrees(np.arctan2(b, a)) % 360 <= 335
    assert not is_red or np.hypot(a, b) < 18


@pytest.mark.parametrize("shades", SHADES)
def test_the_palette_is_our_own(shades: palette.Shades) -> None:
    """No colour is one that ships with a library or a design system, nor looks like one."""
    for color in {*shades.passes, *shades.states.values(), shades.open}:
        for stock in STOCK:
            assert np.linalg.norm(lab(color) - lab(f"#{stock}")) > 5, (color, stock)


def test_there_is_one_palette() -> None:
    """No page has a colour of its own beside it."""
    for path in (ROOT / "assembler" / "report").rglob("*"):
        if path.suffix in (".py", ".j2", ".css", ".js"):
            assert not re.findall(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b", path.read_text(encoding="utf-8")), (
                path
            )
