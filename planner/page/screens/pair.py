"""Side by side: the plan beside another one of the same part, on another machine or as another plan, played in step."""

from __future__ import annotations

from typing import Final

from nicegui.element import Element

from planner.errors import BendorderError
from planner.inputs.profiles import list_profiles
from planner.outputs.plan_page import order
from planner.page.plan_shots import plan_film
from planner.page.screens.loading import profile_named
from planner.page.screens.shell import SAID, SIGNS, Shell
from planner.page.session import News
from planner.page.view import MachineView
from planner.page.widgets import box, button, choice, heading, slider, words
from planner.plans.document import Plan
from planner.wording.figures import LengthUnit, at_least_shown, shown
from planner.words import duration

LESS_TRIM: Final = "on this machine, less trim before fewer re-clamps"
FEWER_RECLAMPS: Final = "on this machine, fewer re-clamps before less trim"


class PairScreen:
    """The screen of two plans."""

    def __init__(self, shell: Shell) -> None:
        self.shell, self.session = shell, shell.session
        self.views: list[MachineView] = []
        self.at = 0
        self.drawn_of = shell.session.made

    def build(self) -> None:
        """Build the two halves, and what moves both."""
        session = self.session
        if session.made is None:
            with box("screen"), box("card stack"):
                heading("Nothing to compare yet", "h1")
                words("Pick a part and have it planned first.")
                button("Part and machine", lambda: self.shell.go("part"), "main")
            return
        with box("screen halves"):
            with box("wide card row ends"):
                choice("Beside the plan", self._options(), session.beside.name, self._choose)
                words("The same part, planned again.", "faint")
            self._half("The plan", session.made, None)
            self._half(session.beside.name or "nothing chosen yet", session.beside.made, session.beside.refused)
            if session.beside.made is not None:
                self._compared(session.made, session.beside.made)
        if self.views:
            with box("foot", "footer"):
                with box("controls"):
                    button("◀ Back", lambda: self._go(self.at - 1), "great")
                    self.slider = slider("Bends made", self._most(), self.at, self._go)
                    button("Next bend ▶", lambda: self._go(self.at + 1), "great main")
                with box("row"):
                    button("Play both", self._play)
                    self.said = words("")
            self._go(0)

    def heard(self, news: News) -> None:
        """Draw all anew when either plan is there."""
        if news == "pair" or (news == "plan" and self.session.made is not self.drawn_of):
            self.shell.draw()

    def _options(self) -> dict[str, str]:
        other = LESS_TRIM if self.session.prefer == "fewer re-clamps" else FEWER_RECLAMPS
        names = [profile.name for profile in list_profiles(self.shell.shop.profiles)]
        return {"": "pick one …", other: other} | {f"on {name}": f"on {name}" for name in names}

    def _choose(self, name: str) -> None:
        if not name:
            return
        session = self.session
        machine, prefer = session.planned_machine or session.machine, session.prefer
        if name in (LESS_TRIM, FEWER_RECLAMPS):
            prefer = "less trim" if name == LESS_TRIM else "fewer re-clamps"
        else:
            try:
                machine = profile_named(name.removeprefix("on "), self.shell.shop.profiles)
            except BendorderError as error:
                self.shell.tell(str(error))
                return
        self.shell.start(self.shell.session_jobs.plan_beside(name, machine, prefer))

    def _half(self, name: str, made: Plan | None, refused: Exception | None) -> Element:
        with box("stack") as half:
            heading(name)
            if refused is not None:
                words(self.shell.refusal(refused), "card bad", tag="div")
            if made is None:
                return half
            words(f"{SIGNS[made.verdict]} {SAID[made.verdict]}: {made.machine['name']}")
            if made.steps:
                words(f"{order(made)}.")
                with box("view low"):
                    view = MachineView(plan_film(made).as_dict())
                self.views.append(view)
            for reason in () if made.verdict == "makeable" else made.reasons:
                words(self.shell.said(reason.fact))
        return half

    def _compared(self, one: Plan, other: Plan) -> None:
        unit = self.session.unit
        with box("wide card"), box("told", "table"):
            rows = [("", "the plan", self.session.beside.name), *_rows(one, other, unit)]
            for number, row in enumerate(rows):
                with box("", "tr"):
                    for said in row:
                        words(said, tag="th" if number == 0 else "td")

    # ---------------------------------------------------------------------------------- both at once

    def _plans(self) -> list[Plan]:
        return [made for made in (self.session.made, self.session.beside.made) if made is not None and made.steps]

    def _most(self) -> int:
        return max(len(made.order) for made in self._plans())

    def _go(self, at: int) -> None:
        """Show both with so many bends made."""
        self.at = min(max(at, 0), self._most())
        for view, made in zip(self.views, self._plans(), strict=True):
            view.seek(_shot_after(made, self.at), 1.0)
        self.slider.props["value"] = self.at
        self.said.text = f"{self.at} of {self._most()} bends made."

    def _play(self) -> None:
        """Play both from where they stand, by one clock."""
        for view, made in zip(self.views, self._plans(), strict=True):
            view.play_all(_shot_after(made, self.at))


def _shot_after(made: Plan, bends: int) -> int:
    """Return the shot in which so many bends are made; of none the first one."""
    opened = [number for number, step in enumerate(made.steps) if step.action == "open dies"]
    return 0 if bends == 0 else opened[min(bends, len(opened)) - 1]


def _rows(one: Plan, other: Plan, unit: LengthUnit) -> list[tuple[str, str, str]]:
    """Return what two plans come to, line by line."""

    def figures(made: Plan) -> tuple[str, ...]:
        said = f"{SIGNS[made.verdict]} {made.verdict}"
        if made.stock is None:
            return (said, "–", "–", "–", "–", "–")
        least = made.smallest_clearance
        return (
            said,
            str(made.reclamps),
            shown(made.stock.trim_a + made.stock.trim_b, unit),
            shown(made.stock.cut_length, unit),
            "–" if least is None else at_least_shown(least, unit),
            duration(made.time or 0.0),
        )

    of = ("verdict", "re-clamps", "trim", "cut the tube to", "smallest clearance", "at the machine")
    return list(zip(of, figures(one), figures(other), strict=True))
