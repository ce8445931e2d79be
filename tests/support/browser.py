"""Pages in a real browser: Debian's Chromium, driven by Playwright; nothing is fetched by either."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page, ViewportSize

_QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
WIDE: ViewportSize = {"width": 1280, "height": 900}
NARROW: ViewportSize = {"width": 390, "height": 844}


@contextmanager
def running_browser() -> Iterator[Browser]:
    """Give a browser with a profile of its own; skip where there is none, but in CI, where that is an error."""
    path = shutil.which("chromium")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("chromium is not installed: .ci/run installs it")
        pytest.skip("chromium is not installed")
    with sync_playwright() as playwright:
        # Playwright makes a new folder for the profile, and takes it away.
        browser = playwright.chromium.launch(executable_path=path, headless=True, args=list(_QUIET))
        yield browser
        browser.close()


@dataclass
class Opened:
    """An open page, with what it asked for and complained of."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@contextmanager
def opened(
    browser: Browser,
    path: Path,
    *,
    viewport: ViewportSize = WIDE,
    is_dark: bool = False,
    has_script: bool = True,
    before: str = "",
) -> Iterator[Opened]:
    """Open a page, and at the end see that it has asked for nothing outside and complained of nothing.

    Args:
        browser: a running one.
        path: of the page.
        viewport: size of the window.
        is_dark: whether the reader wishes a dark page.
        has_script: whether scripts run.
        before: a script that runs before those of the page.
    """
    context = browser.new_context(
        viewport=viewport,
        color_scheme="dark" if is_dark else "light",
        java_script_enabled=has_script,
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    found = Opened(page)
    page.on("request", lambda request: found.requests.append(request.url))
    page.on("console", lambda message: found.complaints.append(message.text))
    page.on("pageerror", lambda error: found.complaints.append(str(error)))
    if before:
        page.add_init_script(before)
    page.goto(path.as_uri())
    if has_script:
        page.wait_for_selector("html[data-ready=true]", state="attached")
    yield found
    context.close()
    assert found.complaints == [], found.complaints
    outside = [url for url in found.requests if url != path.as_uri() and not url.startswith("blob:")]
    assert [url for url in outside if not url.startswith(f"{path.as_uri()}#")] == []
