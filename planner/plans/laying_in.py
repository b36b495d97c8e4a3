"""How the tube is laid in at a load: where it stands, how it is rolled, where the collet holds.

The roll is given by the plane of a formed bend, since the slope of a leg is that of its plane only for a bend of 90°.
"""

from __future__ import annotations

import math

from planner.clearance.solids import toward
from planner.inputs.machine import Machine
from planner.search.passages import Passage
from planner.search.stations import Stationed
from planner.tolerances import ALIKE_IN_TENTHS, LEAST_SLOPE, LEVEL
from planner.tube.bodies import Motion


def load_words(stationed: Stationed, number: int) -> str:
    """Return how the bare tube is loaded."""
    load, st = stationed.ready.loads[number], stationed.loads[number][0]
    trim = load.loaded.trim_lead
    stands = st.start - st.advance + trim
    where = "flush with the tangent point" if stands < ALIKE_IN_TENTHS else f"{stands:.1f} mm past the tangent point"
    return f"End {load.loaded.leads} leading, its end {where}."


def lay_in_words(stationed: Stationed, number: int) -> str:
    """Return how a formed tube is laid in: distance from a bend's tangent point, roll against the level."""
    ready = stationed.ready
    load, st = ready.loads[number], stationed.loads[number][0]
    side = toward(ready.case.machine)
    view = stationed.view(number)
    ahead = max(b for b in load.formed if b < st.bend)
    distance = st.start - float(view.bend_ends[ahead - 1])
    end = "B" if load.loaded.leads == "A" else "A"
    bend = load.loaded.number(ahead)
    turned = ready.order[number - 1].leads != ready.order[number].leads
    put = "Turn end for end" if turned else "Take the tube off and put it back the same way round"
    words = (
        f"{put}: end {load.loaded.leads} leading. Lay it in with the tangent point of bend {bend} nearer end"
        f" {end} {distance:.1f} mm ahead of the machine's tangent point, and roll it until"
        f" {roll_words(bend, float(view.angles[ahead - 1]), st.roll, side)}."
    )
    return words + " The dial then shows 0."


def put_on_words(passage: Passage) -> str:
    """Return how a tube goes on to the rod, and the room that this takes ahead."""
    assert passage.path is not None  # asked only of a way that was found
    first = passage.path.legs[0]
    rolled = _rolled(first.at) if first.kind == "advance" else ""
    return f"Put it on from the front over the mandrel{rolled}{_room(passage)}."


def take_off_words(passage: Passage) -> str:
    """Return how a tube is taken off, and the room that this takes ahead."""
    assert passage.path is not None  # asked only of a way that was found
    return f"Draw the tube off to the front{_rolled(passage.path.roll)}{_room(passage)}."


def drawn_off_words(motion: Motion) -> str:
    """Return how a tube is drawn off past the standing arm."""
    stands = f"the arm standing at {math.degrees(motion.arm[0]):.1f}°"
    return f"Draw the tube off to the front, {stands}, until its leg has left the die's groove along its whole length."


def stand_back_words(machine: Machine) -> str:
    """Return where the carriage stands while the tube is put on."""
    if machine.carriage is None:
        return ""
    return f" The collet stands open, its face {machine.carriage.waits_at:.1f} mm from the tangent point."


def hold_words(stationed: Stationed, number: int) -> str:
    """Return where the collet takes hold of the tube at a load."""
    load = stationed.ready.loads[number]
    held = load.loaded.stock_behind_zero - load.grips[0].u
    return f"Close the collet with its face {held:.1f} mm from the tail end."


def _rolled(angle: float) -> str:
    """Return a rotation from how the tube lies in its place."""
    if abs(math.degrees(angle)) < LEVEL:
        return ""
    way = "clockwise" if angle > 0.0 else "counter-clockwise"
    return f", rolled {abs(math.degrees(angle)):.1f}° {way} from how it lies in its place"


def _room(passage: Passage) -> str:
    assert passage.far is not None  # asked only of a way that was found
    ahead = (passage.far + float(passage.standing.leading.length.sum())) / 1000.0
    return f"; it takes up to {math.ceil(ahead * 10.0) / 10.0:.1f} m of room ahead of the die"


def run_words(way: float, back: float, by_hand: bool) -> str:
    """Return how the tube is run forward [mm] while the arm stands, or goes home by an angle [rad]."""
    if back:
        return f"Tube and arm go together: the tube is run forward by {way:.1f} mm meanwhile."
    if by_hand:
        return f"Push the tube forward by hand by {way:.1f} mm, out of the die's groove; the arm stands."
    return "Run the tube forward out of the die's groove before the arm goes on."


def roll_words(bend: int, angle: float, roll: float, side: float) -> str:
    """Return how the formed bend lies, to be checked with an angle finder.

    roll: rotation from that bend's plane to the next bend's [rad]. The bend curls from the feed toward
    (0, side · cos R, side · sin R), +R about +X from the die's side; so its plane is tilted by R out of the level. Its
    leg leaves along cos A · X + sin A · that direction and slopes by asin(sin A · sin R), the same only for 90°.
    """
    up = math.asin(max(-1.0, min(1.0, side * math.sin(roll))))
    tilt, where = abs(math.degrees(up)), "above" if up > 0.0 else "below"
    if tilt > 90.0 - LEVEL:
        lies = f"the plane of bend {bend} stands upright, bend {bend} curling straight {'up' if up > 0.0 else 'down'}"
    else:
        side_words = "the die's side" if math.cos(roll) > 0.0 else "the side away from the die"
        curls = f"bend {bend} curling toward {side_words}"
        lies = f"the plane of bend {bend} lies {'level' if tilt < LEVEL else f'{tilt:.1f}° {where} level'}, {curls}"
    slope = abs(math.degrees(math.asin(math.sin(angle) * math.sin(up))))
    if tilt < LEVEL or abs(slope - tilt) < LEVEL or math.sin(angle) < LEAST_SLOPE:
        return lies
    return f"{lies} (its leg then slopes {slope:.1f}°)"
