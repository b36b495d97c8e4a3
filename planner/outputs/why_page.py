"""Why a part is made in this order, or why it cannot be made, as a page for a terminal.

Reasons are numbered where they are first told; after that their number stands for them. A part that is begun elsewhere
than at an end tells first why.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from planner.advice.answers import Begun, Judged, Start, Why
from planner.advice.costs import NOT_TO_THE_END
from planner.outputs.plan_page import COLOURS, PEOPLE, WHY_UNDECIDED
from planner.outputs.terminal import Page
from planner.plans.document import Change, OrderedBend, Reason
from planner.wording.say import say
from planner.words import counted, listed, plain

NOTATION = "3A: bend 3 with end A leading."
NUMBER, WAY = 3, 9  # [characters]

NO_CHANGE = "No change was found that helps, no two at once, no other machine and no joint."


def print_why(why: Why, page: Page) -> None:
    """Write the whole page."""
    page.text(f"{why.verdict.upper()}: {plain(why.sentence)}", style=f"bold {COLOURS[why.verdict]}")
    if why.undecided_because is not None:
        page.text(f"Not settled, because {WHY_UNDECIDED[why.undecided_because]}.")
    reasons = _Reasons(page)
    if why.asked is not None:
        page.heading("The order asked about")
        reasons.judged(why.asked)
    if why.start is not None:
        page.heading("Where it is begun")
        _print_start(why.start, reasons, page)
    if why.rules or why.verdict == "makeable":
        page.heading(_heading(why))
        _print_rules(why, reasons, page)
    if why.besides:
        page.heading("Each of these bends or straights by itself excludes every order too")
        reasons.tell(why.besides)
    if why.plain:
        page.heading("Straight through from either end")
        for judged in why.plain:
            reasons.judged(judged)
    if why.precedence is not None:
        page.heading("What comes before what")
        page.text(why.precedence.sentence, indent=2)
        page.drawing(why.precedence.diagram, indent=4)
        if not all(arrow.proved for arrow in why.precedence.arrows):
            page.text("~> is not proved: only what is too close to call or not tried stands against it.", indent=4)
    if why.changes is not None:
        _print_changes(why.changes, why.sought_to_the_end is False, page)
    page.blank()
    page.text(NOTATION if why.verdict == "not makeable" else f"{NOTATION} {PEOPLE}")


def _print_changes(changes: Sequence[Change], out_of_time: bool, page: Page) -> None:
    """Write what would make a part possible."""
    page.heading("What would make it possible, what touches least first; each planned again with the change made")
    for number, change in enumerate(changes, start=1):
        page.row([(f"{number}", NUMBER), (change.sentence, None)], indent=2)
    if out_of_time:
        page.text(say(NOT_TO_THE_END), indent=2)
    elif not changes:
        page.text(NO_CHANGE, indent=2)


class _Reasons:
    """Tells reasons with numbers, each in full only the first time."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._numbers: dict[Reason, int] = {}

    def new(self, reasons: Iterable[Reason]) -> list[tuple[int, Reason]]:
        """Number those that have no number yet, and return them with it."""
        unknown = [reason for reason in dict.fromkeys(reasons) if reason not in self._numbers]
        for reason in unknown:
            self._numbers[reason] = len(self._numbers) + 1
        return [(self._numbers[reason], reason) for reason in unknown]

    def known(self, reasons: Iterable[Reason]) -> list[int]:
        """Return the numbers of those that were told already."""
        return sorted(self._numbers[reason] for reason in dict.fromkeys(reasons) if reason in self._numbers)

    def tell(self, reasons: Iterable[Reason], indent: int = 2) -> None:
        """Write those that were not told yet."""
        for number, reason in self.new(reasons):
            self._page.row([(f"{number}", NUMBER), (_graded(reason), None)], indent=indent)

    def judged(self, judged: Judged) -> None:
        """Write how an order fares."""
        if judged.fails is None:
            self._page.bullets([judged.sentence])
            return
        at = f"step {judged.fails.number}, bend {judged.fails.bend} with end {judged.fails.leads} leading"
        said = f"{_in_order(judged.order)} {'fails' if judged.verdict == 'fails' else 'is not settled'} at {at}"
        known = self.known(judged.reasons)
        more = len(dict.fromkeys(judged.reasons)) - len(known)
        by = f"reason{'' if len(known) == 1 else 's'} {listed(known)}" if known else ""
        if not more:
            self._page.bullets([f"{said}, by {by}."])
            return
        self._page.bullets([f"{said}, by {by} and {counted(more, 'more')}:" if known else f"{said}:"])
        self.tell(judged.reasons, indent=5)


def _print_rules(why: Why, reasons: _Reasons, page: Page) -> None:
    """Write the rules that decided, or that stand in the way; those that were told already by their numbers."""
    if not why.rules:
        page.text("No rule forces an order: of equals the plan is the first by the stated choice.", indent=2)
        return
    known = reasons.known(why.rules)
    more = len(why.rules) - len(known)
    if known:
        page.text(f"Reason{'' if len(known) == 1 else 's'} {listed(known)}{', and:' if more else '.'}", indent=2)
    reasons.tell(why.rules)


def _print_start(start: Start, reasons: _Reasons, page: Page) -> None:
    """Write why the part is begun where it is, and what beginning with each end bend comes to."""
    page.text(start.sentence, indent=2)
    for way in start.ways:
        page.row([(f"{way.bend}{way.leads} first", WAY), (_begun(way, reasons), None)], indent=2)


def _begun(way: Begun, reasons: _Reasons) -> str:
    """Return what a way to begin comes to."""
    if way.verdict != "never":
        return say(way.fact.part("outcome"))
    known = reasons.known(way.reasons)
    told = [f"reason {number}" for number in known]
    told += [f"({number}) {_graded(reason)}" for number, reason in reasons.new(way.reasons)]
    return f"never: {'; '.join(told)}"


def _heading(why: Why) -> str:
    if why.verdict == "makeable":
        return "What decided the order"
    if why.verdict == "undecided":
        return "What stands in the way"
    together = "Together these exclude every order; without any one of them some order is left"
    return together if len(why.rules) > 1 else "This alone excludes every order"


def _in_order(order: Iterable[OrderedBend]) -> str:
    return " ".join(f"{made.bend}{made.leads}" for made in order)


def _graded(reason: Reason) -> str:
    return f"{reason.sentence}{'' if reason.grade == 'proved' else ' (not proved)'}"
