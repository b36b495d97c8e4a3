"""The verdict at a glance: can it be made, how well, how sure that is, why, and what would help."""

from __future__ import annotations

from functools import partial
from typing import Final

from nicegui import ui

from planner.advice.answers import Begun, Judged, Why
from planner.advice.diagram import svg_diagram
from planner.outputs.plan_page import checked_lines, more_stock, order, reclamps
from planner.page.screens.shell import LOOKS, SAID, SIGNS, Shell
from planner.page.session import News, Stage
from planner.page.widgets import box, button, heading, listed, tile, words
from planner.plans.document import Change, Plan, Reason
from planner.wording.figures import at_least_shown, shown
from planner.words import duration, plain

STAGES: Final[dict[Stage, tuple[str, str]]] = {
    "not asked": ("○", "not asked"),
    "under way": ("…", "under way"),
    "yes": ("✓", "yes"),
    "no": ("✕", "no: they disagree"),
    "not settled": ("?", "not settled in time"),
}

OPEN_BECAUSE: Final = {
    "time limit": "The time limit came before there was a plan or a proof that there is none.",
    "too close": "Every order that is left hangs on a clearance that is too close to call.",
    "no path found": "No way past what is struck was found, and it is not proved that there is none.",
    "orders not tried": "None of the orders that were tried goes, and there are orders that were not tried.",
    "engines disagree": "The two searches disagree: the program is at fault. Do not cut tube on this.",
}

WHAT_TO_DO: Final = {
    "time limit": "Give it more time, or look at the changes below.",
    "too close": (
        "Measure the solid that it hangs on anew and correct the profile, move it, or ask for less clearance if the"
        " shop allows that."
    ),
    "no path found": "Give the tube more room about the solid that it hangs on, or try one of the changes below.",
    "orders not tried": "Try an order of your own, or a machine with a mandrel and a carriage.",
    "engines disagree": "Keep the part's file and the profile, and report the fault.",
}


