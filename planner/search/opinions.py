"""What each engine says of a proved bound: none of them is believed alone where a second one is asked."""

from __future__ import annotations

from typing import Literal, NamedTuple

from planner.deadline import OutOfTime
from planner.facts import Fact, Quantity, fact, six_digits
from planner.search.question import Engine
from planner.search.search import Search
from planner.sequencing.events import Value
from planner.sequencing.exact import Exact
from planner.sequencing.solution import SolverGaveUp, SolverWrong
from planner.wording.say import say

EngineName = Literal["exact", "cp-sat"]


def engine_named(name: EngineName | Engine) -> Engine:
    """Return an engine; CP-SAT is imported only when it is asked for."""
    if name == "exact":
        return Exact()
    if name != "cp-sat":
        return name
    from planner.sequencing.cpsat import CpSat

    return CpSat()


class Opinions(NamedTuple):
    """What the engines say of the proved bound, by their names, and whether they agree; None: only one spoke."""

    said: dict[str, str]
    agree: bool | None


NONE_ASKED = Opinions({}, None)

NO_ANSWER = "no answer within the time limit"
"""What an engine says that the time limit came before."""


def opinions_of(search: Search, bound: Value | None, cut_short: bool = False) -> Opinions:
    """Return what both engines say of a proved bound.

    cut_short: the exact one has told it, and no time is left to ask the other one.
    """
    names: tuple[EngineName, EngineName] = ("exact", "cp-sat")
    first, other = names if cut_short or isinstance(search.question.engine, Exact) else names[::-1]
    said, agreed = (NO_ANSWER, None) if cut_short else second_opinion(search, bound, engine_named(other))
    return Opinions({first: say(opinion(bound)), other: said}, agreed)


def second_opinion(search: Search, bound: Value | None, other: Engine) -> tuple[str, bool | None]:
    """Return what another engine says of the proved bound, from the same no-goods, and whether it says the same.

    None where it gave up or the time limit came first: no opinion is no dissent, and no support.
    """
    apart = None if bound is None else search.told_apart(bound)
    try:
        found = other.best(search.problem, search.proved, search.handling.sure_extra, search.prefer)
        if (
            found is not None
            and bound is not None
            and apart is not None
            and found.value.beside_time() == bound.beside_time()
        ):
            found = other.best(apart, search.proved, search.handling.sure_extra, search.prefer)
    except OutOfTime:
        return NO_ANSWER, None
    except SolverGaveUp as gave_up:
        return str(gave_up), None
    except SolverWrong as wrong:
        return str(wrong), False
    said = None if found is None else found.value
    return say(opinion(said)), said == bound


def opinion(bound: Value | None) -> Fact:
    """Return a proved bound as a fact."""
    if bound is None:
        return fact("no-order-goes")
    stock = six_digits(bound.unasked) if bound.unasked else None
    time = Quantity(round(bound.time / 1000.0, 3), "s", "nearest", 3)
    return fact("bound", stock=stock, reclamps=bound.reclamps, trim=six_digits(bound.trim), time=time)
