"""The page of a set, from its record: what was delivered, from where, what was cured, what was not.

The page needs nothing but itself: no font, no picture, no script from elsewhere, and its own policy forbids any. All
numbers come from the record, so that a page can be made again from ``assembly.json``; only waveforms and clips, which
are made while a set is rendered, are given beside it.
"""

from __future__ import annotations

import hashlib
from base64 import b64encode
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from assembler.pages import page_template
from assembler.report import palette
from assembler.report.parts.banner import SHOWN, causes, summary
from assembler.report.parts.clocks import clock_charts
from assembler.report.parts.data import block, record_data, view_blocks
from assembler.report.parts.lists import (
    file_table,
    identical_table,
    join_table,
    level_table,
    pass_table,
    woven_table,
)
from assembler.report.parts.marks import Marks
from assembler.report.parts.places import flaw_table, note_lines, note_table, place_tables
from assembler.report.parts.strips import HEIGHTS, reel_strips, track_strips
from assembler.report.views import Views
from assembler.sheet import NO_ADVICE, preparation_words, reel_cautions
from assembler.verdict.states import state_words

if TYPE_CHECKING:
    from jinja2 import Template

    from assembler.record.recorded.whole import RecordedSet

LARGEST = 25_000_000
"""Bytes of a page. Lists, charts and words come first; views have what is left."""

_LIMIT_MARK, _VIEWS_MARK = "<!-- limit -->", "<!-- views -->"

SCRIPTS = ("base", "axis", "chart", "lanes", "steering", "tables", "waves", "places", "start")
"""Files of the page's one script, in the order in which they stand in it."""


# Read when the module is: that it is missing is to be reported before the work and not after.
@cache
def load_page() -> Template:
    """Load all that makes a page, and return its template: to be done before long work and not after.

    Raises:
        ImportError: a part of the library is missing.
    """
    _inlined()
    return page_template("assembler.report", "page.html.j2")


@cache
def _inlined() -> tuple[str, str]:
    """Return style and script as they stand in the page: files of the package, in which no value is put."""
    folder = files("assembler.report") / "templates"
    script = "".join((folder / "script" / f"{name}.js").read_text(encoding="utf-8") for name in SCRIPTS)
    style = "".join((folder / f"{name}.css").read_text(encoding="utf-8") for name in ("style", "views"))
    return _colors() + style, f'(() => {{\n"use strict";\n{script}}})();\n'


def _colors() -> str:
    """Return the palette as variables of the style: dark ones where a screen's reader asks for them, never in print."""

    def variables(shades: palette.Shades) -> str:
        named = {name: getattr(shades, name) for name in ("paper", "card", "lane", "line", "ink", "faint")}
        named |= {"open": shades.open, "sound": shades.sound}
        named |= {f"p{number}": tone for number, tone in enumerate(shades.passes)}
        named |= {f"s-{state.value}": tone for state, tone in shades.states.items()}
        return " ".join(f"--{name}: {tone};" for name, tone in named.items())

    names = [
        *(f"p{number}" for number in range(len(palette.PASSES))),
        *(f"s-{s.value}" for s in palette.STATES),
    ]
    classes = "".join(
        f".{n} {{ fill: var(--{n}); background-color: var(--{n}); color: var(--{n}); }}\n"
        for n in (*names, "open-mark")
    )
    return (
        f":root {{ color-scheme: light; {variables(palette.LIGHT)} --open-mark: var(--open); }}\n"
        "@media screen and (prefers-color-scheme: dark) "
        f"{{ :root {{ color-scheme: dark; {variables(palette.DARK)} }} }}\n{classes}"
    )


def _policy(style: str, script: str) -> str:
    """Return what the page may do: run this very script and style, play sounds of its own, and ask nobody."""

    def digest(text: str) -> str:
        return f"'sha256-{b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"

    return (
        f"default-src 'none'; script-src {digest(script)}; style-src {digest(style)}; media-src blob:; "
        "base-uri 'none'; form-action 'none'"
    )


def report_page(record: RecordedSet, views: Views = Views()) -> bytes:  # noqa: B008 - frozen
    """Return the page of a set as UTF-8 HTML.

    Args:
        record: of the set, as `read_record` returns it.
        views: waveforms and clips of its places; without any the page says so.
    """
    marks = Marks(record)
    style, script = _inlined()
    lines = note_lines(record)
    tables = {
        "open": place_tables(record, marks),
        "findings": [note_table(record, marks), flaw_table(record, marks)],
        "made": [
            woven_table(record, marks),
            join_table(record, marks),
            identical_table(record, marks),
            level_table(record),
        ],
        "last": [file_table(record)],
    }
    page = load_page().render(
        record=record,
        marks=marks,
        policy=_policy(style, script),
        style=style,
        script=script,
        seconds=record.length / record.session.sample_rate,
        summary=summary(record),
        has_accepted=any(place.accepted is not None for place in record.uncured),
        causes=causes(record, lines, marks),
        at_once=SHOWN,
        strips=track_strips(record, marks) if record.length else [],
        saved=reel_strips(record, marks) if record.length else [],
        states=[(state_words(state), f"s-{state.value}", HEIGHTS[state]) for state in palette.STATES],
        passes=pass_table(record, marks),
        clocks=clock_charts(record, marks),
        tables={part: [table for table in found if table.rows] for part, found in tables.items()},
        limit_mark=_LIMIT_MARK,
        views_mark=_VIEWS_MARK,
        data=block(record_data(record, views, marks)),
        prepared_words=preparation_words,
        cautions=reel_cautions((reel.name, reel.prepared) for reel in record.reels),
        no_advice=NO_ADVICE,
    )
    return _with_views(page, views).encode("utf-8")


def _with_views(page: str, views: Views) -> str:
    """Return a page with its views, as many as its size allows, and with what is left out of it."""
    room = LARGEST - len(page.encode("utf-8")) - len(_VIEWS_MARK)
    blocks, mute, blind = view_blocks(views, room - 200)
    elements = (
        f'<script type="application/json" id="view-{number}">{text}</script>\n'
        for number, text in enumerate(blocks)
    )
    words = "This page was made without waveforms and clips."
    if views.views:
        mute, blind = mute + views.without_clips, blind + views.without_windows
        words = f"So that the page stays small, {_places(mute)} without clips and {_places(blind)} without waveforms."
        words = words if mute or blind else ""
    told = f'<p class="faint">{words}</p>' if words else ""
    # Both marks are markup, which no name on the page can be.
    return page.replace(_LIMIT_MARK, told, 1).replace(_VIEWS_MARK, "".join(elements), 1)


def _places(count: int) -> str:
    return "1 place is" if count == 1 else f"{count:,} places are"
