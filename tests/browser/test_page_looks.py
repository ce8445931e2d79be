"""The page for all its readers: narrow, dark, without script, in print, by keyboard, with names that would harm it."""

from __future__ import annotations

import json
from itertools import product
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from assembler.record.recorded.reading import read_record
from assembler.report import report_page
from assembler.report.views import RESULT, Clip, Trace, View, Views, Window
from tests.support.browser import NARROW, WIDE, opened
from tests.support.pages import ReadPage

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, ViewportSize

    from assembler.record.recorded.whole import RecordedSet

CONTRASTS = """() => {
  const parse = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const linear = (value) => (value / 255 <= 0.04045 ? value / 255 / 12.92 : ((value / 255 + 0.055) / 1.055) ** 2.4);
  const light = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const color = parse(getComputedStyle(at).backgroundColor);
      if (color.length === 3 || color[3] > 0) return color;
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !element.checkVisibility() || element.closest("svg, script")) continue;
    const [one, other] = [light(parse(getComputedStyle(element).color)), light(ground(element))];
    const contrast = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
    found.push([contrast, walker.currentNode.data.trim().slice(0, 40)]);
  }
  return found.sort((one, other) => one[0] - other[0]);
}"""
"""Contrast of every text that is seen with what it stands on, the least first: WCAG 2.2, 1.4.3."""


@pytest.mark.parametrize(("viewport", "is_dark"), list(product((WIDE, NARROW), (False, True))))
def test_words_are_read_at_every_width_in_light_and_dark(
    browser: Browser,
    page: Path,
    viewport: ViewportSize,
    is_dark: bool,  # noqa: FBT001
) -> None:
    """A contrast of 4.5 at least, no scrolling sideways, with a place open too; dark is dark."""
    with opened(browser, page, viewport=viewport, is_dark=is_dark) as found:
        found.page.locator("#place-0 .opener").click()
        expect(found.page.locator("figure.wave").first).to_be_visible()
        contrasts = found.page.evaluate(CONTRASTS)
        assert len(contrasts) > 100
        assert contrasts[0][0] >= 4.5, contrasts[:5]
        assert found.page.evaluate("document.documentElement.scrollWidth") == viewport["width"]
        red = int(
            found.page.evaluate("getComputedStyle(document.body).backgroundColor").split("(")[1].split(",")[0]
        )
        assert (red < 80) == is_dark


def test_without_script_the_page_still_has_everything(
    browser: Browser, page: Path, record: RecordedSet
) -> None:
    """All rows, and the strips; nothing that would do nothing."""
    with opened(browser, page, has_script=False) as found:
        expect(found.page.locator("#strips")).to_be_visible()
        assert found.page.locator("#strips svg").count() == len(record.tracks)
        expect(found.page.locator("#chart")).to_be_hidden()
        expect(found.page.locator("#filters")).to_be_hidden()
        assert found.page.locator("button:visible").count() == 0
        flaws = sum(len(one.flaws) for one in record.passes)
        assert found.page.locator("#flaws > tbody > tr:visible").count() == flaws
        for name in ("uncured", "passes", "notes", "joins", "identical", "levels", "files"):
            assert found.page.locator(f"#{name} > tbody > tr:visible").count() > 0
        assert found.page.locator("figure.clock svg").count() > 0


def test_print_has_all_rows_on_white(browser: Browser, page: Path) -> None:
    """Strips in place of the chart, no buttons, and light though the screen is dark."""
    with opened(browser, page, is_dark=True) as found:
        found.page.emulate_media(media="print")
        expect(found.page.locator("#strips")).to_be_visible()
        expect(found.page.locator("#box")).to_be_hidden()
        assert found.page.locator(".opener:visible, .tools button:visible").count() == 0
        assert found.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert found.page.evaluate(CONTRASTS)[0][0] >= 4.5


