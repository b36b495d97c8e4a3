"""Other plans in the document: what each is better in, in one sentence."""

from __future__ import annotations

import math

from planner.plans.document import Alternative
from planner.plans.reasons import ordered
from planner.plans.steps import StepList
from planner.search.alternatives import MORE_RECLAMPS, MOST_RUNGS, Way


def alternative(way: Way) -> Alternative:
    """Return another plan as the document writes it."""
    trial, value = way.plan.trial, way.plan.value
    order = ordered(trial.stationed.ready.order)
    time = round(math.fsum(step.time for step in StepList(trial, {}).write()), 3)
    said = " ".join(f"{entry.bend}{entry.leads}" for entry in order)
    reclamps = "1 re-clamp" if value.reclamps == 1 else f"{value.reclamps} re-clamps"
    more = f"With {value.unasked:g} mm more stock a part, sawn off afterwards: " if value.unasked else ""
    sentence = (
        f"{more}{reclamps}, {value.trim:g} mm of trim, {time:.0f} s,"
        f" smallest clearance {math.floor(way.clearance * 10.0) / 10.0:.1f} mm: {said} (bend and leading end)."
    )
    return Alternative(
        sentence=sentence,
        reclamps=value.reclamps,
        trim=value.trim,
        time=time,
        smallest_clearance=round(way.clearance, 3),
        order=order,
    )


def looked_at(found: int, to_the_end: bool) -> str:
    """Say how far other plans were looked for."""
    said = (
        f"Other ways: {found} found that are better in something; only plans with up to {MORE_RECLAMPS} re-clamps more"
        f" were looked at, and for each trim no more than {MOST_RUNGS}."
    )
    return said if to_the_end else f"{said} They were not sought to the end: the time limit came first."
