"""Which of a machine's solids run through each other, over the whole travel of each."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from planner.clearance.solids import Owner, Tool, toward
from planner.inputs.machine import Machine, Tooling
from planner.lookover.outline import Outline, Pose, apart, depth, shared_place
from planner.lookover.remarks import Remark
from planner.lookover.upright_bodies import ROD, Bodies, UprightBody, bodies_of, rod_beside
from planner.tolerances import TOUCHING
from planner.tube.frames import Array

STEP: Final = math.radians(0.25)
"""Angles of the arm that are looked at at first [rad]; the first overlap is then halved in."""

HALVINGS: Final = 24
"""A step so often halved is a hundred-millionth of a degree."""


@dataclass(frozen=True, eq=False)
class Meeting:
    """Two bodies that may meet: the first as it stands, the second in all places that it takes meanwhile."""

    one: UprightBody
    other: UprightBody


def running_through(machine: Machine) -> tuple[Remark, ...]:
    """Return a remark for each two solids that run through each other, with the tooling with which they do so first."""
    found: dict[tuple[str, str], Remark] = {}
    for tooling in machine.tooling:
        for remark in _with_tooling(machine, tooling):
            names = (remark.names[0], remark.names[1])
            if names not in found or _worse(remark, found[names]):
                found[names] = remark
    return tuple(found.values())


def _worse(one: Remark, other: Remark) -> bool:
    """Return whether solids meet at a smaller angle of the arm, or at the same one deeper."""
    return (one.angle or 0.0, -(one.depth or 0.0)) < (other.angle or 0.0, -(other.depth or 0.0))


def _with_tooling(machine: Machine, tooling: Tooling) -> Iterator[Remark]:
    """Yield every overlap with one tooling."""
    bodies = bodies_of(machine, tooling)
    swing = _swing(machine, tooling)
    for meeting in _turning(machine, tooling, bodies, swing):
        yield from _found(meeting, swing, tooling)
    still = Pose(np.zeros(1), swing.axis)
    for meeting in _standing(machine, tooling, bodies):
        yield from _found(meeting, still, tooling)
    yield from _floor(machine, bodies)


def _swing(machine: Machine, tooling: Tooling) -> Pose:
    """Return the arm's angles from home to the largest setting, about the axis of the die."""
    largest, side = machine.head.largest_angle, toward(machine)
    angles = np.linspace(0.0, largest, math.ceil(largest / STEP) + 1)
    return Pose(side * angles, (0.0, side * tooling.bend_radius))


def _turning(machine: Machine, tooling: Tooling, bodies: Bodies, swing: Pose) -> Iterator[Meeting]:
    """Yield what the arm may meet. Dies and what stands over them turn with it or in it."""
    ahead = tooling.bend_radius * np.abs(swing.angles)
    others = [*bodies.frame, *_travelled(machine, bodies), *_pressed(machine, tooling, bodies, ahead)]
    for arm in bodies.arm:
        yield from (Meeting(arm, other) for other in others)
        if bodies.rod is not None and not arm.built:  # clamp and section hold the tube that the rod lies in
            yield Meeting(arm, bodies.rod)


def _standing(machine: Machine, tooling: Tooling, bodies: Bodies) -> Iterator[Meeting]:
    """Yield what may meet besides the arm: parts of one mover are fitted together and not compared."""
    carriage = _travelled(machine, bodies)
    farthest = np.array([tooling.bend_radius * machine.head.largest_angle])
    pressure = _pressed(machine, tooling, bodies, farthest)
    for moved in (*carriage, *pressure):
        yield from (Meeting(moved, one) for one in (*bodies.frame, *bodies.dies))
    yield from (Meeting(one, other) for one in carriage for other in pressure)
    fitted = {Tool.WIPER.value, Tool.DIE.value}  # the wiper is cut to the die
    for one in bodies.frame:
        yield from (Meeting(one, die) for die in bodies.dies if not {one.name, die.name} <= fitted)
    yield from _rod_meetings(machine, bodies, carriage, pressure)


def _rod_meetings(
    machine: Machine, bodies: Bodies, carriage: tuple[UprightBody, ...], pressure: tuple[UprightBody, ...]
) -> Iterator[Meeting]:
    """Yield what the rod may meet: not its anchor, nor what closes around the tube that it lies in."""
    if bodies.rod is None or machine.mandrel is None:
        return
    around = [one for one in carriage if not _on_the_feed(one)]
    frame = [one for one in bodies.frame if not one.built and not _holds(one, -machine.mandrel.rod_length)]
    own = [one for one in pressure if not one.built]
    yield from (Meeting(bodies.rod, one) for one in (*frame, *own, *around))


