"""Ways home through the plane of arm and advance where no closed form goes: arm and tube take turns.

The arm only goes home and the tube only forward, so that a way is a staircase through the places of the plane in which
the tube is free. The plane is sampled; what comes out are proposals, certified leg by leg like the others.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from planner.clearance.surroundings import Surroundings
from planner.feasibility.bend_check import BendCheck, leaving_of
from planner.feasibility.home_plane import Passing
from planner.feasibility.homing import HomeLeg, WayHome
from planner.inputs.machine import Machine
from planner.tolerances import ARM_STEP, NEED_BAND, NO_LENGTH, STRIKE_MARGIN
from planner.tube.frames import Array, Flags

KEPT = NEED_BAND - STRIKE_MARGIN
"""A tube that lies no deeper than this in what counts as a strike keeps what counts as kept [mm]."""


SPARES = (-0.9, -0.4, KEPT)
"""Ways are sought where the tube keeps so much more first, then where it keeps just enough [mm]."""


class Grid(NamedTuple):
    """How finely the plane is sampled: angles of the arm besides the setting; advances, `step` apart and at most `most`
    of them; points along the tube, `along` apart [mm].
    """

    arms: int
    step: float
    most: int
    along: float


GRIDS = (Grid(16, 5.0, 80, 10.0), Grid(32, 1.0, 200, 4.0))
"""One after the other, until a way through is found: the finer one for gaps of a few millimetres."""

NEAR_EDGE = 16
"""So many advances at either edge of what is reached are looked at with the next angle of the arm."""

AT_ONCE = 16
"""Advances that are looked at together where the tube is run on."""

OFF = 20
"""Advances beyond those, up to where the tube is off."""

MOST_ENDS = 3
"""Places where ways end."""

MOST_LEGS = 6
"""Arm and tube take turns no oftener: nobody would set up more."""


Corners = tuple[tuple[int, float], ...]
"""Numbers of clamps, each with an angle of the arm [rad]."""


@dataclass(frozen=True)
class Through:
    """Proposals for a way home; shut_at: where none was found, the number of the clamp and the first angle of the arm
    at which no place that is reached is free [rad].
    """

    ways: tuple[WayHome, ...]
    shut_at: Corners


def ways_through(machine: Machine, attempt: BendCheck, around: Surroundings, grid: Grid) -> Through:
    """Return what is found with the collet closed and by hand, with each clamp that holds in the bend."""
    settable = leaving_of(machine, attempt).settable
    ways, shut_at = list[WayHome](), list[tuple[int, float]]()
    for clamp in attempt.fitting:
        for off in dict.fromkeys((None, attempt.off)):
            by_hand = off is not None
            if not by_hand and (not machine.head.may_ease_off or attempt.room <= 0.0):
                continue
            found, shut = _ways(attempt, around, clamp, grid, off)
            ways += found if by_hand else [_as_shown(way, settable) for way in found]
            shut_at += [] if shut is None else [(clamp, shut)]
    return Through(tuple(dict.fromkeys(ways)), tuple(dict.fromkeys(shut_at)))


def _ways(
    attempt: BendCheck, around: Surroundings, clamp: int, grid: Grid, off: float | None
) -> tuple[list[WayHome], float | None]:
    """Return the ways with the collet closed, or by hand to where the tube is off [mm], and where the arm is shut."""
    most = attempt.room if off is None else off
    advances = np.arange(0.0, min(most, grid.step * grid.most) + NO_LENGTH, grid.step)
    if off is not None and advances[-1] < off:
        advances = np.append(advances, np.linspace(advances[-1], off, OFF + 1)[1:])
    arms = np.round(np.linspace(attempt.station.setting, 0.0, grid.arms + 1) / ARM_STEP) * ARM_STEP
    arms[0] = attempt.station.setting
    depth = _explored(attempt, around, clamp, arms, advances, grid)
    goals = [(_along(depth, 0, -1), False)] + ([] if off is None else [(_along(depth, 1, -1), True)])
    ways = [
        WayHome(legs, off is not None, drawn)
        for goal, drawn in goals
        for kept in SPARES
        for legs in _staircases(depth <= kept, depth, goal, arms, advances)
    ]
    reached = (depth <= KEPT).any(axis=1)
    return ways, None if reached.all() else float(arms[int(reached.argmin())])


def _explored(attempt: BendCheck, around: Surroundings, clamp: int, arms: Array, advances: Array, grid: Grid) -> Array:
    """Return how deep the tube lies at each arm and advance that is reached (A, Y) [mm], infinite elsewhere."""
    depth = np.full((arms.size, advances.size), math.inf)
    begun = np.zeros(1, dtype=np.int64)
    for k, arm in enumerate(arms):
        passing = Passing(attempt, around, clamp, float(arm), float(advances[-1]), rounded=True)
        looked = np.concatenate((begun[:NEAR_EDGE], begun[max(begun.size - NEAR_EDGE, NEAR_EDGE) :]))
        depth[k, begun] = SPARES[0]  # in the middle of a wide stretch it is taken to be free still
        depth[k, looked] = passing.at(advances[looked], grid.along).deepest
        if k == 0:
            depth[0, 0] = -math.inf  # where the bend has left it
        for j in begun:
            if depth[k, j] <= KEPT and (j + 1 == advances.size or depth[k, j + 1] == math.inf):
                _run_on(passing, depth[k], advances, int(j), grid.along)
        begun = np.flatnonzero(depth[k] <= KEPT)
        if not begun.size:
            break
    return depth


def _run_on(passing: Passing, depth: Array, advances: Array, begun: int, along: float) -> None:
    """Fill in how deep the tube lies at the advances (Y,) that are reached by running it on from one of them [mm]."""
    while begun + 1 < advances.size and depth[begun + 1] == math.inf:
        ahead = np.arange(begun + 1, min(begun + 1 + AT_ONCE, advances.size))
        found = passing.at(advances[ahead], along).deepest
        shut = np.flatnonzero(found > KEPT)
        ahead = ahead[: int(shut[0]) + 1] if shut.size else ahead
        depth[ahead] = np.minimum(depth[ahead], found[: ahead.size])
        if shut.size:
            return
        begun = int(ahead[-1])


def _along(depth: Array, axis: int, at: int) -> Flags:
    """Return the places with one index along an axis."""
    found = np.zeros(depth.shape, dtype=bool)
    found[(slice(None),) * axis + (at,)] = True
    return found


def _staircases(free: Flags, depth: Array, goal: Flags, arms: Array, advances: Array) -> list[tuple[HomeLeg, ...]]:
    """Return ways of the fewest legs through free places to some goals, spread over those that there are.

    Legs take turns; the tube goes first, or the arm.
    """
    best = list[tuple[HomeLeg, ...]]()
    for first in (1, 0):
        begun = np.zeros_like(free)
        begun[0, 0] = True
        reached = [begun]
        while not (reached[-1] & goal).any() and len(reached) <= MOST_LEGS:
            reached.append(_run(reached[-1], free, (first + len(reached) - 1) % 2))
        if (reached[-1] & goal).any():
            ends = np.argwhere(reached[-1] & goal)
            ends = ends[np.unique(np.linspace(0, len(ends) - 1, MOST_ENDS).round().astype(np.int64))]
            found = [_walked_back(free, depth, reached, (int(k), int(j)), first, arms, advances) for k, j in ends]
            best = found if not best or len(found[0]) < len(best[0]) else best
    return best


def _run(begun: Flags, free: Flags, axis: int) -> Flags:
    """Return the places reached from some by running on through free ones, along the arm's axis 0 or the tube's 1."""
    found, through = np.moveaxis(begun.copy(), axis, 0), np.moveaxis(free, axis, 0)
    for k in range(1, found.shape[0]):
        found[k] |= found[k - 1] & through[k]
    return np.moveaxis(found, 0, axis)


def _walked_back(
    free: Flags, depth: Array, reached: list[Flags], at: tuple[int, int], first: int, arms: Array, advances: Array
) -> tuple[HomeLeg, ...]:
    """Return the legs that lead to a place: each turn where the tube is farthest from all."""
    legs: list[HomeLeg] = []
    for number in range(len(reached) - 2, -1, -1):
        axis = (first + number) % 2
        before = _turn(free, depth, reached[number], at, axis)
        if before != at:
            arm = (float(arms[before[0]]), float(arms[at[0]]))
            legs.insert(0, HomeLeg(arm, (float(advances[before[1]]), float(advances[at[1]]))))
        at = before
    return tuple(legs)


def _turn(free: Flags, depth: Array, begun: Flags, at: tuple[int, int], axis: int) -> tuple[int, int]:
    """Return the place from which a leg has run to another through free ones, where the tube is farthest from all."""
    line = np.moveaxis(depth, axis, 0)[: at[axis] + 1, at[1 - axis]]
    started = np.moveaxis(begun, axis, 0)[: at[axis] + 1, at[1 - axis]]
    shut = np.flatnonzero(~np.moveaxis(free, axis, 0)[: at[axis] + 1, at[1 - axis]])
    low = int(shut[-1]) + 1 if shut.size else 0
    k = low + int(np.where(started[low:], line[low:], math.inf).argmin())
    return (k, at[1]) if axis == 0 else (at[0], k)


def _as_shown(way: WayHome, settable: Callable[[float], float]) -> WayHome:
    """Return a way with its advances as the readout can show them."""
    legs = (replace(leg, y=(settable(leg.y[0]) if leg.y[0] else 0.0, settable(leg.y[1]))) for leg in way.legs)
    return replace(way, legs=tuple(legs))
