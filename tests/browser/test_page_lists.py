"""Lists of the page: sorted, filtered, shown in parts, linked to; and the page of a large session."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from assembler.report import report_page
from tests.support.browser import NARROW, WIDE, opened
from tests.support.large_records import large_record, large_views

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from assembler.record.recorded.whole import RecordedSet

LARGEST = 25_000_000
"""Bytes that the page of any session may have."""


def column(page: Page, table: str, number: int) -> list[str]:
    """Return the texts of a column, of the rows that are shown."""
    rows = page.locator(f"#{table} > tbody > tr:visible > td:nth-child({number})")
    return [text.strip() for text in rows.all_inner_texts()]


def test_headings_sort_both_ways(browser: Browser, page: Path, record: RecordedSet) -> None:
    """Numbers as numbers, places as places; what is sorted says so to a screen reader; no row is lost."""
    flaws = [flaw for one in record.passes for flaw in one.flaws]
    sizes = sorted(flaw.end - flaw.start if flaw.samples is None else flaw.samples for flaw in flaws)
    assert len(set(sizes)) > 2
    with opened(browser, page) as found:
        head = found.page.locator("#flaws th", has_text="Samples")
        assert column(found.page, "flaws", 1) == sorted(column(found.page, "flaws", 1))
        assert found.page.locator("#flaws th", has_text="At").get_attribute("aria-sort") == "ascending"
        head.get_by_role("button").click()
        assert column(found.page, "flaws", 4) == [str(size) for size in sizes]
        assert head.get_attribute("aria-sort") == "ascending"
        head.get_by_role("button").press("Enter")
        assert column(found.page, "flaws", 4) == [str(size) for size in reversed(sizes)]
        assert head.get_attribute("aria-sort") == "descending"
        assert found.page.locator("#flaws th", has_text="At").get_attribute("aria-sort") is None
        # Below zero a text and a number are not in the same order.
        found.page.locator("#levels th", has_text="Integrated").get_by_role("button").click()
        levels = sorted(track.levels.integrated_lufs or 0 for track in record.tracks if track.levels)
        assert column(found.page, "levels", 3) == [f"{level:.2f}" for level in levels]


def test_one_bar_filters_all_lists(browser: Browser, page: Path, record: RecordedSet) -> None:
    """By track, pass and kind, each for itself and together; a list without such a thing stays as it is."""
    with opened(browser, page) as found:
        form = found.page.locator("#filters")
        form.get_by_label("Pass").select_option(label="A2")
        flaws = record.passes[1].flaws
        assert column(found.page, "flaws", 2) == ["A2"] * len(flaws)
        assert column(found.page, "passes", 1) == ["A2"]
        assert len(column(found.page, "levels", 1)) == len(record.tracks)
        form.get_by_label("Kind").select_option(label="slip")
        assert column(found.page, "flaws", 1) == []
        form.get_by_role("button", name="All rows").click()
        expect(found.page.locator("#flaws > tbody > tr:visible")).to_have_count(
            sum(len(one.flaws) for one in record.passes)
        )
        form.get_by_label("Track").select_option(label="1 One")
        assert column(found.page, "levels", 2) == ["One"]
        assert set(column(found.page, "joins", 2)) <= {"One"}
        on_first = [f for one in record.passes for f in one.flaws if 0 in f.tracks]
        assert len(column(found.page, "flaws", 1)) == len(on_first)


def test_the_banner_leads_to_what_set_the_status(browser: Browser, page: Path) -> None:
    """A link to each open place, though a filter hides its row."""
    with opened(browser, page) as found:
        found.page.locator("#filters").get_by_label("Track").select_option(label="1 One")
        row = found.page.locator("#place-0")
        expect(row).to_be_hidden()
        found.page.locator(".verdict a").first.click()
        expect(row).to_be_visible()
        expect(row).to_be_in_viewport()


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the page of 128 tracks, more than 300 joins, 2,000 places, and views up to their limit."""
    record = large_record()
    assert (len(record.tracks), len(record.uncured)) == (128, 2000)
    assert sum(len(track.joins) for track in record.tracks) >= 300
    path = tmp_path_factory.mktemp("large") / "report.html"
    path.write_bytes(report_page(record, large_views(record, 13_000_000, 700_000)))
    return path


def test_a_large_session_stays_usable(browser: Browser, large: Path) -> None:
    """Below its size; lists and chart bounded; more on demand; every row can be led to and opened."""
    assert 13_000_000 < large.stat().st_size <= LARGEST
    with opened(browser, large) as found:
        page = found.page
        assert page.locator("#uncured > tbody > tr").count() == 2000
        assert page.locator("#uncured > tbody > tr:visible").count() == 100
        more = page.locator("#uncured").locator("xpath=../following-sibling::p")
        more.get_by_role("button", name="Show more").click()
        assert page.locator("#uncured > tbody > tr:visible").count() == 500
        frame = page.locator("#box").bounding_box()
        assert frame is not None
        assert frame["height"] < WIDE["height"] * 0.7
        page.locator("#box").focus()
        for _ in range(22):
            page.keyboard.press("PageDown")
        expect(page.locator("#readout")).to_contain_text("128 Reel 16 track 8")
        page.locator(".verdict summary").click()
        last = page.locator(".verdict a").last
        row = page.locator(last.get_attribute("href") or "")
        expect(row).to_be_hidden()
        last.click()
        expect(row).to_be_in_viewport()
        row.locator(".opener").click()
        expect(page.locator("section.place h3")).to_be_visible()


def test_a_large_session_fits_a_narrow_screen(browser: Browser, large: Path) -> None:
    """Its lists and its chart, too: nothing is scrolled sideways."""
    with opened(browser, large, viewport=NARROW) as found:
        assert found.page.evaluate("document.documentElement.scrollWidth") == NARROW["width"]
        expect(found.page.locator("#box")).to_be_visible()
