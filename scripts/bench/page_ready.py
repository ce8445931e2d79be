"""How soon the page of a large session is ready in a browser, against a page of as many bytes that holds only text.

Both are opened in one run, one after the other; Debian's Chromium has to be there. A page is ready when its script
has run and the browser has drawn once.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from assembler.report import report_page
from tests.support.browser import running_browser
from tests.support.large_records import large_record, large_views

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DRAWN = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()))))"


def opened_in(browser: Browser, path: Path) -> float:
    """Return milliseconds from the beginning of the navigation until the page has been drawn."""
    tab = browser.new_page(viewport={"width": 1280, "height": 900})
    tab.goto(path.as_uri())
    took = float(tab.evaluate(DRAWN))
    tab.close()
    return took


def main() -> None:
    """Make both pages, open them in turn, print the medians."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    record = large_record()
    begun = time.process_time()
    page = report_page(record, large_views(record, 13_000_000, 700_000))
    made = time.process_time() - begun
    with tempfile.TemporaryDirectory() as folder, running_browser() as browser:
        paths = {"page": Path(folder) / "page.html", "text": Path(folder) / "text.html"}
        paths["page"].write_bytes(page)
        head, tail = b'<!DOCTYPE html><script type="text/plain">', b"</script>"
        paths["text"].write_bytes(head + b"x" * (len(page) - len(head) - len(tail)) + tail)
        took = {name: [opened_in(browser, path) for path in [path] * runs] for name, path in paths.items()}
    ready, text = (median(took[name]) for name in ("page", "text"))
    print(f"{len(page) / 1e6:.1f} MB, made in {made:.1f} s of processor time with its views")
    print(f"ready after {ready:.0f} ms, text alone {text:.0f} ms: {ready / text:.1f} times")


if __name__ == "__main__":
    main()
