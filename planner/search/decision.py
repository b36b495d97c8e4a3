"""What is decided of a case, and how much of it is proved."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from planner.deadline import TO_FINISH, OutOfTime, finishing
from planner.facts import fact
from planner.feasibility.orders import ready_of
from planner.feasibility.stations import Unkeepable, station
from planner.feasibility.whole_order import Failure, Trial, changed, passes_of, try_order
from planner.rules.broken import other
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood, Pattern, Sequence, Trims, Value
from planner.sequencing.exact import Exact
from planner.sequencing.problem import milliseconds
from planner.tolerances import SAME_TIME

Undecided = Literal["time limit", "too close", "no path found"]

NOT_LESS = Value(0, 0.0, 0)
"""No plan costs less than nothing: what is proved where the time was too short to prove anything."""


@dataclass(frozen=True)
class Plannable:
    """A sequence with all its motions certified as printed; value: what it costs with the numbers as printed."""

    sequence: Sequence
    trial: Trial
    value: Value


@dataclass(frozen=True)
class Decision:
    """The plan, if there is one, and what is proved.

    bound: what no plan is below, proved; None where it is proved that there is no plan at all. undecided: why neither a
    plan nor a proof that there is none was found. proved: re-clamps, trim and time, in the order of the objectives.
    cut_short: the time limit came first.
    """

    plan: Plannable | None
    bound: Value | None
    undecided: Undecided | None
    proved: tuple[bool, bool, bool]
    cut_short: bool = False


def decide(search: Search) -> Decision:
    """Search for a plan and for the proof that there is no better one; look harder where neither is found."""
    found: Plannable | None = None
    try:
        found = carried_out(search)
        bound = _bound(search, found)
        if found is None and bound is not None and search.known.look_harder():
            found = carried_out(search)
            bound = _bound(search, found)
        if found is None:
            undecided = None if bound is None else _why(search, bound)
            return Decision(None, None if bound is None else bound.value, undecided, (False, False, False))
        least = None if bound is None else search.timed(bound.value)
    except OutOfTime:
        return _out_of_time(search, found)
    return Decision(found, least, None, what_is_proved(search, found, least))


def _bound(search: Search, found: Plannable | None) -> Sequence | None:
    """Return the best sequence that is not proved to fail; nothing is learned that would forbid the plan found."""
    if found is not None:
        search.known.keep(found.sequence)
    return search.best(proved_only=True)


def carried_out(search: Search, known_only: bool = False) -> Plannable | None:
    """Return the best sequence that also goes with the numbers as the readouts show them."""
    made: list[Plannable] = []

    def fails_as_printed(sequence: Sequence) -> bool:
        outcome = _as_printed(search, sequence)
        if isinstance(outcome, NoGood):
            search.known.reject(outcome)
            return True
        made.append(outcome)
        return False

    search.settled(search.best_checked if known_only else search.plan, fails_as_printed)
    return made[0] if made else None


def _as_printed(search: Search, sequence: Sequence) -> Plannable | NoGood:
    """Carry a sequence out with the numbers as printed; return what it teaches where that fails."""
    try:
        stationed = station(ready_of(search.case, sequence))
    except Unkeepable as unkeepable:
        broken = unkeepable.broken
        at = next(a for a in reversed(sequence.arrivals) if search.case.number(a.leads, a.bend) == broken.bend)
        pattern = Pattern(Event.BEND, at.leads, at.bend, (at.ahead, at.ahead), hold=at.hold)
        return NoGood(pattern, broken.rule, broken.fact, "unproved", broken)
    trial = try_order(stationed, search.around, search.checks.batches.harder)
    if trial.loads is not None:
        return Plannable(sequence, trial, value_as_printed(trial))
    return _rounded_off(search, sequence, trial.failures[0])


def _rounded_off(search: Search, sequence: Sequence, failure: Failure) -> NoGood:
    """Return what a sequence teaches that goes with exact numbers but not with those that the readouts can show."""
    at = next(a for a in sequence.arrivals if search.case.number(a.leads, a.bend) == failure.station.number)
    moving = failure.blocked.doing in ("move", "no path")
    lead, tail = sequence.trims.at(at.leads), sequence.trims.at(other(at.leads))
    event = at.event if moving else Event.BEND
    ahead = (at.ahead, at.ahead)
    pattern = Pattern(event, at.leads, at.bend, ahead, (lead, lead), (tail, tail), at.hold, clamp=at.clamp)
    said = fact("goes-as-drawn-only", bend=failure.station.number, leads=at.leads)
    return NoGood(pattern, "rounding", said, "unproved", failure)


def value_as_printed(trial: Trial) -> Value:
    """Return what a trial costs: the time of its own paths, easings and changes of clamps, and of each further pass."""
    ready, times = trial.stationed.ready, trial.stationed.ready.case.machine.times
    speeds = ready.case.machine.speeds
    assert trial.loads is not None  # asked only of orders carried out
    done = [bend for load in trial.loads for bend in load]
    seconds = ready.turns * times.turn + ready.reloads * times.load + ready.regrips * times.regrip
    seconds += sum(bend.path.time + (bend.home.eased + bend.carriage_way) / speeds.advance for bend in done)
    seconds += 2.0 * times.clamp * sum(bend.home.lowered > 0.0 for bend in done)
    of = passes_of(trial.loads)
    seconds += times.tool_change * (len(of) - 1 + sum(len(changed(one)) for one in of))
    trims = Trims(ready.trim_a, ready.trim_b)
    unasked = math.fsum(trims.at(end) for end in ready.case.unasked)
    return Value(ready.reclamps, trims.total, milliseconds(seconds), unasked)


def what_is_proved(search: Search, found: Plannable, bound: Value | None) -> tuple[bool, bool, bool]:
    """Return whether re-clamps, trim and time of a plan are proved to be the least, objective by objective."""
    if bound is None:
        return (False, False, False)  # the bound must at least allow the plan: say nothing
    ours, least = found.value.key(search.prefer), bound.key(search.prefer)
    first = ours[:2] == least[:2]
    second = first and ours[2] == least[2]
    third = second and ours[3] <= least[3] + SAME_TIME
    return (first, second, third) if search.prefer == "fewer re-clamps" else (second, first, third)


def _why(search: Search, bound: Sequence) -> Undecided:
    """Return what stands in the way of a sequence that is not proved to fail."""
    in_the_way = search.in_the_way(bound)
    # A strike that is not proved leaves another path, or another place of the collet, that nothing excludes.
    return "no path found" if any(n.rule in ("no path found", "strike") for n in in_the_way) else "too close"


def _out_of_time(search: Search, found: Plannable | None) -> Decision:
    """Return what is known when time has run out: the plan found, or the best of what has been checked; the bound."""
    try:
        with finishing(TO_FINISH):
            found = found or carried_out(search, known_only=True)
            bound = search.asking(engine=Exact()).propose(proved_only=True)
    except OutOfTime:
        return Decision(found, NOT_LESS, None if found else "time limit", (False, False, False), True)
    least = None if bound is None else bound.value
    if found is None:
        return Decision(None, least, "time limit" if bound is not None else None, (False, False, False), True)
    return Decision(found, least, None, what_is_proved(search, found, least), True)