def _on_the_feed(one: UprightBody) -> bool:
    """Return whether a body surrounds the feed's axis."""
    low, high = float(np.min(one.outline.y0)) - one.outline.edge, float(np.max(one.outline.y1)) + one.outline.edge
    return low <= 0.0 <= high and one.low <= 0.0 <= one.high


def _holds(one: UprightBody, x: float) -> bool:
    """Return whether a point of the feed's axis lies in a body that stands still."""
    return one.low <= 0.0 <= one.high and one.outline.covers(x, 0.0)


def _travelled(machine: Machine, bodies: Bodies) -> tuple[UprightBody, ...]:
    """Return the carriage's bodies over its whole reach; where it stands back is within that."""
    if machine.carriage is None:
        return ()
    closest, farthest = machine.carriage.reach
    return tuple(replace(one, outline=one.outline.travelled(x=(-farthest, -closest))) for one in bodies.carriage)


def _pressed(machine: Machine, tooling: Tooling, bodies: Bodies, ahead: Array) -> tuple[UprightBody, ...]:
    """Return the pressure die and what moves with it: closed to opened, and from home to so far ahead (n,) [mm].

    It goes home with the arm at the latest, so at each angle of the arm it stands no farther ahead.
    """
    out = -toward(machine) * tooling.pressure_block.opens
    forward: float | Array = ahead if tooling.pressure_die_follows else 0.0
    across = (min(out, 0.0), max(out, 0.0))
    return tuple(replace(one, outline=one.outline.travelled((0.0, forward), across)) for one in bodies.pressure)


def _found(meeting: Meeting, pose: Pose, tooling: Tooling) -> Iterator[Remark]:
    """Yield a remark if two bodies meet: how deep, from which angle on, and where they are deepest."""
    one, other = meeting.one, meeting.other
    if other.name == ROD:
        other = rod_beside(other, one.low, one.high)
    if one.name == ROD:
        one = rod_beside(one, other.low, other.high)
    upright = min(one.high - other.low, other.high - one.low)
    if upright <= TOUCHING or apart(one.outline, other.outline, pose):
        return
    across = depth(one.outline, other.outline, pose)
    if across.max() <= TOUCHING:
        return
    turns = one.owner is Owner.ARM
    worst = int(np.argmax(across))
    angle = float(pose.angles[worst])
    x, y = shared_place(one.outline.at(worst), other.outline.at(worst), angle, pose.axis)
    of_all = {Owner.CARRIAGE, Owner.FRAME}  # where neither knows of the tooling
    same = not (one.built or other.built) and {one.owner, other.owner} <= of_all
    yield Remark(
        "solids overlap", (one.name, other.name),
        None if same else (tooling.tube_diameter, tooling.bend_radius),
        depth=min(upright, float(across.max())),
        angle=_begins(one.outline, other.outline, pose, across) if turns else None,
        place=(x, y, (max(one.low, other.low) + min(one.high, other.high)) / 2.0),
    )  # fmt: skip


def _begins(one: Outline, other: Outline, pose: Pose, across: Array) -> float:
    """Return the angle of the arm at which an overlap begins, halved in between two that were looked at [rad]."""
    first = int(np.argmax(across > TOUCHING))
    if first == 0:
        return 0.0
    bound = 0.0 if across[first - 1] <= 0.0 else TOUCHING
    before, after = other.at(first - 1), other.at(first)
    apart, met = 0.0, 1.0  # shares of the step
    for _ in range(HALVINGS):
        share = (apart + met) / 2.0
        angle = pose.angles[first - 1] + share * (pose.angles[first] - pose.angles[first - 1])
        ahead = float(before.x1) + share * (float(after.x1) - float(before.x1))
        there = depth(one, replace(after, x1=ahead), Pose(np.array([angle]), pose.axis))
        apart, met = (apart, share) if there[0] > bound else (share, met)
    return abs(float(pose.angles[first - 1] + met * (pose.angles[first] - pose.angles[first - 1])))


def _floor(machine: Machine, bodies: Bodies) -> Iterator[Remark]:
    """Yield a remark for each moving body that reaches into the floor."""
    floor = -machine.head.centreline_height
    for one in (*bodies.arm, *bodies.carriage, *bodies.pressure):
        if floor - one.low > TOUCHING:
            outline = one.outline
            x = (float(outline.x0) + float(outline.x1)) / 2.0
            y = (float(outline.y0) + float(outline.y1)) / 2.0
            yield Remark("solids overlap", (one.name, "floor"), depth=floor - one.low, place=(x, y, floor))
