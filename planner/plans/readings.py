"""Where everything stands, and what the readouts show there, as the document writes it [mm, deg]."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planner.feasibility.stations import Station, Stationed, shown
from planner.inputs.machine import Machine
from planner.plans.document import Position
from planner.tolerances import PLACE_DECIMALS
from planner.tube.bodies import Motion


@dataclass(frozen=True)
class Now:
    """Chuck angle since the load [rad], clamp and bend radius in the machine [mm], grip from the tail end [mm].

    begun: the clamp with which the pass over the batch began [mm].
    """

    chuck: float = 0.0
    clamp: float | None = None
    radius: float | None = None
    grip: float | None = None
    begun: float | None = None


def degrees(angle: float) -> float:
    """Return an angle in degrees as the document writes it."""
    return round(math.degrees(angle), PLACE_DECIMALS)


def position(motion: Motion, chuck: float, t: float) -> Position:
    """Return where everything stands at t of a motion [mm, deg]."""

    def at(pair: tuple[float, float]) -> float:
        return pair[0] + t * (pair[1] - pair[0])

    roll = chuck + at(motion.rotation)
    return Position(
        y=round(at(motion.y), PLACE_DECIMALS),
        rotation=degrees(roll),
        arm=degrees(at(motion.arm)),
        face=None if motion.face is None else round(at(motion.face), PLACE_DECIMALS),
    )


def advance_reading(stationed: Stationed, number: int, st: Station, y: float, eased: bool = False) -> float | None:
    """Return what the advance readout shows at an advance of y from the place before a bend, or after it (eased).

    number: of the load.
    """
    machine = stationed.ready.case.machine
    if machine.advance.zeroed:
        return round(y, PLACE_DECIMALS)
    load = stationed.ready.loads[number]
    at = (st.end if eased else st.start - st.advance) + y
    holding = st.bend
    if eased and st.regrip is not None:  # the collet holds for the next bend already
        holding = load.bends[load.bends.index(st.bend) + 1]
    grip = next((g for g in load.grips if holding in g.bends), None)
    value = shown(machine, grip, at, load.loaded.trim_lead)
    falling = machine.advance.absolute_zero == "collet at closest" and grip is not None
    return round(-value if falling else value, PLACE_DECIMALS)


def dial_reading(machine: Machine, chuck: float, roll: float) -> float:
    """Return what the dial shows after a rotation to `roll` from the end of the bend before; chuck: then [rad]."""
    dial = machine.rotation
    value = math.degrees(roll if dial.zeroed else chuck + roll) * (1.0 if dial.counts == "clockwise" else -1.0)
    if dial.style == "0-360":
        value = round(value % 360.0, PLACE_DECIMALS) % 360.0
    elif dial.range == "continuous":
        value = 180.0 - (180.0 - value) % 360.0
    return round(value, PLACE_DECIMALS) + 0.0
