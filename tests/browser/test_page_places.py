"""What opens from a row: words, waveforms, clips that play to their end."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from playwright.sync_api import expect

from assembler.report.reasons import reason_words
from tests.support.browser import opened

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from assembler.record.recorded.whole import RecordedSet

KEPT = """
window.kept = [];
const Plain = window.Audio;
window.Audio = function (address) {
  const made = new Plain(address);
  window.kept.push(made);
  return made;
};
"""
"""Keeps every player that the page makes, to be asked what it did."""

INKED = """(canvas) => {
  const copy = Object.assign(document.createElement("canvas"), { width: canvas.width, height: canvas.height });
  const pen = copy.getContext("2d", { willReadFrequently: true });
  pen.drawImage(canvas, 0, 0);
  const data = pen.getImageData(0, 0, copy.width, copy.height).data;
  const seen = new Map();
  for (let at = 0; at < data.length; at += 4) {
    const color = (data[at] << 16) + (data[at + 1] << 8) + data[at + 2];
    seen.set(color, (seen.get(color) || 0) + 1);
  }
  return [...seen].filter((one) => one[1] > 40).length;
}"""


def words(page: Page) -> list[list[str]]:
    """Return the rows of what each pass has."""
    rows = page.locator("section.place table.words tbody tr").all()
    return [row.locator("th, td").all_inner_texts() for row in rows]


def test_every_listed_place_opens(browser: Browser, page: Path, record: RecordedSet) -> None:
    """Every open place, flaw and join that is not between equal sides: by the keyboard, with words for each pass."""
    with opened(browser, page) as found:
        rows = found.page.locator("tr[data-view]")
        flaws = sum(len(one.flaws) for one in record.passes)
        laws = Counter(join.law for track in record.tracks for join in track.joins)
        assert laws["constant_power"]
        assert laws["edge"]
        joined = laws.total() - laws["identical"]
        placed = sum(one.start is not None for one in record.notes)
        assert placed > 0
        # Notes of one cause share a line.
        assert rows.count() > len(record.uncured) + flaws + joined
        assert found.page.locator("#joins tr[data-view]").count() == joined
        for row in found.page.locator("#joins tr[data-view]").all():
            row.locator(".opener").press("Enter")
            expect(found.page.locator("figure.wave").first).to_be_visible()
        for row in rows.all():
            row.locator(".opener").press("Enter")
            assert words(found.page)
            assert row.locator(".opener").get_attribute("aria-expanded") == "true"
            assert found.page.locator("tr.view").count() == 1
        found.page.keyboard.press("Escape")
        assert found.page.locator("tr.view").count() == 0


def test_a_view_says_what_each_pass_has_and_why(browser: Browser, page: Path, record: RecordedSet) -> None:
    """Kind, length and outcome, the rule and its lead, and which pass was taken: as the record has them."""
    with opened(browser, page) as found:
        number, count, flaw = next(
            (number, count, flaw)
            for number, one in enumerate(record.passes)
            for count, flaw in enumerate(one.flaws)
            if flaw.kind == "mute" and flaw.is_cured and flaw.because
        )
        found.page.locator(f"#flaw-{number}-{count} .opener").click()
        assert flaw.because is not None
        told = {row[0]: row for row in words(found.page)}
        name = record.passes[number].name
        assert told[name][1:] == [
            f"mute, {flaw.end - flaw.start} samples, cured",
            reason_words(flaw.because.rule, flaw.because.nats),
            "",
        ]
        assert told["A2"][1:] == ["no flaw found", "", "taken"]
        track, join = next((t, j) for t in record.tracks for j in t.joins if j.law == "constant_power")
        found.page.locator(f"#join-{track.number}-{join.at} .opener").click()
        met = (
            f"constant power over {join.fade} samples; correlation of the sides {join.correlation:g}, largest"
        )
        expect(found.page.locator("section.place")).to_contain_text(met)
        track, join = next((t, j) for t in record.tracks for j in t.joins if j.law == "edge")
        found.page.locator(f"#join-{track.number}-{join.at} .opener").click()
        expect(found.page.locator("section.place")).to_contain_text("edge; sound meets silence")
        found.page.locator("#place-0 .opener").click()
        assert [row[1] for row in words(found.page)] == [held.text for held in record.uncured[0].held]
        assert [row[3] == "taken" for row in words(found.page)] == [
            h.is_taken for h in record.uncured[0].held
        ]


def test_waveforms_are_drawn_and_read(browser: Browser, page: Path, record: RecordedSet) -> None:
    """A figure a window with a name, not blank; a column says its sample and a number for every line."""
    with opened(browser, page) as found:
        found.page.locator("#place-0 .opener").click()
        figures = found.page.locator("figure.wave")
        expect(figures.first).to_be_visible()
        for figure in figures.all():
            assert figure.locator("canvas").evaluate(INKED) >= 5
            assert "difference" in (figure.locator("canvas").get_attribute("aria-label") or "")
        begins = found.page.locator("figure.wave", has_text="single samples").first
        begins.locator("canvas").press("ArrowRight")
        told = begins.locator(".columns").inner_text()
        for source in ("A1", "A2", "result", "difference"):
            assert re.search(rf"{source} (-?\d+( to -?\d+)?|nothing)", told)
        at = begins.locator("canvas")
        at.press("ArrowRight")
        assert begins.locator(".columns").inner_text() != told
        assert record.uncured[0].track in found.page.locator("section.place h3").inner_text()


def test_clips_play_softly_to_their_end_one_at_a_time(browser: Browser, page: Path) -> None:
    """At a tenth of full at first, under a caution; another clip stops the first; the slider is kept, not stored."""
    with opened(browser, page, before=KEPT) as found:
        found.page.locator("#place-0 .opener").click()
        clips = found.page.locator("button.clip")
        expect(clips.first).to_be_visible()
        expect(found.page.locator("section.place .caution")).to_contain_text("Turn the level down first")
        assert clips.count() == 3
        assert found.page.evaluate("window.kept.length") == 0
        clips.nth(0).click()
        expect(clips.nth(0)).to_have_attribute("aria-pressed", "true")
        clips.nth(1).click()
        expect(clips.nth(0)).to_have_attribute("aria-pressed", "false")
        assert found.page.evaluate("window.kept.map((one) => [one.volume, one.paused])") == [
            [0.1, True],
            [0.1, False],
        ]
        expect(clips.nth(1)).to_have_attribute("data-ended", "1", timeout=15_000)
        duration, ended, error = found.page.evaluate(
            "[window.kept[1].duration, window.kept[1].ended, window.kept[1].error && window.kept[1].error.message]"
        )
        assert error is None
        assert duration > 1
        expect(clips.nth(1)).to_have_attribute("aria-pressed", "false")
        found.page.get_by_label("Level of the clips").fill("0.25")
        clips.nth(2).click()
        assert found.page.evaluate("window.kept[2].volume") == 0.25
        expect(clips.nth(2)).to_have_attribute("data-ended", "1", timeout=15_000)
        # Kept for the next place of this page; nothing of it outlives the page.
        found.page.locator("#flaw-0-0 .opener").click()
        expect(found.page.get_by_label("Level of the clips")).to_have_value("0.25")
        assert ended in (True, False)
    with opened(browser, page) as again:
        again.page.locator("#place-0 .opener").click()
        expect(again.page.get_by_label("Level of the clips")).to_have_value("0.1")
        again.page.get_by_role("button", name=re.compile("^Play result")).click()
        again.page.keyboard.press("Escape")
        assert again.page.locator("tr.view").count() == 0
