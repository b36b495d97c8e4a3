"""The whole flow on one page: part and machine → orders that a person would try → a checked plan."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import dataclass

from planner.clearance.certify import Least, smallest_clearances
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.inputs.springback import setting_for
from planner.plans import cautions
from planner.plans.document import Plan, Proved, Reason, Stock
from planner.plans.reasons import from_broken, from_failure, ordered
from planner.plans.steps import StepList
from planner.rules.bending import rated_capacity
from planner.rules.broken import Broken
from planner.search.estimate import least_time
from planner.search.impossible import broken_in_every_order
from planner.search.orders import Case, Ready, orders_to_try, prepare
from planner.search.stations import Station, Unkeepable, station
from planner.search.trial import Trial, try_order
from planner.tolerances import SELF_MARGIN

NOT_CHECKED = (
    "Loading, turning end for end and unloading are not checked yet: do them by hand and by eye.",
    "The die's straight grip section under the clamp is not modelled; add it to the profile if the tube may meet it.",
)


def plan(part: Part, machine: Machine) -> Plan:
    """Plan a part on a machine, trying the orders that a person would.

    Straight through from A, from B, and from each bend outward with one turn; the best of them that is proved clear in
    every motion between load and unload is the plan, by re-clamps, then trim, then handling time. "Not makeable" only
    where a shop rule is broken in every order; where merely the tried orders fail the verdict is "undecided".

    Raises NoTooling if the machine has no tooling for the tube and one of its radii, SelfCrossing if the finished tube
    runs through itself.
    """
    case, warnings = _case(part, machine)
    known = _Known(case, tuple(warnings))
    impossible = broken_in_every_order(case)
    if impossible:
        return known.not_makeable(impossible)
    best, reasons = _best_trial(case, _surroundings(case))
    if best is None:
        return known.undecided(reasons)
    return known.makeable(best, reasons, _surroundings(case))


def _case(part: Part, machine: Machine) -> tuple[Case, list[str]]:
    """Return tooling and settings for each bend, and what there is to warn of."""
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    settings = [
        setting_for(float(angle), machine, part, float(radius))
        for angle, radius in zip(part.angles, part.radii, strict=True)
    ]
    warnings = [*NOT_CHECKED, *(s.warning for s in settings if s.warning is not None)]
    if len(set(tooling)) > 1:
        warnings.append("The bends have different radii: the dies are changed between them, which is not checked.")
    rating = rated_capacity(machine, part)
    if isinstance(rating, str):
        warnings.append(rating)
    return Case(part, machine, tooling, tuple(s.value for s in settings)), list(dict.fromkeys(warnings))


def _surroundings(case: Case) -> Callable[[Station], Surroundings]:
    """Return what gives a bend's surroundings: built once a tooling."""
    gap = self_gap(case.part).gap
    to_itself = min(case.machine.clearance.to_itself, max(gap - SELF_MARGIN, 0.0))
    built = {
        tooling: Surroundings.of(case.machine, tooling, case.part.radius, to_itself) for tooling in set(case.tooling)
    }
    return lambda st: built[case.tooling[st.number - 1]]


def _best_trial(case: Case, around: Callable[[Station], Surroundings]) -> tuple[Trial | None, list[Reason]]:
    """Try the orders, the most promising first, and return the best that is clear, with why the others are not.

    Stops once no order left can be better: their re-clamps and trim are known, their time is bounded below.
    """
    reasons: list[Reason] = []
    ready: list[tuple[int, float, float, int, Ready]] = []
    for place, order in enumerate(orders_to_try(case.part.n_bends)):
        found = prepare(case, order)
        if isinstance(found, Ready):
            trim = found.trim_a + found.trim_b
            ready.append((found.reclamps, trim, round(least_time(found), 6), place, found))
        else:
            reasons.extend(from_broken(broken, order) for broken in found[:1])
    best: tuple[tuple[int, float, float], Trial] | None = None
    for reclamps, trim, time, _, order_ready in sorted(ready, key=lambda entry: entry[:4]):
        if best is not None and (reclamps, trim, time) >= best[0]:
            break
        outcome = _tried(order_ready, around)
        if isinstance(outcome, Reason):
            reasons.append(outcome)
        elif outcome.loads is None:
            reasons.append(from_failure(outcome, outcome.failures[0]))
        else:
            key = (reclamps, trim, round(least_time(order_ready, outcome), 6))
            if best is None or key < best[0]:
                best = (key, outcome)
    return (None if best is None else best[1]), reasons


