"""What lies in the session of one browser: the part as typed, the machine, the plan, and where it is looked at.

It is kept by the server for as long as that runs, so that a page that is loaded again stands where it stood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from planner.advice.answers import Why
from planner.page.part_form import PartForm
from planner.plans.document import End, OrderedBend, Plan
from planner.sequencing.events import Prefer
from planner.wording.figures import LengthUnit

Screen = Literal["part", "verdict", "steps", "order", "pair"]
News = Literal["progress", "plan", "why", "tried", "pair"]
"""What has changed in a session while its page was open."""

Stage = Literal["not asked", "under way", "yes", "no", "not settled"]
"""How far a second opinion on a plan is."""


@dataclass
class Work:
    """What is being reckoned: in words, what was told of its progress last, and how to end it."""

    doing: str
    told: str = ""
    cancel: Callable[[], None] = lambda: None


@dataclass
class TriedOrder:
    """An own order as it was judged: the answer, its film, what to mark in it, and what is done in each shot."""

    answer: dict[str, Any]
    film: dict[str, Any] | None
    marks: list[dict[str, Any]]
    captions: list[str]


@dataclass
class Beside:
    """What stands beside the plan: its name, and its plan; None while that is not there."""

    name: str = ""
    made: Plan | None = None
    refused: Exception | None = None


@dataclass
class Session:
    """One browser's session.

    form, machine, machine_name: part and machine as they are typed, the machine as a profile's document in mm.
    planned_part, planned_machine: the documents that `made` is of; stale: one of them has been changed since; made: the
    plan; refused: the error where there is none. seconded: what the other engine says of it; audited: what the auditor
    says; why: reasons, and changes. at: the step that is shown, from 0. order: the own order; tried: how it was judged;
    guess: the step that the trainee says will fail first, 0 for none.
    """

    form: PartForm
    machine: dict[str, Any]
    machine_name: str
    unit: LengthUnit = "mm"
    dark: bool | None = None
    screen: Screen = "part"
    prefer: Prefer = "fewer re-clamps"
    time_limit: float = 30.0
    work: list[Work] = field(default_factory=list)
    stale: bool = False
    planned_part: dict[str, Any] | None = None
    planned_machine: dict[str, Any] | None = None
    made: Plan | None = None
    refused: Exception | None = None
    seconded: Stage = "not asked"
    audited: Stage = "not asked"
    audit_says: str = ""
    why: Why | None = None
    at: int = 0
    order: list[OrderedBend] = field(default_factory=list)
    tried: TriedOrder | None = None
    tried_refused: Exception | None = None
    exercise: int | None = None
    guess: int | None = None
    beside: Beside = field(default_factory=Beside)
    listeners: list[Callable[[News], None]] = field(default_factory=list)

    def changed(self, news: News) -> None:
        """Tell every open page of this browser what has changed."""
        for hear in tuple(self.listeners):
            hear(news)

    def begin_anew(self) -> None:
        """Forget the plan and all that was said of it, and end what is being reckoned; orders are kept."""
        for work in tuple(self.work):
            work.cancel()
        self.stale = False
        self.made = self.refused = self.why = self.tried = self.tried_refused = None
        self.planned_part = self.planned_machine = None
        self.seconded = self.audited = "not asked"
        self.audit_says = ""
        self.at, self.beside = 0, Beside()

    def forget_plan(self) -> None:
        """Take the plan off the session, and the own order with it."""
        self.begin_anew()
        self.order, self.exercise, self.guess = [], None, None

    def compare(self, part: dict[str, Any] | None) -> None:
        """Note whether the plan is of the part as it is typed (None: no part) and the machine as it stands."""
        changed = part != self.planned_part or self.machine != self.planned_machine
        self.stale = self.planned_part is not None and changed

    def put(self, part: dict[str, Any], machine: dict[str, Any]) -> None:
        """Put another part and machine in the session, as documents."""
        self.forget_plan()
        self.form, self.machine = PartForm.of(part), machine
        self.machine_name = ""


class Sessions:
    """The sessions of all browsers: `lay` makes a new one, and of too many those go that nobody looks at."""

    def __init__(self, lay: Callable[[], Session], most: int = 32) -> None:
        self._lay, self._most = lay, most
        self._of: dict[str, Session] = {}

    def of(self, browser: str) -> tuple[Session, bool]:
        """Return the session of a browser, and whether it is new."""
        new = browser not in self._of
        session = self._lay() if new else self._of.pop(browser)
        self._of[browser] = session  # the one used last stands last
        unused = [key for key, other in self._of.items() if not other.listeners and other is not session]
        for key in unused[: max(len(self._of) - self._most, 0)]:
            del self._of[key]
        return session, new


def plain_order(n: int, leads: End) -> list[OrderedBend]:
    """Return the order of the drawing from one end on: 1 … n with A leading, n … 1 with B."""
    numbers = range(1, n + 1) if leads == "A" else range(n, 0, -1)
    return [OrderedBend(bend=number, leads=leads) for number in numbers]
