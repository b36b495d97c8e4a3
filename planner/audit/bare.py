"""A bare tube on its straight way to its first bend, along the feed's axis."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from planner.audit.bench import State
from planner.audit.material import FIRST, TAIL, Points
from planner.audit.refused import Refused
from planner.audit.strikes import Witness, look_in_place, solid_in_place
from planner.audit.walls import Counts, must_strike, strikes_in
from planner.tolerances import CLEAR_OF_NOSE, PROVED_ANGLE


def bare(state: State, record: Mapping[str, Any], shortest: float, trim_met: float, counts: Counts) -> None:
    """Confirm that a bare tube strikes on its way to the bend, or there.

    A bare tube looks the same all along: what counts is where on the feed's axis its surface is too near, x. At the
    bend's start the tube lies from its tail to its leading end, and on a mandrel it comes from in front, so that its
    leading end passes everything up to its whole length and a little more.
    A witness says its advance from where the tube was pushed in flush, with its leading end at the tangent point
    (`trim_met`: the trim there [mm]), or from the bend's start: one of the two has to strike.
    """
    witnesses = strikes_in(record)
    if not witnesses:
        raise Refused("a wall of a bare tube shows no strike.")
    for witness in witnesses:
        found = [
            _deep(state, witness, tangent_u + witness.advance - witness.place, shortest)
            for tangent_u in (state.here.start, -trim_met)
        ]
        must_strike([witness], np.array([max(found)]), counts)


def _deep(state: State, witness: Witness, x: float, shortest: float) -> float:
    """Return how deep the tube is where it lies on the feed's axis at x [mm]."""
    if witness.phase != "place" or abs(witness.arm) > PROVED_ANGLE or witness.slides:
        raise Refused(f"a witness of a bare tube that is put on is none: {witness}.")
    front, back = state.here.start + state.trim_lead, state.here.start - state.stock
    mandrel = state.bench.machine.mandrel
    passed = front if mandrel is None else max(front, front - back + state.reach + CLEAR_OF_NOSE)
    tail = x < 0.0
    one = np.ones(1)
    points = Points(
        x=np.array([[x], [0.0], [0.0]]),
        along=np.array([[-1.0 if tail else 1.0], [0.0], [0.0]]),
        role=np.array([TAIL if tail else FIRST]),
        curvature=0.0 * one,
        before=abs(x) * one,
        beyond=(x - back if tail else passed - x) * one,
        exists=np.array([back <= x <= passed]),
        ahead=max(x, front) * one,
    )
    solid = solid_in_place(state, witness.solid, witness.clamp, shortest)
    found = look_in_place(state, state.laid_in, solid, 1).deep(points, 0.0 * one)
    return float(found[0]) if math.isfinite(x) else -math.inf
