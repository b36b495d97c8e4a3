"""Step through a plan: one motion a screen, with the numbers to set, what moves, and what to beware of."""

from __future__ import annotations

from typing import Final

from nicegui import ui
from nicegui.events import KeyEventArguments

from planner.page.floor_plan import floor_plan
from planner.page.plan_shots import plan_film
from planner.page.screens.looking import looks
from planner.page.screens.shell import Shell
from planner.page.session import News
from planner.page.step_words import place, told
from planner.page.view import MachineView
from planner.page.widgets import box, button, heading, numeral, slider, words
from planner.plans.document import Plan

FORWARD: Final = frozenset({"ArrowRight", "ArrowDown", "PageDown"})
BACK: Final = frozenset({"ArrowLeft", "ArrowUp", "PageUp"})
PEDAL: Final = frozenset({" ", "Enter"})
"""Keys that a foot switch sends; on a button they press that instead."""


class StepsScreen:
    """The screen of the steps."""

    def __init__(self, shell: Shell) -> None:
        self.shell, self.session = shell, shell.session
        self.drawn_of = shell.session.made

    def build(self) -> None:
        """Build the screen, at the step where it was left."""
        made = self.session.made
        if made is None or not made.steps:
            with box("screen"), box("card stack"):
                heading("There are no steps to show yet", "h1")
                words("A plan that can be made has steps. Pick a part, or see why there is no plan.")
                button("Part and machine", lambda: self.shell.go("part"), "main")
                button("Can it be made?", lambda: self.shell.go("verdict"))
            return
        self.session.at = min(self.session.at, len(made.steps) - 1)
        with box("screen split"):
            with box("stack"):
                with box("view tall"):
                    self.film = plan_film(made)
                    self.view = MachineView(self.film.as_dict())
                with box("row"):
                    button("Again", self._play)
                    looks(self.view)
            with box("stack"):
                self.card = box("card stack", aria_live="polite")
                self.floor = box("card plan-view")
        with box("foot", "footer"), box("controls"):
            self.back = button("◀ Back", lambda: self._go(made, self.session.at - 1), "great")
            self.slider = slider(
                "Place in the job", len(made.steps) - 1, self.session.at, lambda at: self._go(made, at)
            )
            self.next = button("Next ▶", lambda: self._go(made, self.session.at + 1), "great main")
        ui.keyboard(lambda event: self._key(made, event, FORWARD, BACK), ignore=["input", "select", "textarea"])
        ui.keyboard(
            lambda event: self._key(made, event, PEDAL, frozenset()), ignore=["input", "select", "textarea", "button"]
        )
        self._show(made)
        self.view.seek(self.session.at, 1.0)
        self.view.look("part")

    def heard(self, news: News) -> None:
        """Draw all anew where there is another plan."""
        if news == "plan" and self.session.made is not self.drawn_of:
            self.shell.draw()

    def _key(self, made: Plan, event: KeyEventArguments, forward: frozenset[str], back: frozenset[str]) -> None:
        if not event.action.keydown:
            return
        key = str(event.key.name)
        if key in forward:
            self._go(made, self.session.at + 1)
        elif key in back:
            self._go(made, self.session.at - 1)

    def _go(self, made: Plan, at: int) -> None:
        """Go to a step and play its motion; there is none before the first and none after the last."""
        at = min(max(at, 0), len(made.steps) - 1)
        if at == self.session.at:
            return
        self.session.at = at
        self._show(made)
        self._play()

    def _play(self) -> None:
        """Play the step that is shown, if anything moves in it."""
        if len(self.film.shots[self.session.at].poses) == 1:
            self.view.seek(self.session.at, 1.0)
        else:
            self.view.play(self.session.at)

    def _show(self, made: Plan) -> None:
        """Tell the step that is shown."""
        session, step = self.session, made.steps[self.session.at]
        says = told(step, made, session.unit)
        self.card.clear()
        with self.card:
            words(place(step.number, made), "faint")
            words(says.do, "step-do", tag="h1")
            if says.where:
                words(says.where)
            if says.great is not None:
                words(says.great.of, "numeral-of")
                numeral(says.great.much, says.great.unit)
            for other in says.others:
                words(f"{other.of} {other.much} {other.unit}".rstrip())
            if says.note:
                words(says.note)
            if says.clearance:
                with box("tile"):
                    words("comes no nearer than" if step.clearance is not None else "clearance", "of", tag="div")
                    words(says.clearance, "much", tag="div")
            if says.caution:
                words(says.caution, "caution", tag="div")
        self.floor.clear()
        with self.floor:
            ui.html(floor_plan(made, step, session.unit), sanitize=False)
            for area in made.keep_clear:
                words(self.shell.said(area.fact), "small")
            for line in made.setup.fact:
                words(self.shell.said(line), "small")
        self.slider.props["value"] = session.at
        for control, off in ((self.back, session.at == 0), (self.next, session.at == len(made.steps) - 1)):
            control.props.set_bool("disabled", off)
