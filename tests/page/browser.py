"""The page in a real browser: a server of its own on a free port, and Chromium, both for one module of tests."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

FLAGS = (
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)
"""A browser without a network that asks nobody anything by itself, and draws without a graphics card."""


def chromium() -> str:
    """The Chromium to drive; without one the tests say what to install."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    assert found, "page tests drive Chromium: install it (Debian: apt-get install chromium), or set CHROMIUM to it"
    return found


@contextmanager
def serving(*options: str, folder: Path | None = None) -> Iterator[str]:
    """Run `bendorder serve` and give its address."""
    command = [sys.executable, "-m", "planner", "serve", "--port", "0", "--no-browser", *options]
    if folder is not None:
        command += ["--folder", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        url = server.stdout.readline().strip()
        try:
            assert url.startswith("http://"), f"the server did not start: {url!r}"
            yield url
        finally:
            server.terminate()
            server.wait(timeout=120)


@contextmanager
def browsing() -> Iterator[Browser]:
    """Run Chromium."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), headless=True, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def opened(browser: Browser, url: str, width: int = 1280, height: int = 800, *, dark: bool = False) -> Page:
    """Open the page as a browser that was never here."""
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme="dark" if dark else "light")
    page = context.new_page()
    page.goto(url)
    page.locator("nav button").first.wait_for()
    return page


def go(page: Page, screen: str) -> None:
    """Go to a screen by its button."""
    page.locator(f"button[data-screen={screen}]").click()
    page.locator(f"button[data-screen={screen}][aria-pressed=true]").wait_for()
