"""The frame about every screen: what lies in the session, the way to the other screens, unit and light."""

from __future__ import annotations

from collections.abc import Coroutine
from functools import partial
from typing import Any, Final, Protocol

from nicegui import background_tasks, ui
from nicegui.client import Client

from planner.errors import InputError
from planner.facts import Fact
from planner.page.session import News, Screen, Session
from planner.page.session_jobs import SessionJobs, ShopFolders
from planner.page.widgets import box, button, toggled, words
from planner.wording.say import say
from planner.words import plain

SCREENS: Final[dict[Screen, str]] = {
    "part": "Part and machine",
    "verdict": "Can it be made?",
    "steps": "Step by step",
    "order": "Your own order",
    "pair": "Side by side",
}
"""The screens and what their buttons say."""

SIGNS: Final = {"makeable": "✓", "not makeable": "✕", "undecided": "?"}
LOOKS: Final = {"makeable": "good", "not makeable": "bad", "undecided": "open"}
SAID: Final = {"makeable": "MAKEABLE", "not makeable": "NOT MAKEABLE", "undecided": "UNDECIDED"}


class OnScreen(Protocol):
    """One screen."""

    def build(self) -> None:
        """Build it into the element that is open."""

    def heard(self, news: News) -> None:
        """Take in what has changed in the session."""


class Shell:
    """One open page of a session."""

    def __init__(self, session: Session, shop: ShopFolders) -> None:
        self.session, self.shop = session, shop
        self.session_jobs = SessionJobs(session, shop)
        self.client: Client = ui.context.client
        self.darkness = ui.dark_mode(session.dark)
        with box("page"):
            self.top = box("top", "header")
            self.progress = box("working", aria_live="polite")
            self.body = box("content")
        self.on_screen: OnScreen | None = None
        session.listeners.append(self._hear)
        self.client.on_delete(lambda: session.listeners.remove(self._hear))

    def draw(self) -> None:
        """Draw the whole page anew."""
        from planner.page.screens import screen_of

        self._draw_top()
        self._draw_progress()
        self.body.clear()
        self.on_screen = screen_of(self)
        with self.body:
            if self.session.stale and self.session.screen != "part":
                self._warn_of_old_plan()
            self.on_screen.build()

    def _warn_of_old_plan(self) -> None:
        """Say that what is shown is of the part and machine before they were changed."""
        with box("screen"), box("card open row"):
            words("? Part or machine have been changed since: what is shown here is of the old ones.", tag="strong")
            button("Part and machine", partial(self.go, "part"))

    def go(self, screen: Screen) -> None:
        """Go to a screen; nothing if it is there already."""
        if screen != self.session.screen:
            self.session.screen = screen
            self.draw()

    def start(self, work: Coroutine[Any, Any, None]) -> None:
        """Start something that takes a while; the page goes on meanwhile."""
        background_tasks.create(work)

    def said(self, one: Fact) -> str:
        """Return a fact in words, its lengths in the unit that is shown."""
        return plain(say(one, self.session.unit))

    def refusal(self, error: Exception) -> str:
        """Return why something was not done, its lengths in the unit that is shown."""
        return plain(error.message_in(self.session.unit) if isinstance(error, InputError) else str(error))

    def tell(self, sentence: str) -> None:
        """Show a short message for some seconds."""
        ui.notify(sentence, position="top", multi_line=True, timeout=6000)

    # ----------------------------------------------------------------------------------

    def _hear(self, news: News) -> None:
        with self.client:
            if news == "progress":
                self._draw_progress()
                return
            self.tell_top()
            if self.on_screen is not None:
                with self.body:
                    self.on_screen.heard(news)

    def _draw_top(self) -> None:
        session = self.session
        self.top.clear()
        with self.top:
            words("bendorder", "name", tag="span")
            self.what = words("", "what", tag="span")
            self.verdict = words("", tag="strong")
            with box("ways", "nav", aria_label="Screens"):
                for screen, said in SCREENS.items():
                    way = toggled(said, session.screen == screen, partial(self.go, screen))
                    way.props["data-screen"] = screen
            other = "in" if session.unit == "mm" else "mm"
            button("inch" if other == "in" else "mm", self._other_unit, name=f"Show lengths in {other}")
            button("☀" if self._is_dark() else "☾", self._other_light, name="Light or dark")
        self.tell_top()

    def tell_top(self) -> None:
        """Say what lies in the session and what its verdict is; no button moves or is made anew under a finger."""
        session = self.session
        part = plain(session.form.name) or "part without a name"
        self.what.text = f"{part} on {plain(session.machine['name'])}"
        verdict = None if session.made is None else session.made.verdict
        if session.stale:
            self.verdict.text = "○ changed, not planned yet"
            self.verdict.classes(replace="says-open")
        else:
            self.verdict.text = "" if verdict is None else f"{SIGNS[verdict]} {SAID[verdict]}"
            self.verdict.classes(replace="" if verdict is None else f"says-{LOOKS[verdict]}")

    def _draw_progress(self) -> None:
        self.progress.clear()
        with self.progress:
            for work in self.session.work:
                with box("progress row"):
                    words(f"{work.doing[:1].upper()}{work.doing[1:]} …", tag="span")
                    words(plain(work.told), "faint small", tag="span")
                    button("Stop", work.cancel)

    def _is_dark(self) -> bool:
        return self.session.dark is True

    def _other_unit(self) -> None:
        self.session.unit = "in" if self.session.unit == "mm" else "mm"
        self.draw()

    def _other_light(self) -> None:
        self.session.dark = not self._is_dark()
        self.darkness.set_value(self.session.dark)
        self._draw_top()
