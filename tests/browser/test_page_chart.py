"""The chart of coverage: it draws, it zooms to single samples, and what it says of a place is what the record has."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from assembler.record.recorded.reading import read_record
from assembler.report import report_page
from assembler.timecode import format_place, frame_rate
from tests.support.browser import opened

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from assembler.record.recorded.whole import RecordedSet

PIXELS = """() => {
  const canvas = document.getElementById("lanes");
  const copy = Object.assign(document.createElement("canvas"), { width: canvas.width, height: canvas.height });
  const pen = copy.getContext("2d", { willReadFrequently: true });
  pen.drawImage(canvas, 0, 0);
  const data = pen.getImageData(0, 0, canvas.width, canvas.height).data;
  const seen = new Map();
  let sum = 0;
  for (let at = 0; at < data.length; at += 4) {
    const color = (data[at] << 16) + (data[at + 1] << 8) + data[at + 2];
    seen.set(color, (seen.get(color) || 0) + 1);
    sum = (sum * 31 + color + data[at + 3]) % 4294967291;
  }
  return { colors: [...seen].filter((one) => one[1] > 200).length, sum };
}"""
EXTENT = "() => ['left', 'per'].map((name) => Number(document.getElementById('box').dataset[name]))"
FRAME = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"


def drawn(page: Page) -> dict[str, int]:
    """Return how many colours the chart has, and a sum over its pixels."""
    page.evaluate(FRAME)
    found: dict[str, int] = page.evaluate(PIXELS)
    return found


def extent(page: Page) -> tuple[float, float]:
    """Return the first sample that the chart shows, and samples in a pixel."""
    page.evaluate(FRAME)
    left, per = page.evaluate(EXTENT)
    return left, per


def point(page: Page, x: float, y: float) -> None:
    """Move the pointer to a place of the chart, in from beside it."""
    page.evaluate("document.getElementById('box').scrollIntoView({block: 'center'})")
    page.evaluate(FRAME)
    frame = page.locator("#lanes").bounding_box()
    assert frame is not None
    page.mouse.move(frame["x"] + x - 3, frame["y"] + y)
    page.mouse.move(frame["x"] + x, frame["y"] + y)


def read_out(page: Page) -> tuple[str, int, str]:
    """Return what stands under the chart: the label, the timeline sample, and all of it."""
    text = page.locator("#readout").inner_text()
    found = re.match(r"(\S+), timeline sample (\d+)", text)
    assert found is not None, text
    return found[1], int(found[2]), text


def test_the_chart_draws_and_changes_with_zoom(browser: Browser, page: Path) -> None:
    """Not blank: at least the tones of three passes, lanes, words; keys, buttons and back again, pixel for pixel."""
    with opened(browser, page) as found:
        whole = drawn(found.page)
        assert whole["colors"] >= 6
        found.page.locator("#box").focus()
        focused = drawn(found.page)
        found.page.keyboard.press("+")
        closer = drawn(found.page)
        assert closer["sum"] != focused["sum"]
        found.page.keyboard.press("-")
        assert drawn(found.page)["sum"] == focused["sum"]
        found.page.get_by_role("button", name="Closer").click()
        found.page.get_by_role("button", name="Whole session").click()
        left, per = extent(found.page)
        assert left == 0
        found.page.get_by_role("button", name="Closer").click()
        assert extent(found.page)[1] == pytest.approx(per / 2)


def test_the_wheel_zooms_about_the_pointer_down_to_single_samples(browser: Browser, page: Path) -> None:
    """What is under the pointer stays there, to the sample; samples are told apart at the end of it."""
    with opened(browser, page) as found:
        point(found.page, 600, 60)
        left, per = extent(found.page)
        before = read_out(found.page)[1]
        for _ in range(60):
            found.page.mouse.wheel(0, -240)
        after_left, after_per = extent(found.page)
        assert per > 100
        assert after_per < 1 / 20
        assert after_left > left
        point(found.page, 600, 60)
        assert abs(read_out(found.page)[1] - before) <= per
        samples = []
        for step in range(4):
            point(found.page, 600 + step / after_per, 60)
            samples.append(read_out(found.page)[1])
        assert [one - samples[0] for one in samples] == [0, 1, 2, 3]
        # Out again to the whole, and no further: then the wheel belongs to the page.
        for _ in range(60):
            found.page.mouse.wheel(0, 240)
        assert extent(found.page)[1] == pytest.approx(per)


def test_dragging_moves_the_chart(browser: Browser, page: Path) -> None:
    """By as many samples as the pointer has gone."""
    with opened(browser, page) as found:
        found.page.get_by_role("button", name="Closer").click()
        found.page.get_by_role("button", name="Closer").click()
        point(found.page, 700, 60)
        left, per = extent(found.page)
        found.page.mouse.down()
        frame = found.page.locator("#lanes").bounding_box()
        assert frame is not None
        found.page.mouse.move(frame["x"] + 600, frame["y"] + 60, steps=4)
        found.page.mouse.up()
        assert extent(found.page)[0] == pytest.approx(left + 100 * per)


def expected_words(record: RecordedSet, position: int, number: int) -> set[str]:
    """Return what each pass of a track has at a position of the set, made from the record alone."""
    track = record.tracks[number]
    told = set()
    for one in record.passes:
        if one.reel not in track.reels:
            continue
        held = [
            s.pass_start + position + record.start.sample - s.timeline_start
            for s in one.stretches
            if s.timeline_start
            <= position + record.start.sample
            < s.timeline_start + s.pass_end - s.pass_start
        ]
        taken = any(span.start <= position < span.end and span.pass_name == one.name for span in track.spans)
        words = f"sample {held[0]}" if held else "not here"
        told.add(f"{one.name}{' (taken)' if taken else ''}: {words}")
    return told


def test_the_readout_is_the_records(browser: Browser, page: Path, record: RecordedSet) -> None:
    """Label, timeline sample, and the sample of each pass, at places all along and at several zooms."""
    places = set()
    with opened(browser, page) as found:
        for _ in range(3):
            for x in range(150, 1080, 133):
                point(found.page, x, 50)
                label, sample, text = read_out(found.page)
                rate = frame_rate(record.session.frame_rate)
                assert label == format_place(sample, rate, record.session.sample_rate)
                position = sample - record.start.sample
                told = {
                    re.sub(r"(sample \d+), .*", r"\1", line) for line in text.splitlines()[1:] if line.strip()
                }
                assert told == expected_words(record, position, 0), text
                places.add(position)
            found.page.mouse.wheel(0, -600)
    assert len(places) > 15
    assert max(places) > record.length * 3 / 4


def made_up(record: RecordedSet, rate: str, first: int) -> RecordedSet:
    """Return a record that counts otherwise, and begins elsewhere."""
    plain: Any = json.loads(record.model_dump_json(by_alias=True))
    plain["session"]["frame_rate"] = rate
    shift = first - plain["start"]["sample"]
    plain["start"] = {"timecode": format_place(first, frame_rate(rate), 48000), "sample": first}
    for one in plain["passes"]:
        for stretch in one["stretches"]:
            stretch["timeline_start"] += shift
    return read_record(json.dumps(plain).encode())


DAY = 86400 * 48000


@pytest.mark.parametrize(
    ("name", "first"),
    [
        ("24", DAY - 60_000),
        ("25", DAY - 60_000),
        ("29.97", DAY - 60_000),
        ("29.97df", DAY - 60_000),
        ("29.97df", 48000 * 58),
    ],
)
def test_timecode_is_counted_as_the_program_counts(
    browser: Browser, record: RecordedSet, tmp_path: Path, name: str, first: int
) -> None:
    """At every rate, past midnight, and over the end of a minute, where drop frame leaves labels out."""
    path = tmp_path / "page.html"
    path.write_bytes(report_page(made_up(record, name, first)))
    with opened(browser, path) as found:
        for x in range(150, 1080, 155):
            point(found.page, x, 50)
            label, sample, _ = read_out(found.page)
            assert label == format_place(sample, frame_rate(name), 48000)


def test_keys_move_the_line_and_open_the_place_on_it(
    browser: Browser, page: Path, record: RecordedSet
) -> None:
    """Home, End, arrows, tracks; what is said is also spoken; Enter opens the list's row of that place."""
    with opened(browser, page) as found:
        found.page.locator("#box").focus()
        found.page.keyboard.press("End")
        assert read_out(found.page)[1] == record.start.sample + record.length - 1
        found.page.keyboard.press("Home")
        assert read_out(found.page)[1] == record.start.sample
        found.page.keyboard.press("ArrowDown")
        assert " 2 Two" in f" {read_out(found.page)[2]}"
        expect(found.page.locator("#spoken")).to_contain_text("2 Two")
        place = record.uncured[0]
        found.page.locator("#place-0 .opener").click()
        found.page.get_by_role("button", name="Show in the chart").click()
        assert read_out(found.page)[1] == record.start.sample + place.start
        assert f"{record.tracks[1].number} {place.track}" in read_out(found.page)[2]
        found.page.keyboard.press("Escape")
        assert found.page.locator("tr.view").count() == 0
        found.page.locator("#box").focus()
        found.page.keyboard.press("Enter")
        assert found.page.locator("#place-0 + tr.view").count() == 1
