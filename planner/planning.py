"""The whole flow on one page: part and machine → the search for the best order → a checked and proved plan."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from planner.cuts.impossible import broken_in_every_order
from planner.deadline import TO_FINISH, OutOfTime, finishing, limited
from planner.feasibility.cases import case_of, surroundings_of, warnings_of
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import Alternative, Plan
from planner.plans.evidence import Evidence, Written
from planner.plans.other_ways import alternative, looked_at
from planner.plans.plan_writer import Known, least_of
from planner.plans.reasons import from_broken
from planner.rules.broken import Broken
from planner.search.alternatives import Way, other_ways, saved_by_stock
from planner.search.decision import Decision, Plannable, decide
from planner.search.opinions import NO_ANSWER, NONE_ASKED, EngineName, Opinions, engine_named, opinions_of
from planner.search.question import Engine
from planner.search.search import Search
from planner.sequencing.events import NoGood, Prefer
from planner.sequencing.exact import Exact
from planner.tube.bodies import Motion

NOTHING_FOUND = Decision(None, None, None, (False, False, False))
"""No plan, and nothing that a plan could be below."""


@dataclass
class Learned:
    """What planning has taught, to be passed on to the next `plan` of a part or machine that is a little different."""

    nogoods: tuple[NoGood, ...] = ()


def plan(
    part: Part,
    machine: Machine,
    *,
    prefer: Prefer = "fewer re-clamps",
    engine: EngineName | Engine = "exact",
    confirm: bool = False,
    alternatives: bool = False,
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
    learned: Learned | None = None,
    evidence: Evidence | None = None,
) -> Plan:
    """Plan a part on a machine: the best order, proved.

    Best by re-clamps, then trim, then handling time (prefer "less trim" swaps the first two); among equals by the rule
    stated in `sequencing/tie_break.py`. Every motion between load and unload of the plan is proved clear; that there is
    no better plan, or none at all, is proved too, and where it is not the document says so.

    engine: "exact" or "cp-sat" (or an engine of one's own), which find the same plan; confirm: let the other one
    prove the result again. alternatives: also look for plans that are better in something else. time_limit [s]: then
    what is known by then is said; report: told of the progress in sentences. learned: what planning the part or machine
    before it was edited a little has taught; taken in where it still holds, and replaced by what is learned now.
    evidence: filled with what the plan rests on; `planner.proof` writes it out so that it can be audited.

    Raises NoTooling if the machine has no tooling for the tube and one of its radii, SelfCrossing if the finished tube
    runs through itself.
    """
    found = planned(
        part,
        machine,
        prefer=prefer,
        engine=engine,
        confirm=confirm,
        alternatives=alternatives,
        time_limit=time_limit,
        report=report,
        earlier=None if learned is None else learned.nogoods,
    )
    if learned is not None:
        learned.nogoods = found.learned
    if evidence is not None:
        evidence.search, evidence.decision = found.evidence.search, found.evidence.decision
        evidence.moved = found.evidence.moved
    return found.plan


@dataclass(frozen=True)
class Planned:
    """A plan, what it rests on, and the no-goods that were learned on the way: of the parts before, if none was."""

    plan: Plan
    evidence: Evidence
    learned: tuple[NoGood, ...]


def planned(
    part: Part,
    machine: Machine,
    *,
    prefer: Prefer = "fewer re-clamps",
    engine: EngineName | Engine = "exact",
    confirm: bool = False,
    alternatives: bool = False,
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
    earlier: tuple[NoGood, ...] | None = None,
) -> Planned:
    """Plan a part as `plan` does, and return all that is known then; earlier: what was learned before."""
    with limited(time_limit):
        case = case_of(part, machine)
        known = Known(case, warnings_of(case))
        search = Search.of(case, surroundings_of(case), engine_named(engine), prefer, report)
        impossible = broken_in_every_order(case)
        if impossible:
            with finishing(TO_FINISH):
                made = _impossible(known, search, impossible, confirm).plan
            return Planned(made, Evidence(search, NOTHING_FOUND), earlier or ())
        if earlier is not None:
            with suppress(OutOfTime):  # deciding then ends at once too, and says what is known
                search.known.remember(earlier)
        decision = decide(search)
        learned = search.nogoods
        if decision.cut_short:
            search = search.asking(engine=Exact())
        with finishing(TO_FINISH):
            made, moved = _told(known, search, decision, confirm, alternatives)
        return Planned(made, Evidence(search, decision, moved), learned)


def _told(known: Known, search: Search, decision: Decision, confirm: bool, alternatives: bool) -> Written:
    """Return what is decided as the plan document."""
    opinions = opinions_of(search, decision.bound, decision.cut_short) if confirm else NONE_ASKED
    if opinions.agree is False:
        return known.undecided(search, decision, "engines disagree", opinions)
    if decision.plan is None:
        return known.without_plan(search, decision, opinions)
    made, moved = known.makeable(search, decision, opinions)
    return Written(_with_others(search, decision.plan, made, alternatives), moved)


def _impossible(known: Known, search: Search, broken: list[Broken], confirm: bool) -> Written:
    """Return the plan document of a part that breaks a rule in every order; confirm: both engines must find none."""
    if not confirm:
        return known.not_makeable(map(from_broken, broken), NONE_ASKED)
    try:
        found = search.propose(proved_only=True)
    except OutOfTime:
        return known.not_makeable(map(from_broken, broken), Opinions({"exact": NO_ANSWER, "cp-sat": NO_ANSWER}, None))
    opinions = opinions_of(search, None if found is None else found.value)
    if found is not None or opinions.agree is False:
        return known.undecided(search, NOTHING_FOUND, "engines disagree", opinions._replace(agree=False))
    return known.not_makeable(map(from_broken, broken), opinions)


def _with_others(search: Search, found: Plannable, made: Plan, alternatives: bool) -> Plan:
    """Return a plan document with other plans beside: all that are better in something, if they are asked for."""
    if not alternatives:
        return made.model_copy(update={"alternatives": _with_more_stock(search, found)})
    ways, to_the_end = other_ways(search, found, lambda plan: _clearances(search, plan))
    others = tuple(alternative(way) for way in ways)
    return made.model_copy(update={"alternatives": others}).warned(looked_at(len(others), to_the_end))


def _with_more_stock(search: Search, found: Plannable) -> tuple[Alternative, ...]:
    """Return the plan that has fewer re-clamps with stock that nobody has stated, where there is one."""
    try:
        plan = saved_by_stock(search, found)
        if plan is None:
            return ()
        return (alternative(Way(plan, min(_clearances(search, plan).values(), default=0.0))),)
    except OutOfTime:
        return ()


def _clearances(search: Search, plan: Plannable) -> dict[Motion, float]:
    return {motion: least.bound for motion, least in least_of(plan.trial, search.around)[0].items()}
