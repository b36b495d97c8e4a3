"""From the end of one bend to the start of the next along the plain paths, in the order of the time they take.

Advance then rotate, rotate then advance, part – rotate – rest, both ways round; then past the goal and back where the
carriage may go back. A rotation needs the arc just formed off the mandrel's nose; whether it is out of the groove is
for the clearance to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from planner.feasibility.stations import settable
from planner.inputs.machine import Machine
from planner.tolerances import CHUCK_SLACK, NO_LENGTH

PAST_GOAL = (20.0, 50.0, 100.0, 200.0, 400.0)
"""How far past the goal a rotation is tried [mm]."""

PARTS = (0.5, 0.25, 0.75)
"""Where between start and goal a rotation is tried, as shares of the way."""


@dataclass(frozen=True)
class Leg:
    """One leg: advance from `start` to `end` [mm] at a roll `at` [rad], or rotate [rad] at an advance `at` [mm]."""

    kind: Literal["advance", "rotate"]
    start: float
    end: float
    at: float
    turned_before: bool


@dataclass(frozen=True)
class PlainPath:
    """Legs and the time they take [s]."""

    legs: tuple[Leg, ...]
    time: float

    @property
    def roll(self) -> float:
        """Total rotation, signed [rad]."""
        return sum(leg.end - leg.start for leg in self.legs if leg.kind == "rotate")


def plain_paths(
    machine: Machine,
    start: float,
    goal: float,
    rolls: tuple[float, ...],
    least: float,
    farthest_forward: float,
    shown_at_zero: float = 0.0,
) -> Iterator[PlainPath]:
    """Yield the plain paths from an advance of `start` to `goal` [mm] with one of `rolls` [rad], fastest first.

    rolls: the ways round that the chuck allows, signed, the shorter first; least: from which advance on the tube may be
    rotated [mm]; farthest_forward: the greatest advance the carriage can make [mm]; shown_at_zero: what the
    readout shows at an advance of 0 [mm], so that every place can be set on it.
    """
    if all(abs(roll) < machine.rotation.resolution / 2.0 for roll in rolls):
        yield timed(machine, [_advance(start, goal, 0.0, False)])
        return
    found = []
    for signed in rolls:
        for y in _places(machine, start, goal, least, farthest_forward, shown_at_zero):
            legs = [
                _advance(start, y, 0.0, False),
                Leg("rotate", 0.0, signed, y, False),
                _advance(y, goal, signed, True),
            ]
            found.append(timed(machine, legs))
    yield from sorted(found, key=lambda path: round(path.time, 6))


def _places(machine: Machine, start: float, goal: float, least: float, farthest: float, zero: float) -> list[float]:
    """Return the advances at which a rotation is tried, the plain ones first [mm]."""
    step = machine.advance.resolution
    places = [goal, start, *(settable(start + share * (goal - start), step, zero) for share in PARTS)]
    back = machine.carriage is None or machine.carriage.may_go_back
    if back:
        places.extend(settable(goal + more, step, zero) for more in PAST_GOAL)
        places.append(settable(least + step, step, zero))
    unique = dict.fromkeys(
        y for y in places if start - NO_LENGTH <= y <= farthest + NO_LENGTH and y >= least - NO_LENGTH
    )
    return [y for y in unique if back or y <= goal + NO_LENGTH]


def _advance(start: float, end: float, roll: float, turned_before: bool) -> Leg:
    return Leg("advance", start, end, roll, turned_before)


def timed(machine: Machine, legs: list[Leg]) -> PlainPath:
    """Return a path with the time that its legs take; legs of no way are left out."""
    kept = tuple(leg for leg in legs if abs(leg.end - leg.start) > (CHUCK_SLACK if leg.kind == "rotate" else NO_LENGTH))
    speeds = {"advance": machine.speeds.advance, "rotate": machine.speeds.rotate}
    return PlainPath(kept, sum(abs(leg.end - leg.start) / speeds[leg.kind] for leg in kept))
