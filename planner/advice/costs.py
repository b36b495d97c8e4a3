"""What a change is and what it costs, on the drawing or at the machine, in a sentence with numbers and units."""

from __future__ import annotations

import math
from collections.abc import Sequence

from planner.advice.changed import Job, shortest_clamp, tooling_of
from planner.plans.document import ChangeKind, Plan
from planner.tolerances import ALIKE_IN_HUNDREDTHS
from planner.words import at_least, counted


def told(job: Job, kind: ChangeKind, where: str, amount: int) -> str:
    """Return a change of so many millimetres in a sentence, with what is there now and what it costs."""
    part, machine = job.part, job.machine
    if kind == "trim":
        stated = part.trim_a if where == "end A" else part.trim_b
        assert stated is not None  # offered only then
        now = stated
        return (
            f"Trim at {where} of {_mm(now + amount)} instead of {_mm(now)}: {_mm(amount)} more tube a part, cut off"
            f" after the last bend."
        )
    if kind == "clearance":
        now = machine.clearance.required
        return (
            f"A clearance of {_mm(now - amount)} to machine and floor instead of {_mm(now)}: sag and a crooked set-up"
            f" have {_mm(amount)} less to use up, so make the first part slowly."
        )
    if kind == "carriage travel":
        return _travel(job, where, amount)
    if kind == "rod":
        assert machine.mandrel is not None  # offered only then
        now = machine.mandrel.rod_length
        return f"A mandrel rod of {_mm(now + amount)} instead of {_mm(now)}: a rod {_mm(amount)} longer to put in."
    if kind == "pressure die":
        now = min(tooling.pressure_die_length for tooling in tooling_of(job))
        return f"A pressure die of {_mm(now + amount)} instead of {_mm(now)}: one {_mm(amount)} longer to make."
    if kind == "clamp":
        now = shortest_clamp(job)
        return (
            f"A clamp die of {_mm(now - amount)}, {_mm(amount)} shorter than the shortest there is ({_mm(now)}), and a"
            f" grip no longer than that: one clamp die to make, which holds less, so watch for slipping."
        )
    if kind == "machine raised":
        now = machine.head.centreline_height
        return (
            f"A pit {_mm(amount)} deep where the tube swings, or the machine and the solids of its profile raised by as"
            f" much: the centreline {_mm(now + amount)} over the floor instead of {_mm(now)}."
        )
    now = float(part.straights[int(where.split()[1])])
    return f"{where.capitalize()} longer by {_mm(amount)}: {_mm(now + amount)} on the drawing instead of {_mm(now)}."


def _travel(job: Job, where: str, amount: int) -> str:
    carriage = job.machine.carriage
    assert carriage is not None  # offered only then
    closest, farthest = carriage.reach
    if where == "farthest":
        return (
            f"A carriage that runs back to {_mm(farthest + amount)} from the tangent point instead of {_mm(farthest)}:"
            f" {_mm(amount)} more travel, a longer bed."
        )
    return (
        f"A collet that comes to {_mm(closest - amount)} from the tangent point instead of {_mm(closest)}:"
        f" {_mm(amount)} more travel, a longer nose on the collet or another stop of the carriage."
    )


def told_of_machine(name: str, plan: Plan) -> str:
    """Return another machine in a sentence."""
    tube = "" if plan.stock is None else f", with tubes cut to {_mm(plan.stock.cut_length)}"
    return f'The machine "{name}" instead: its own tooling to set up{tube}.'


def told_of_joint(straight: int, place: float, rotation: float, plans: Sequence[Plan]) -> str:
    """Return two pieces in a sentence; place [mm] behind the bend before it, rotation [deg] over the joint."""
    cut = [plan.stock.cut_length for plan in plans if plan.stock is not None]
    lengths = " and ".join(_mm(length) for length in cut)
    return (
        f"Two pieces, joined on straight {straight}, {_mm(place)} from bend {straight}: tubes cut to {lengths}, and one"
        f" joint to make, at a rotation of {rotation:.1f}° over it."
    )


def result(plans: Sequence[Plan]) -> str:
    """Return what planning with the change made has given, in words."""
    reclamps = sum(plan.reclamps or 0 for plan in plans)
    said = f"{counted(reclamps, 're-clamp')} and {_mm(trim_of(plans))} of trim"
    nearest = nearest_of(plans)
    if nearest is not None:
        said += f", the smallest clearance {at_least(nearest)}"
    return f"Planned again so, it takes {said}."


def trim_of(plans: Sequence[Plan]) -> float:
    """Return the trim of all plans together [mm]."""
    return math.fsum(plan.stock.trim_a + plan.stock.trim_b for plan in plans if plan.stock is not None)


def nearest_of(plans: Sequence[Plan]) -> float | None:
    """Return the smallest clearance of all plans [mm], a lower bound; None where none was measured."""
    return min((plan.smallest_clearance for plan in plans if plan.smallest_clearance is not None), default=None)


def least_said(smallest: bool, changes: int) -> str:
    """Say whether less would do, of one change or of two."""
    if changes > 1:
        less = "With the other one made, every smaller whole millimetre of either is proved too little."
        return less if smallest else "They are the smallest that were found."
    return "Every smaller whole millimetre is proved too little." if smallest else "It is the smallest that was found."


def _mm(value: float) -> str:
    """Return a length to a tenth [mm], a size that is finer than that as it is, but no finer than a hundredth."""
    return f"{value:.1f} mm" if abs(value - round(value, 1)) < ALIKE_IN_HUNDREDTHS else f"{value:.2f} mm"
