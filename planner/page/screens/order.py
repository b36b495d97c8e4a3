"""Try an order of your own: drag the bends, choose the leading end, see how far it goes, and why no farther.

What is too close to call is never shown as fine, and what comes after the first step that fails is not judged.
"""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from nicegui import ui
from nicegui.element import Element
from nicegui.events import SortableEventArguments

from planner.advice.notation import written
from planner.facts import Fact
from planner.page.exercises import EXERCISES, Exercise
from planner.page.plan_shots import plan_film
from planner.page.screens.loading import load_example
from planner.page.screens.looking import looks
from planner.page.screens.shell import Shell
from planner.page.session import News, TriedOrder, plain_order
from planner.page.view import MachineView
from planner.page.widgets import box, button, choice, heading, listed, toggled, words
from planner.plans.document import End, OrderedBend

ENDS: Final[tuple[End, End]] = ("A", "B")

STANDINGS: Final = {
    "goes": ("✓", "goes", "good"),
    "fails": ("✕", "fails", "bad"),
    "not settled": ("?", "not settled", "open"),
    "not reached": ("·", "not reached", ""),
}
"""How a step of an order stands: sign, word and look."""


class OrderScreen:
    """The screen of the own order."""

    def __init__(self, shell: Shell) -> None:
        self.shell, self.session = shell, shell.session
        self.drawn_of = self._answered()

    def build(self) -> None:
        """Build the screen with the order as it was left."""
        if not self.session.order:
            with box("screen"), box("card stack"):
                heading("Nothing to order yet", "h1")
                words(
                    "The part has to be planned first."
                    if self.session.work
                    else "Pick a part and have it planned first."
                )
                button("Part and machine", lambda: self.shell.go("part"), "main")
                self._exercises()
            return
        with box("screen split"):
            with box("stack"):
                with box("view low"):
                    self.view = MachineView(self._film())
                with box("row"):
                    button("Play the order", self._play)
                    looks(self.view)
                self.answer = box("stack", "div", aria_live="polite")
            with box("stack"):
                if self.session.exercise is not None:
                    self._exercise(self.session.exercise, EXERCISES[self.session.exercise])
                with box("card stack"):
                    heading("Drag the bends into an order", "h1")
                    words("The end that leads goes through the die first. Every step is judged at once.", "faint")
                    self.cards = box("order")
                    with box("row"):
                        button("As drawn, from end A", lambda: self._take("A"))
                        button("As drawn, from end B", lambda: self._take("B"))
                        button("The plan's order", self._take_best, off=self._best() is None)
                self._exercises()
        self._draw_cards()
        self._draw_answer()
        if self.session.tried is not None:
            self._to_the_end(self.session.tried)
        elif not self._to_be_guessed():
            self._try()

    def _to_be_guessed(self) -> bool:
        """Say whether the trainee still has to say what will happen, before anything is shown."""
        return self.session.exercise is not None and self.session.guess is None

    def heard(self, news: News) -> None:
        """Show how the order was judged."""
        if news == "plan" and self._answered() is not self.drawn_of:
            self.shell.draw()
        elif news == "why" and self.session.order:
            self._draw_answer()
        elif news == "tried" and self.session.order:
            if self.session.exercise is not None:
                self.shell.draw()
                return
            self._draw_cards()
            self._draw_answer()
            if self.session.tried is not None and self.session.tried.film is not None:
                self.view.show(self.session.tried.film)
                self._to_the_end(self.session.tried)

    def _answered(self) -> Any:
        """Return what planning came to: a plan, an error, or None while there is neither."""
        return self.session.made or self.session.refused

    # ---------------------------------------------------------------------------------- the order

    def _best(self) -> list[OrderedBend] | None:
        made = self.session.made
        return list(made.order) if made is not None and made.order else None

    def _film(self) -> dict[str, Any] | None:
        if self.session.tried is not None and self.session.tried.film is not None:
            return self.session.tried.film
        return None if self.session.made is None else plan_film(self.session.made).as_dict()

    def _try(self) -> None:
        self.shell.start(self.shell.session_jobs.try_order())

    def _set(self, order: list[OrderedBend]) -> None:
        """Take another order and have it judged."""
        self.session.order, self.session.tried, self.session.exercise = order, None, None
        self._draw_cards()
        self._draw_answer()
        self._try()

    def _take(self, leads: End) -> None:
        self._set(plain_order(len(self.session.order), leads))

    def _take_best(self) -> None:
        best = self._best()
        if best is not None:
            self._set(best)

    def _moved(self, event: SortableEventArguments) -> None:
        order = list(self.session.order)
        order.insert(event.new_index, order.pop(event.old_index))
        self._set(order)

    def _shift(self, place: int, by: int) -> None:
        order = list(self.session.order)
        order.insert(place + by, order.pop(place))
        self._set(order)

    def _lead(self, place: int, leads: End) -> None:
        order = list(self.session.order)
        order[place] = OrderedBend(bend=order[place].bend, leads=leads)
        self._set(order)

    def _draw_cards(self) -> None:
        self.cards.clear()
        with self.cards:
            cards = ui.column().classes("order")
            with cards:
                for place, made in enumerate(self.session.order):
                    self._card(place, made)
            cards.make_sortable(on_end=self._moved, handle=".grab", ghost_class="picked-up")

    def _card(self, place: int, made: OrderedBend) -> Element:
        sign, said, look = self._standing(place)
        last = len(self.session.order) - 1
        with box(f"bend-card {look}", "div", data_bend=made.bend) as card:
            words("⠿", "grab", tag="span").props["title"] = "Drag"
            words(f"{place + 1}.", "place", tag="span")
            words(f"bend {made.bend}", "which", tag="span")
            words(f"{sign} {said}".strip(), f"says-{look}" if look else "faint", tag="span")
            with box("row"):
                for leads in ENDS:
                    face = toggled(leads, made.leads == leads, partial(self._lead, place, leads), "small-do")
                    face.props["aria-label"] = f"End {leads} leads at bend {made.bend}"
                up, down = f"Bend {made.bend} earlier", f"Bend {made.bend} later"
                button("↑", lambda: self._shift(place, -1), "small-do", name=up, off=place == 0)
                button("↓", lambda: self._shift(place, 1), "small-do", name=down, off=place == last)
        return card

    def _standing(self, place: int) -> tuple[str, str, str]:
        if self.session.tried is None:
            return ("" if self._to_be_guessed() else "…", "", "")
        return STANDINGS[self.session.tried.answer["steps"][place]["standing"]]

    # ---------------------------------------------------------------------------------- the answer

    def _draw_answer(self) -> None:
        self.answer.clear()
        tried = self.session.tried
        with self.answer:
            if self.session.tried_refused is not None:
                words(self.shell.refusal(self.session.tried_refused), "card bad", tag="div")
            if tried is None:
                return
            judged = tried.answer["judged"]
            sign, look = {"goes": ("✓", "good"), "fails": ("✕", "bad"), "undecided": ("?", "open")}[judged["verdict"]]
            with box(f"card verdict {look}"):
                words(sign, "sign", tag="span")
                with box("stack"):
                    words(self.shell.said(Fact.of(judged["fact"])), tag="h1")
                    others = [Fact.of(reason["fact"]) for reason in judged["reasons"]][1:]
                    if others:
                        words("Together with:", "faint")
                        listed(map(self.shell.said, others))
                    for sentence in self._contact(tried):
                        words(sentence)
            self._against_best(judged)

    def _contact(self, tried: TriedOrder) -> list[str]:
        """Say what the view shows at the end."""
        contact = tried.answer["contact"]
        if contact is None or contact["doing"] is None:
            return []
        how = "at the contact" if contact["touches"] else "where it comes nearest"
        met = Fact.of(contact["fact"])
        when = "" if contact["moment"] is None else f", {self.shell.said(met.part('moment'))}"
        return [f"The view stops {how}{when}: {self.shell.said(met)}"]

    def _against_best(self, judged: dict[str, Any]) -> None:
        best = self._best()
        if best is None:
            return
        with box("card stack"):
            heading("The drawing's order beside the plan's")
            words(f"As drawn: {written(plain_order(len(best), 'A'))}. The plan: {written(best)}.")
            if judged["verdict"] != "goes" and self.session.why is not None and self.session.why.start is not None:
                words(self.shell.said(self.session.why.start.fact))

    def _play(self) -> None:
        self.view.play_all(0)

    def _to_the_end(self, tried: TriedOrder) -> None:
        """Play the last motion, and mark what it comes to."""
        shots = tried.film["shots"] if tried.film is not None else []
        self.view.marks([{**mark, "text": mark["solid"] or "here"} for mark in tried.marks])
        if shots:
            self.view.play(len(shots) - 1)
            self.view.look("part")

    # ---------------------------------------------------------------------------------- exercises

    def _exercises(self) -> None:
        with box("card", "details"):
            words("Exercises: say what will happen, then see", tag="summary")
            with box("stack"):
                for number, exercise in enumerate(EXERCISES):
                    if number != self.session.exercise:
                        words(f"{number + 1}. {exercise.question}")
                        button("Take it up", partial(self._take_up, number, exercise))

    def _exercise(self, number: int, exercise: Exercise) -> None:
        session, n = self.session, len(self.session.order)
        with box("stack card"):
            heading(f"Exercise {number + 1}", "h1")
            words(exercise.question)
            if self._answered() is None:
                # Once the plan is there all is drawn anew: what is picked meanwhile would be lost.
                words("The part is being planned.", "faint")
                return
            options = {"": "I say …", "0": "it goes to the end"}
            options |= {str(step): f"step {step} is the first that does not go" for step in range(1, n + 1)}
            guess = "" if session.guess is None else str(session.guess)
            choice("What will happen?", options, guess, self._guessed)
            if session.guess is None or session.tried is None:
                return
            failed = session.tried.answer["judged"]["fails"]
            truth = 0 if failed is None else failed["number"]
            right = truth == session.guess
            words("✓ That is so." if right else "✕ It is not so.", f"says-{'good' if right else 'bad'}", tag="strong")
            words(exercise.look_at)

    def _guessed(self, value: str) -> None:
        self.session.guess = int(value) if value else None
        if self.session.guess is not None:
            self._try()

    def _take_up(self, number: int, exercise: Exercise) -> None:
        """Put an exercise's part in the session, with its order to be judged once the trainee has said something."""
        part = load_example(self.shell, exercise.example)
        self.session.begin_anew()
        self.session.exercise, self.session.guess = number, None
        self.session.order = exercise.order_of(len(part["shape"]["lra"]) - 1)
        self.shell.draw()
        self.shell.start(self.shell.session_jobs.plan(part, self.session.machine))
