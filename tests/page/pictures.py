"""Take the pictures of the page: every main state, wide and upright, light and dark.

python -m tests.page.pictures FOLDER            all of them, to look at
python -m tests.page.pictures --readme docs     those of the README
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.page.browser import browsing, go, opened, serving

SIZES = {"wide": (1280, 800), "upright": (800, 1280)}
README = ("steps", "own-order", "verdict")


def planned(page: Page) -> None:
    """Wait until the plan is there."""
    page.locator("header strong").wait_for(timeout=60_000)


def quiet(page: Page) -> None:
    """Wait until nothing is being reckoned and nothing moves."""
    page.locator(".progress").first.wait_for(state="detached", timeout=90_000)
    page.wait_for_timeout(400)
    page.wait_for_function("() => !document.querySelector('[data-playing=\"true\"]')", timeout=60_000)
    page.wait_for_timeout(300)


def example(page: Page, name: str) -> None:
    """Put an example in the session."""
    go(page, "part")
    page.get_by_label("Example (invented)").select_option(name)
    page.wait_for_timeout(500)
    planned(page)


def part(page: Page) -> None:
    quiet(page)


def slips(page: Page) -> None:
    page.get_by_label("Row 2, angle").fill("ninety")
    page.locator(".slip:visible").first.wait_for()


def verdict(page: Page) -> None:
    go(page, "verdict")
    page.get_by_text("The plain orders").wait_for(timeout=60_000)
    quiet(page)


def not_makeable(page: Page) -> None:
    example(page, "tiller-bracket")
    go(page, "verdict")
    page.get_by_text("Try it").first.wait_for(timeout=90_000)
    quiet(page)


def undecided(page: Page) -> None:
    example(page, "cargo-bike-rack")
    page.get_by_role("button", name="Edit its numbers").click()
    page.get_by_text("Clearance", exact=True).click()
    page.get_by_label("to tooling").fill("13.1")
    page.get_by_role("button", name="Take these numbers").click()
    page.get_by_role("button", name="Plan it").click()
    page.get_by_text("What to do").wait_for(timeout=60_000)
    quiet(page)


def steps(page: Page) -> None:
    """The second bend: the first one stands ahead of it."""
    go(page, "steps")
    bends = 0
    while bends < 2:
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(100)
        bends += page.locator("h1").inner_text() == "Bend"
    quiet(page)


def own_order(page: Page) -> None:
    go(page, "order")
    page.locator(".bend-card.good").nth(3).wait_for(timeout=30_000)
    for _ in range(3):
        page.get_by_role("button", name="Bend 1 earlier").click()
        page.wait_for_timeout(200)
    page.locator(".bend-card.bad").first.wait_for(timeout=30_000)
    quiet(page)


def exercise(page: Page) -> None:
    go(page, "order")
    page.get_by_text("Exercises: say what will happen").click()
    page.get_by_role("button", name="Take it up").nth(1).click()
    page.get_by_label("What will happen?").wait_for(timeout=60_000)
    quiet(page)


def pair(page: Page) -> None:
    go(page, "pair")
    page.get_by_label("Beside the plan").select_option("on three-axis")
    page.get_by_text("cut the tube to").first.wait_for(timeout=60_000)
    quiet(page)
    page.get_by_role("button", name="Next bend ▶").click()
    quiet(page)


STATES: dict[str, Callable[[Page], None]] = {
    "part": part,
    "slips": slips,
    "verdict": verdict,
    "not-makeable": not_makeable,
    "undecided": undecided,
    "steps": steps,
    "own-order": own_order,
    "exercise": exercise,
    "pair": pair,
}


def take(browser: Browser, url: str, name: str, size: str, dark: bool, folder: Path) -> None:
    """Bring a new browser into a state and take its picture."""
    page = opened(browser, url, *SIZES[size], dark=dark)
    planned(page)
    if dark:
        page.get_by_label("Light or dark").click()
    STATES[name](page)
    page.screenshot(path=folder / f"{name}-{size}-{'dark' if dark else 'light'}.png")
    page.context.close()


def main(arguments: list[str]) -> None:
    """Take the pictures."""
    readme = arguments[0] == "--readme"
    folder = Path(arguments[-1])
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [name for name in STATES if name in arguments] or list(README if readme else STATES)
    with serving() as url, browsing() as browser:
        for name in chosen:
            for size in ("wide",) if readme else tuple(SIZES):
                for dark in (False,) if readme else (False, True):
                    take(browser, url, name, size, dark, folder)
                    print(f"{name} {size} {'dark' if dark else 'light'}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