def _tried(ready: Ready, around: Callable[[Station], Surroundings]) -> Trial | Reason:
    try:
        stationed = station(ready)
    except Unkeepable as unkeepable:
        return from_broken(unkeepable.broken, ready.order)
    return try_order(stationed, around)


@dataclass(frozen=True)
class _Known:
    """What every plan of a case says, whatever the verdict."""

    case: Case
    warnings: tuple[str, ...]

    def _plan(self, **fields: object) -> Plan:
        part, machine = self.case.part, self.case.machine
        return Plan.model_validate(
            {
                "fingerprint": fingerprint(part, machine),
                "part": part.normalised(),
                "machine": machine.normalised(),
                "warnings": self.warnings,
                "cautions": cautions.GENERAL,
                "hangs_on": hangs_on(self.case),
                "rotation_sign": part.rotation_sign,
                **fields,
            }
        )

    def not_makeable(self, broken: list[Broken]) -> Plan:
        """Return the plan document of a part that breaks a rule in every order."""
        return self._plan(
            verdict="not makeable",
            proved=Proved(makeable=True, reclamps=False, trim=False, time=False),
            reasons=tuple(from_broken(b) for b in broken),
        )

    def undecided(self, reasons: list[Reason]) -> Plan:
        """Return the plan document of a part of which only the tried orders are known to fail."""
        return self._plan(
            verdict="undecided",
            undecided_because="orders not tried",
            reasons=tuple(reasons),
            proved=Proved(makeable=False, reclamps=False, trim=False, time=False),
        )

    def makeable(self, trial: Trial, reasons: list[Reason], around: Callable[[Station], Surroundings]) -> Plan:
        """Return the plan document of an order that was carried out."""
        ready = trial.stationed.ready
        steps = StepList(trial, _least(trial, around)).write()
        clear = [step.clearance for step in steps if step.clearance is not None]
        part = self.case.part
        stock = Stock(
            cut_length=round(part.developed_length + ready.trim_a + ready.trim_b, 6),
            developed_length=round(part.developed_length, 6),
            trim_a=ready.trim_a,
            trim_b=ready.trim_b,
        )
        # Loads are not checked yet, so even a good plan is not proved from the first touch to the last. That there
        # can be no fewer re-clamps than none, and no less trim than none, needs no search.
        none = ready.reclamps == 0
        proved = Proved(makeable=False, reclamps=none, trim=none and stock.trim_a + stock.trim_b == 0.0, time=False)
        return self._plan(
            verdict="makeable",
            proved=proved,
            reclamps=ready.reclamps,
            turns=ready.turns,
            regrips=ready.regrips,
            reloads=0,
            released=ready.released,
            time=round(math.fsum(step.time for step in steps), 3),
            smallest_clearance=min(clear, default=None),
            stock=stock,
            order=ordered(ready.order),
            steps=steps,
            reasons=tuple(reasons),
        )


def _least(trial: Trial, around: Callable[[Station], Surroundings]) -> dict[int, Least]:
    """Return the proved smallest clearance of every motion of the plan, by the motion's identity."""
    assert trial.loads is not None  # asked only of orders carried out
    found: dict[int, Least] = {}
    done = [bend for load in trial.loads for bend in load]
    for surroundings in dict.fromkeys(around(bend.station) for bend in done):
        batch = [
            (motion, bend.clamp)
            for bend in done
            if around(bend.station) is surroundings
            for motion in (*bend.placing, *bend.gripping, *bend.returning)
        ]
        rows = rows_of([motion for motion, _ in batch], surroundings, [(clamp,) for _, clamp in batch])
        found.update({id(motion): least for (motion, _), least in zip(batch, smallest_clearances(rows), strict=True)})
    return found


def hangs_on(case: Case) -> tuple[str, ...]:
    """Return the names of the solids that the verdict hangs on, without repeats."""
    names = ["floor", *(solid.name for solid in case.machine.solid), "bend die", "clamp die", "pressure die"]
    if any(tooling.wiper_block is not None for tooling in case.tooling):
        names.append("wiper die")
    if any(tooling.die_hub is not None for tooling in case.tooling):
        names.append("die hub")
    return tuple(dict.fromkeys(names))


def fingerprint(part: Part, machine: Machine) -> str:
    """Return the SHA-256 of the normalised inputs, hexadecimal."""
    text = json.dumps({"part": part.normalised(), "machine": machine.normalised()}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
