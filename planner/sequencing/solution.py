"""How the CP-SAT engine speaks of a solution: bend by bend, how each is reached; and the replay of one in plain Python.

A solver's word alone proves nothing: what a solution says is carried out here against the no-goods, the chuck and the
times, and raises SolverWrong where it does not stand up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal, NamedTuple

from planner.errors import BendorderError
from planner.rules.broken import End
from planner.sequencing.events import Arrival, Event, Hold, NoGood, Sequence, Trims
from planner.sequencing.problem import Extra, Problem
from planner.tolerances import CHUCK_SLACK

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT

    Truth = BoolVarT | bool
    """A Boolean of the model or the negation of one; plainly True or False where the answer is known beforehand."""

Reached = Literal["load", "turn", "reload", "kept", "re-grip"]
"""How a bend is reached: the last two are links, in the same hold or in one just begun."""

ENDS: tuple[End, ...] = ("A", "B")
LOADED: tuple[Reached, ...] = ("load", "turn", "reload")
LINKED: tuple[Reached, ...] = ("kept", "re-grip")
EVENT: dict[Reached, Event] = {
    "load": Event.LOAD,
    "turn": Event.TURN,
    "reload": Event.RELOAD,
    "kept": Event.LINK,
    "re-grip": Event.LINK,
}
WHOLE_TURN = 2.0 * math.pi


class SolverGaveUp(BendorderError):
    """The solver neither solved a phase nor proved it impossible; phase, status, limit [deterministic seconds]."""

    def __init__(self, phase: str, status: str, limit: float) -> None:
        self.phase, self.status, self.limit = phase, status, limit
        super().__init__(f"the solver gave up on {phase}: {status} within {limit:g} deterministic seconds")


class SolverWrong(BendorderError):
    """What the solver said does not stand up to a replay; said: its word; found: what is true."""

    def __init__(self, said: str, found: str) -> None:
        self.said, self.found = said, found
        super().__init__(f"the solver said {said}, but {found}")


class SolvedStep(NamedTuple):
    """One bend of a solution as the solver gives it: how it is reached, which end leads, its number in that view."""

    reached: Reached
    leads: End
    bend: int
    way: int
    released: bool
    clamp: float | None = None


def least_time(problem: Problem, reached: Reached, leads: End, bend: int) -> int:
    """Return the least time in which a bend is reached [ms]."""
    times = problem.times
    if reached in LINKED:
        return times.link[leads][bend - 1] + (times.regrip if reached == "re-grip" else 0)
    return {"load": times.load[leads][bend - 1], "turn": times.turn, "reload": times.reload}[reached]


def replay(
    problem: Problem, forbidden: tuple[NoGood, ...], trims: Trims, steps: Iterable[SolvedStep], extra: Extra
) -> Sequence:
    """Carry out the steps and return the sequence with what it costs; raise SolverWrong where one cannot be."""
    arrivals: list[Arrival] = []
    formed: set[int] = set()
    reclamps = time = 0
    turned = 0.0
    fitted: float | None = None
    for step in steps:
        before = arrivals[-1] if arrivals else None
        seen = {b if step.leads == "A" else problem.n + 1 - b for b in formed}
        arrival = _arrived(before, step, seen)
        if step.reached != "kept":
            turned = 0.0
        if arrival.event is Event.LINK:
            roll = problem.rolls[step.leads][step.bend - 1]
            turned += roll - step.way * math.copysign(WHOLE_TURN, roll)
        fault = _fault(problem, before, arrival, seen, turned)
        fault = fault or next((g.sentence for g in forbidden if g.pattern.matches(before, arrival, trims)), None)
        if fault is not None:
            raise SolverWrong(f"that {arrival} can follow {before}", fault)
        reclamps += (step.reached in ("turn", "reload", "re-grip")) + step.released
        fitted, changed = problem.changes(before, arrival, fitted)
        time += least_time(problem, step.reached, step.leads, step.bend) + extra(before, arrival, trims)
        time += changed * problem.times.tool_change
        formed.add(step.bend if step.leads == "A" else problem.n + 1 - step.bend)
        arrivals.append(arrival)
    if len(arrivals) != problem.n or any(a.released for a in arrivals[:-1]):
        raise SolverWrong("that every bend is made once, the last one released or none", f"it gives {arrivals}")
    return Sequence(trims, tuple(arrivals), problem.value(reclamps, trims, time))


def _arrived(before: Arrival | None, step: SolvedStep, seen: set[int]) -> Arrival:
    """Return the arrival that a step is, from what is formed before it (numbers in its view)."""
    if step.reached == "kept":
        hold = before.hold if before is not None else Hold(0, "load")
    else:
        hold = Hold(step.bend, "re-grip" if step.reached == "re-grip" else "load")
    ahead = min(seen, default=step.bend)
    return Arrival(EVENT[step.reached], step.leads, step.bend, ahead, hold, step.way, step.released, step.clamp)


def _fault(problem: Problem, before: Arrival | None, arrival: Arrival, seen: set[int], turned: float) -> str | None:
    """Return why an arrival cannot follow what was before, None if it can."""
    event, leads, bend = arrival.event, arrival.leads, arrival.bend
    if bend not in range(1, problem.n + 1) or seen != set(range(arrival.ahead, bend)):
        return f"bend {bend} with end {leads} leading cannot be made with {sorted(seen)} formed"
    if (before is None) != (event is Event.LOAD):
        return "the first bend alone is reached by the load"
    if before is not None and (before.leads == leads) != (event in (Event.LINK, Event.RELOAD)):
        return "the leading end changes at a turn, and only there"
    if before is not None and before.leads == leads and before.bend != bend - 1:
        return "a link or a reload starts at the neighbour ahead"
    if (event is Event.RELOAD and not problem.may_reload) or (arrival.regripped and not problem.may_regrip):
        return "the job has no such re-clamp"
    if arrival.released and not problem.may_release:
        return "the collet may not be opened"
    if arrival.clamp not in problem.clamps_for(arrival):
        return f"no clamp of {arrival.clamp} mm can hold it"
    roll = problem.rolls[leads][bend - 1]
    if arrival.way != 0 and (event is not Event.LINK or problem.chuck is None or abs(roll) <= CHUCK_SLACK):
        return "there is no longer way round"
    if event is Event.LINK and problem.chuck is not None:
        low, high = problem.chuck
        if not low - CHUCK_SLACK <= turned <= high + CHUCK_SLACK:
            return f"the chuck would stand at {turned} rad"
    return None


def negation(literal: Truth) -> Truth:
    """Return the literal that is true where this one is not."""
    return not literal if isinstance(literal, bool) else ~literal
