"""The pages in the browser: one frame, five screens."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from nicegui import app, ui

from planner.page.examples import ExamplePart
from planner.page.jobs import Workers
from planner.page.screens.loading import first_desk
from planner.page.screens.order import OrderScreen
from planner.page.screens.pair import PairScreen
from planner.page.screens.part import PartScreen
from planner.page.screens.shell import OnScreen, Shell
from planner.page.screens.steps import StepsScreen
from planner.page.screens.verdict import VerdictScreen
from planner.page.session import Screen, Sessions
from planner.page.session_jobs import ShopFolders
from planner.page.settings import Settings

STYLE = Path(__file__).resolve().parents[1] / "page.css"
FIRST = "lockside-rail"
"""The example on a new session: one that does not go in any plain order."""


def build_pages(workers: Workers, examples: tuple[ExamplePart, ...], settings: Settings) -> None:
    """Define the page; each browser that opens it has a session of its own for as long as the server runs.

    A page is empty until its browser's socket is there: who only fetches it, and who comes once a second to see whether
    the server is well, has nothing drawn and nothing planned.
    """
    shop = ShopFolders(workers, examples, settings.profiles, settings.folder or Path.cwd())
    first = next((one for one in examples if one.name == FIRST), examples[0])
    sessions = Sessions(lambda: first_desk(settings.profiles, first.path))

    @ui.page("/", title="bendorder")
    def page() -> None:
        ui.add_css(STYLE)
        browser, client = str(app.storage.browser["id"]), ui.context.client
        opened: list[Shell] = []

        def open_once() -> None:
            if opened:
                return  # the socket was away for a moment
            with client:
                session, new = sessions.of(browser)
                opened.append(Shell(session, shop))
                opened[0].draw()
            part = session.form.read().part if new else None
            if part is not None:
                opened[0].start(opened[0].session_jobs.plan(part.normalised(), session.machine))

        client.on_connect(open_once)


def screen_of(shell: Shell) -> OnScreen:
    """Return the screen that a session is at."""
    kinds: dict[Screen, Callable[[Shell], OnScreen]] = {
        "part": PartScreen,
        "verdict": VerdictScreen,
        "steps": StepsScreen,
        "order": OrderScreen,
        "pair": PairScreen,
    }
    return kinds[shell.session.screen](shell)