class VerdictScreen:
    """The screen of the verdict."""

    def __init__(self, shell: Shell) -> None:
        self.shell, self.session = shell, shell.session
        self.drawn_of = shell.session.made

    def build(self) -> None:
        """Build the screen from what is known by now."""
        session = self.session
        with box("screen"):
            if session.refused is not None:
                self._refused(self.shell.refusal(session.refused))
            elif session.made is None:
                with box("card stack"):
                    heading("No plan yet", "h1")
                    said = "It is being reckoned." if session.planned_part is not None else "Pick a part, or type one."
                    words(said)
                    button("Part and machine", lambda: self.shell.go("part"))
            else:
                self._verdict(session.made)

    def heard(self, news: News) -> None:
        """Put in what has come; all anew only where there is another plan."""
        made = self.session.made
        if made is None or made is not self.drawn_of:
            if news == "plan":
                self.shell.draw()
        elif news == "plan":
            self._draw_stages(made)
        elif news == "why":
            self._draw_reasons(made)

    def _refused(self, message: str) -> None:
        with box("card verdict bad"):
            words("✕", "sign", tag="span")
            with box("stack"):
                words("This cannot be planned", "word")
                words(message)
                button("Part and machine", lambda: self.shell.go("part"))

    def _verdict(self, made: Plan) -> None:
        with box(f"card verdict {LOOKS[made.verdict]}"):
            words(SIGNS[made.verdict], "sign", tag="span")
            with box("stack"):
                words(SAID[made.verdict], "word", tag="h1")
                words(self._sentence(made))
        self.stages = box("stages card", "div", aria_live="polite")
        self._draw_stages(made)
        if made.steps:
            self._figures(made)
            with box("row"):
                button("Step by step", lambda: self.shell.go("steps"), "main")
                button("Your own order", lambda: self.shell.go("order"))
                button("Side by side", lambda: self.shell.go("pair"))
        if made.verdict == "undecided":
            self._undecided(made)
        self.reasons = box("stack", "div", aria_live="polite")
        self._draw_reasons(made)
        if made.setup.list:
            with box("card stack"):
                heading("Set-up")
                listed(map(self.shell.said, made.setup.fact))
        if made.alternatives:
            with box("card stack"):
                heading("Other ways")
                listed(self.shell.said(way.fact) for way in made.alternatives)
        if made.steps:
            self._checked(made)

    def _sentence(self, made: Plan) -> str:
        part, machine = plain(made.part["name"]), plain(made.machine["name"])
        if made.verdict == "makeable":
            more = more_stock(made, self.session.unit)
            stock = f" with {more}, sawn off afterwards," if more else ""
            return f"{part} goes on the {machine}{stock} as {order(made)}."
        if made.verdict == "not makeable":
            return f"{part} cannot be made on the {machine} in any order. That is proved."
        return f"Whether {part} can be made on the {machine} is not settled."

    def _draw_stages(self, made: Plan) -> None:
        """Say how sure the verdict is."""
        session = self.session
        self.stages.clear()
        with self.stages:
            proved = made.verdict != "undecided"
            words(f"{'✓' if proved else '?'} {'planned and proved' if proved else 'planned, not proved'}", tag="span")
            if proved:
                for what, stage in (("seconded by the other engine", session.seconded), ("audited", session.audited)):
                    sign, said = STAGES[stage]
                    words(f"{sign} {what}: {said}", tag="span")
            if session.audit_says:
                words(plain(session.audit_says), "faint small", tag="span")

    def _figures(self, made: Plan) -> None:
        unit = self.session.unit
        assert made.stock is not None  # of every plan with steps
        trim = made.stock.trim_a + made.stock.trim_b
        with box("tiles"):
            tile("re-clamps", str(made.reclamps))
            tile("trim", shown(trim, unit))
            tile("cut the tube to", shown(made.stock.cut_length, unit))
            if made.smallest_clearance is not None:
                tile("smallest clearance", at_least_shown(made.smallest_clearance, unit))
            tile("a part at the machine", duration(made.cycle_time or 0.0))
            if made.setup.time:
                tile("set-up, once", duration(made.setup.time))
        if made.reclamps:
            words(f"That is {reclamps(made)}.")

    def _undecided(self, made: Plan) -> None:
        """Say what is open, and what to change so that it is settled."""
        because = made.undecided_because or "time limit"
        with box("card open stack"):
            heading("What is open")
            words(OPEN_BECAUSE[because])
            if made.hangs_on:
                words(f"It hangs on: {', '.join(plain(name) for name in made.hangs_on)}.")
            heading("What to do")
            words(WHAT_TO_DO[because])
            if because == "time limit":
                longer = min(4.0 * self.session.time_limit, 300.0)
                button(f"Plan again with {longer:.0f} s", lambda: self._longer(longer), "main")
            words("Until it is settled, treat the part as one that cannot be made.", "faint")

    def _longer(self, seconds: float) -> None:
        self.session.time_limit = seconds
        part, machine = self.session.planned_part, self.session.planned_machine
        if part is not None and machine is not None:
            self.shell.start(self.shell.session_jobs.plan(part, machine))

    def _draw_reasons(self, made: Plan) -> None:
        self.reasons.clear()
        with self.reasons:
            self._reasons(made)
            if made.verdict != "makeable":
                self._changes()

    def _reasons(self, made: Plan) -> None:
        why = self.session.why
        with box("card stack"):
            if made.verdict == "makeable":
                heading("Why this order")
                self._why(why)
                return
            heading("Why")
            rules = made.reasons if why is None else why.rules
            self._rules(rules)
            if why is not None and why.besides:
                words("Each of these would be enough by itself, too:", "faint")
                self._rules(why.besides)

    def _why(self, why: Why | None) -> None:
        if why is None:
            words("The reasons are being found.", "faint")
            return
        if why.start is not None:
            words(self.shell.said(why.start.fact))
            listed(f"Bend {way.bend} first, end {way.leads} leading: {self._way(way)}" for way in why.start.ways)
        if why.rules:
            words("What decided it; none of these can be left out:")
            self._rules(why.rules)
        else:
            words("No rule and no strike decides it: every order that is as good goes as well.")
        if why.plain:
            heading("The plain orders")
            listed(self._plain(judged) for judged in why.plain)
        if why.precedence is not None:
            heading("What comes before what")
            words(self.shell.said(why.precedence.fact))
            with box("diagram"):
                ui.html(svg_diagram(why.precedence, "What comes before what"), sanitize=False)

    def _way(self, way: Begun) -> str:
        """Return what becomes of a way to begin, and why."""
        said = " ".join(self.shell.said(reason.fact) for reason in way.reasons)
        return f"{way.verdict}. {said or self.shell.said(way.fact)}"

    def _plain(self, judged: Judged) -> str:
        sign = {"goes": "✓", "fails": "✕", "undecided": "?"}[judged.verdict]
        return f"{sign} {self.shell.said(judged.fact)}"

    def _rules(self, rules: tuple[Reason, ...]) -> None:
        listed(f"{self.shell.said(rule.fact)}{'' if rule.grade == 'proved' else ' (not proved)'}" for rule in rules)

    def _changes(self) -> None:
        """Show the changes that would help, each to be tried by one press."""
        why = self.session.why
        with box("card stack"):
            heading("What would make it possible")
            if why is None:
                words("That is being looked for.", "faint")
                return
            for change in why.changes or ():
                with box("row"):
                    button("Try it", partial(self._try, change), "main")
                    words(self.shell.said(change.fact)).style("flex: 1 1 20rem")
            if not why.changes:
                words("No single change and no two changes at once that were tried help.")
            if why.sought_to_the_end is False:
                words("The time limit came before all of them were looked at.", "faint")

    def _try(self, change: Change) -> None:
        part, machine = dict(change.parts[0]), dict(change.machine)
        self.session.put(part, machine)
        self.shell.start(self.shell.session_jobs.plan(part, machine))
        if len(change.parts) > 1:
            self.shell.tell("This is the first of the two pieces.")

    def _checked(self, made: Plan) -> None:
        with box("card", "details"):
            words("What was checked, and what was not", tag="summary")
            warned = map(self.shell.said, made.fact.get("warnings", ()))
            listed([*map(plain, checked_lines(made, self.session.unit)), *warned])
            listed(map(self.shell.said, made.fact.get("cautions", ())))
