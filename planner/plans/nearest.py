"""Where a motion comes nearest to something, as the document writes it: where on the tube, and how all then stands."""

from __future__ import annotations

import math
from typing import Any

from planner.clearance.certify import Least
from planner.clearance.verdicts import Witness
from planner.feasibility.stations import Station, Stationed
from planner.plans.document import NearestAt
from planner.plans.readings import position
from planner.tolerances import PLACE_DECIMALS, REPORT_CEILING
from planner.tube.bodies import Motion


def nearest(stationed: Stationed, st: Station, motion: Motion, chuck: float, least: Least) -> dict[str, Any]:
    """Return the fields of a step that say how near its motion comes to what; chuck: where it stands [rad]."""
    if least.bound >= REPORT_CEILING or least.witness is None:
        return {"clearance": REPORT_CEILING}
    number = next(n for n, stations in enumerate(stationed.loads) if st in stations)
    place, t = _on_the_tube(stationed, number, motion, least.witness)
    leads, length = stationed.ready.order[number].leads, stationed.as_built.developed_length
    from_a = place if leads == "A" else length - place
    where = position(motion, chuck, t)
    return {
        "clearance": math.floor(least.bound * 1000.0) / 1000.0,  # a lower bound is never rounded up
        "nearest": least.witness.solid,
        "nearest_at": NearestAt(place=round(from_a, PLACE_DECIMALS), **where.model_dump()),
    }


def _on_the_tube(stationed: Stationed, number: int, motion: Motion, witness: Witness) -> tuple[float, float]:
    """Return where on the tube, from its leading end [mm], and when in a motion it is nearest.

    Tube that is drawn out counts as if it reached back to the tangent point for ever. Where its end has passed the
    place already, it is the end that came by there before.
    """
    end = stationed.ready.loads[number].loaded.stock_behind_zero
    past, way = witness.place - end, motion.y[1] - motion.y[0]
    if past <= 0.0 or way == 0.0:
        return min(witness.place, end), witness.t
    return end, min(max(witness.t - past / way, 0.0), 1.0)