def test_the_keyboard_reaches_all(browser: Browser, page: Path) -> None:
    """Tab comes by every button, list, link and chart that is seen, and each shows that it has the focus."""
    with opened(browser, page) as found:
        found.page.locator("#place-0 .opener").press("Enter")
        expect(found.page.locator("button.clip").first).to_be_visible()
        wanted = found.page.evaluate(
            """() => {
          const all = [...document.querySelectorAll("button, select, input, a[href], summary, [tabindex='0']")];
          const seen = all.filter((one) => one.checkVisibility({ visibilityProperty: true }));
          seen.forEach((one, at) => { one.dataset.stop = String(at); });
          document.activeElement.blur();
          return seen.length;
        }"""
        )
        assert wanted > 40
        reached: set[str] = set()
        for _ in range(wanted + 5):
            found.page.keyboard.press("Tab")
            stop, outline = found.page.evaluate(
                "() => [document.activeElement].map((at) => [at.dataset.stop, getComputedStyle(at).outlineStyle])[0]"
            )
            if stop is not None:
                assert outline != "none"
                reached.add(stop)
        assert len(reached) == wanted


HARM = '</script><img src=x onerror="window.harmed = 1"><!--\u202e'


def test_names_stay_text(browser: Browser, record: RecordedSet, tmp_path: Path) -> None:
    """Of tracks, passes, reels, notes, places and views: none becomes markup, none runs, and each is read as it is."""
    text = record.model_dump_json(by_alias=True)
    plain: Any = json.loads(text)
    for one in ("A1", "Two"):
        plain = json.loads(json.dumps(plain).replace(json.dumps(one), json.dumps(one + HARM)))
    plain["session"]["title"] = HARM
    plain["notes"].append(
        {**plain["notes"][0], "text": HARM, "theme": "", "needs_a_person": True, "kind": HARM}
    )
    plain["uncured"][0]["passes"][0]["text"] = HARM
    place = plain["uncured"][0]
    trace = Trace("A1" + HARM, (1, 2, 3), (1, 2, 3))
    window = Window(HARM, place["start"], 1, (trace, Trace(RESULT, (1, 2, 3), (1, 2, 3))))
    clips = (Clip("A1" + HARM, place["start"], b"no sound", is_held_back=True),)
    views = Views((View(2, place["start"], place["end"], (window,), clips),))
    path = tmp_path / "page.html"
    path.write_bytes(report_page(read_record(json.dumps(plain).encode()), views))
    with opened(browser, path) as found:
        shown = HARM.replace("\u202e", "\\u202e")
        assert found.page.title() == shown
        found.page.locator("#place-0 .opener").click()
        expect(found.page.locator("figure.wave figcaption")).to_contain_text(shown)
        expect(found.page.locator("section.place h3")).to_contain_text("Two" + shown)
        expect(found.page.locator("button.clip")).to_contain_text("A1" + shown)
        found.page.locator("#box").focus()
        found.page.keyboard.press("ArrowDown")
        expect(found.page.locator("#readout")).to_contain_text("Two" + shown)
        assert found.page.locator("img").count() == 0
        assert found.page.evaluate("window.harmed") is None
        assert found.page.locator("#filters option", has_text="A1" + shown).count() == 1
    read = ReadPage(path.read_text(encoding="utf-8"))
    assert any(row["What"].startswith(shown) for row in read.rows("Notes: corrections and findings"))


def test_the_page_may_run_nothing_else(browser: Browser, page: Path, tmp_path: Path) -> None:
    """Its own policy stops a script, a handler, a picture and a style that were put into it."""
    text = page.read_text(encoding="utf-8")
    harm = '<script>window.harmed = 1</script><b onclick="window.harmed = 2" id="harm">x</b>'
    path = tmp_path / "page.html"
    path.write_text(text.replace("</main>", f"{harm}</main>"), encoding="utf-8")
    context = browser.new_context()
    tab = context.new_page()
    tab.goto(path.as_uri())
    tab.locator("#harm").click()
    assert tab.evaluate("window.harmed") is None
    assert tab.evaluate("document.documentElement.dataset.ready") == "true"
    context.close()
