"""How the tube is laid in at a load: where it stands, how it is rolled, where the collet holds.

The roll is given by the plane of a formed bend, since the slope of a leg is that of its plane only for a bend of 90°.
"""

from __future__ import annotations

import math

from planner.clearance.solids import toward
from planner.facts import Fact, Quantity, angle, fact, length, metres
from planner.feasibility.loading import Passage
from planner.feasibility.stations import Stationed
from planner.inputs.machine import Machine
from planner.rules.broken import other
from planner.tolerances import ALIKE_IN_TENTHS, LEAST_SLOPE, LEVEL
from planner.tube.bodies import Motion


def bare_tube(stationed: Stationed, number: int) -> Fact:
    """Return how the bare tube is loaded."""
    load, st = stationed.ready.loads[number], stationed.loads[number][0]
    stands = st.start - st.advance + load.loaded.trim_lead
    where = fact("flush") if stands < ALIKE_IN_TENTHS else fact("past-the-tangent-point", way=length(stands))
    return fact("loaded", leads=load.loaded.leads, where=where)


def formed_tube(stationed: Stationed, number: int) -> Fact:
    """Return how a formed tube is laid in: distance from a bend's tangent point, roll against the level."""
    ready = stationed.ready
    load, st = ready.loads[number], stationed.loads[number][0]
    view, leads = stationed.view(number), load.loaded.leads
    ahead = max(b for b in load.formed if b < st.bend)
    bend = load.loaded.number(ahead)
    turned = ready.order[number - 1].leads != ready.order[number].leads
    return fact(
        "laid-in",
        put=fact("turn-end-for-end" if turned else "same-way-round"),
        leads=leads,
        bend=bend,
        end=other(leads),
        distance=length(st.start - float(view.bend_ends[ahead - 1])),
        lies=lying(bend, float(view.angles[ahead - 1]), st.roll, toward(ready.case.machine)),
    )


def put_on(passage: Passage) -> Fact:
    """Return how a tube goes on to the rod, and the room that this takes ahead."""
    assert passage.path is not None  # asked only of a way that was found
    first = passage.path.legs[0]
    return fact("put-on", rolled=_rolled(first.at) if first.kind == "advance" else None, room=_room(passage))


def draw_off(passage: Passage) -> Fact:
    """Return how a tube is taken off, and the room that this takes ahead."""
    assert passage.path is not None  # asked only of a way that was found
    return fact("draw-off", rolled=_rolled(passage.path.roll), room=_room(passage))


def drawn_off(motion: Motion) -> Fact:
    """Return how a tube is drawn off past the standing arm."""
    return fact("drawn-off", arm=angle(motion.arm[0]))


def stand_back(machine: Machine) -> tuple[Fact, ...]:
    """Return where the carriage stands while the tube is put on, where there is one."""
    return () if machine.carriage is None else (fact("collet-stands-open", face=length(machine.carriage.waits_at)),)


def hold(stationed: Stationed, number: int) -> Fact:
    """Return where the collet takes hold of the tube at a load."""
    load = stationed.ready.loads[number]
    return fact("close-collet", held=length(load.loaded.stock_behind_zero - load.grips[0].u))


def _rolled(roll: float) -> Fact | None:
    """Return a rotation [rad] from how the tube lies in its place, None where there is none."""
    if abs(math.degrees(roll)) < LEVEL:
        return None
    return fact("rolled", angle=angle(abs(roll)), way="clockwise" if roll > 0.0 else "counter-clockwise")


def _room(passage: Passage) -> Quantity:
    assert passage.far is not None  # asked only of a way that was found
    ahead = passage.far + float(passage.standing.leading.length.sum())
    return metres(math.ceil(ahead / 100.0) * 100.0, 1, "at most")


def run_forward(way: float, back: float, by_hand: bool) -> Fact:
    """Return how the tube is run forward [mm] while the arm stands, or goes home by an angle [rad]."""
    if back:
        return fact("together", way=length(way))
    return fact("push-forward", way=length(way)) if by_hand else fact("run-forward")


def lying(bend: int, bent: float, roll: float, side: float) -> Fact:
    """Return how the formed bend lies, to be checked with an angle finder.

    bent: its angle, roll: rotation from that bend's plane to the next bend's [rad]. The bend curls from the feed toward
    (0, side · cos R, side · sin R), +R about +X from the die's side; so its plane is tilted by R out of the level. Its
    leg leaves along cos A · X + sin A · that direction and slopes by asin(sin A · sin R), the same only for 90°.
    """
    up = math.asin(max(-1.0, min(1.0, side * math.sin(roll))))
    tilt = abs(math.degrees(up))
    slope = abs(math.asin(math.sin(bent) * math.sin(up)))
    alike = tilt < LEVEL or abs(math.degrees(slope) - tilt) < LEVEL or math.sin(bent) < LEAST_SLOPE
    leg = None if alike else fact("its-leg-slopes", angle=angle(slope))
    if tilt > 90.0 - LEVEL:
        return fact("upright", bend=bend, way="up" if up > 0.0 else "down", leg=leg)
    off_level = fact("off-level", angle=angle(abs(up)), way="above" if up > 0.0 else "below")
    lies = fact("level") if tilt < LEVEL else off_level
    toward_die = "the die's side" if math.cos(roll) > 0.0 else "the side away from the die"
    return fact("tilted", bend=bend, slope=lies, side=toward_die, leg=leg)
