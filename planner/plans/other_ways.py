"""Other plans in the document: what each is better in."""

from __future__ import annotations

import math

from planner.facts import Fact, Quantity, fact, proved, six_digits
from planner.plans.document import Alternative
from planner.plans.reasons import ordered
from planner.plans.steps import StepList
from planner.search.alternatives import MORE_RECLAMPS, MOST_RUNGS, Way
from planner.wording.say import say


def alternative(way: Way) -> Alternative:
    """Return another plan as the document writes it."""
    trial, value = way.plan.trial, way.plan.value
    order = ordered(trial.stationed.ready.order)
    time = round(math.fsum(step.time for step in StepList(trial, {}).write()), 3)
    said = fact(
        "other-way",
        stock=six_digits(value.unasked) if value.unasked else None,
        reclamps=value.reclamps,
        trim=six_digits(value.trim),
        time=Quantity(round(time), "s", "nearest", 0),
        clearance=proved(way.clearance),
        order=" ".join(f"{entry.bend}{entry.leads}" for entry in order),
    )
    return Alternative(
        sentence=say(said),
        fact=said,
        reclamps=value.reclamps,
        trim=value.trim,
        time=time,
        smallest_clearance=round(way.clearance, 3),
        order=order,
    )


def looked_at(found: int, to_the_end: bool) -> Fact:
    """Return how far other plans were looked for."""
    unfinished = None if to_the_end else fact("not-to-the-end")
    return fact("other-ways", found=found, most=MORE_RECLAMPS, rungs=MOST_RUNGS, unfinished=unfinished)
