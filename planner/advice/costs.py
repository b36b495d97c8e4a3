"""What a change is and what it costs, on the drawing or at the machine, as facts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from planner.advice.alterations import PartOnMachine, shortest_clamp, tooling_of
from planner.facts import Fact, Quantity, degrees, fact, kept, length, needed, proved
from planner.plans.document import ChangeKind, Plan
from planner.tolerances import ALIKE_IN_HUNDREDTHS

NOT_TO_THE_END = fact("changes-out-of-time")


def told(job: PartOnMachine, kind: ChangeKind, where: str, amount: int) -> Fact:
    """Return a change of so many millimetres, with what is there now and what it costs."""
    part, machine = job.part, job.machine
    if kind == "trim":
        stated = part.trim_a if where == "end A" else part.trim_b
        assert stated is not None  # offered only then
        return _change("trim", stated, amount, where=where)
    if kind == "clearance":
        return _change("clearance", machine.clearance.required, -amount)
    if kind == "carriage travel":
        assert machine.carriage is not None  # offered only then
        closest, farthest = machine.carriage.reach
        return _change("farthest", farthest, amount) if where == "farthest" else _change("closest", closest, -amount)
    if kind == "rod":
        assert machine.mandrel is not None  # offered only then
        return _change("rod", machine.mandrel.rod_length, amount)
    if kind == "pressure die":
        return _change("pressure-die", min(tooling.pressure_die_length for tooling in tooling_of(job)), amount)
    if kind == "clamp":
        return _change("clamp", shortest_clamp(job), -amount)
    if kind == "machine raised":
        return _change("machine-raised", machine.head.centreline_height, amount)
    return _change("straight", float(part.straights[int(where.split()[1])]), amount, where=where)


def _change(what: str, now: float, more: int, **names: str) -> Fact:
    """Return a change of a length from what it is now by so many millimetres."""
    then = _figure(now + more, needed if more > 0 else kept)
    return fact(f"change-{what}", now=_figure(now), then=then, amount=_figure(abs(more), needed), **names)


def told_of_machine(name: str, plan: Plan) -> Fact:
    """Return another machine as a change."""
    cut = None if plan.stock is None else fact("cut-to", length=_figure(plan.stock.cut_length))
    return fact("change-machine", machine=name, cut=cut)


def told_of_joint(straight: int, place: float, rotation: float, plans: Sequence[Plan]) -> Fact:
    """Return two pieces as a change; place [mm] behind the bend before it, rotation [deg] over the joint."""
    cut = tuple(_figure(plan.stock.cut_length) for plan in plans if plan.stock is not None)
    return fact("change-joint", straight=straight, place=_figure(place), cut=cut, rotation=degrees(rotation))


def result(plans: Sequence[Plan]) -> Fact:
    """Return what planning with the change made has given."""
    nearest = nearest_of(plans)
    return fact(
        "planned-again",
        reclamps=sum(plan.reclamps or 0 for plan in plans),
        trim=_figure(trim_of(plans)),
        clearance=None if nearest is None else proved(nearest),
    )


def trim_of(plans: Sequence[Plan]) -> float:
    """Return the trim of all plans together [mm]."""
    return math.fsum(plan.stock.trim_a + plan.stock.trim_b for plan in plans if plan.stock is not None)


def nearest_of(plans: Sequence[Plan]) -> float | None:
    """Return the smallest clearance of all plans [mm], a lower bound; None where none was measured."""
    return min((plan.smallest_clearance for plan in plans if plan.smallest_clearance is not None), default=None)


def least_said(smallest: bool, changes: int) -> Fact:
    """Return whether less would do, of one change or of two."""
    if changes > 1:
        return fact("less-of-either-is-too-little" if smallest else "least-found-of-both")
    return fact("less-is-too-little" if smallest else "least-found")


def _figure(mm: float, of: Callable[[float, int], Quantity] = length) -> Quantity:
    """Return a length to a tenth [mm], a size that is finer than that as it is, but no finer than a hundredth."""
    return of(mm, 1 if abs(mm - round(mm, 1)) < ALIKE_IN_HUNDREDTHS else 2)
