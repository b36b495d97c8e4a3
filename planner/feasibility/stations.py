"""Where the tube stands for each bend once the numbers are rounded to what the readouts can show.

Advances and rotations are rounded with the error carried to the next, never added up, and every motion is built with
the rounded numbers: `as_built` is the part that they give.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from planner.facts import angle, fact, needed, six_digits
from planner.feasibility.orders import Load, Ready
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.rules.broken import Broken
from planner.rules.carriage import Grip
from planner.rules.chuck import both_ways, stays_within
from planner.tolerances import ANGLE_SLACK, MARK_SLACK, RULE_SLACK
from planner.tube.frames import Array
from planner.tube.partly_bent import seen_from


@dataclass(frozen=True)
class Station:
    """One bend's place in a load. Numbers as the operator sets them.

    bend: number in the view; number: from end A; setting, roll [rad]: roll is the rotation from the bend made before,
    in (−π, π]; advance: from the end of the bend before, or from the load position [mm]; start: stock coordinate at the
    tangent point when the bend starts, counted from the leading end [mm]; face: collet's face to tangent point then
    [mm]; regrip: collet's face to tangent point before and after the re-grip at the end of this bend, at the setting.
    laid_in: the tube is loaded at this place, without an advance.
    """

    bend: int
    number: int
    angle: float
    radius: float
    setting: float
    roll: float
    advance: float
    start: float
    face: float | None
    released: bool
    regrip: tuple[float, float] | None
    laid_in: bool

    @property
    def swing_feed(self) -> float:
        """Tube drawn forward by the swing to the setting [mm]."""
        return self.radius * self.setting

    @property
    def end(self) -> float:
        """Stock coordinate at the tangent point once the tube has sprung back [mm]."""
        return self.start + self.radius * self.angle


@dataclass(frozen=True)
class Stationed:
    """An order with every number rounded: stations of each load, and the part as these numbers make it."""

    ready: Ready
    loads: tuple[tuple[Station, ...], ...]
    as_built: Part

    def view(self, number: int) -> Part:
        """Return the part as built, counted from the leading end of a load."""
        return seen_from(self.as_built, self.ready.order[number].leads)


GRIP_ROUNDS = 5
"""Rounds in which grips and rounded places settle; two do unless the readout counts from the collet."""


def snapped(value: float, resolution: float) -> float:
    """Return the nearest multiple of the readout's resolution."""
    return round(round(value / resolution) * resolution, 9)


def settable(y: float, resolution: float, shown_at_zero: float) -> float:
    """Return the nearest advance that a readout can show which stands at `shown_at_zero` at an advance of 0 [mm]."""
    return round(snapped(shown_at_zero + y, resolution) - shown_at_zero, 9)


def printed_setting(setting: float, angle: float, resolution: float, largest: float = math.inf) -> float:
    """Return the setting as the dial can show it [rad], never less than the part's angle.

    It is rounded down where rounding up would pass the machine's largest angle.
    """
    steps = round(setting / resolution)
    if steps * resolution > largest + ANGLE_SLACK:
        steps -= 1
    while steps * resolution < angle - MARK_SLACK:
        steps += 1
    return steps * resolution


def shown(machine: Machine, grip: Grip | None, at: float, trim_lead: float) -> float:
    """Return what the advance readout shows with stock coordinate `at` [mm] at the tangent point, unrounded.

    Counted so that it rises as the tube goes forward: a readout that counts from the closest place falls and comes out
    negative here. A readout that is zeroed after every bend shows 0 there.
    """
    if machine.advance.zeroed:
        return 0.0
    zero = machine.advance.absolute_zero
    if machine.carriage is None or grip is None or zero == "leading end at tangent":
        return at + trim_lead
    closest, farthest = machine.carriage.reach
    face = grip.u - at
    return farthest - face if zero == "collet at farthest" else closest - face


def station(ready: Ready) -> Stationed:
    """Round the numbers of an order and return where the tube then stands for each bend."""
    part = ready.case.part
    arcs = np.asarray(part.arc_lengths)
    starts, rotations = np.array(part.bend_starts), np.array(part.rotations)
    loads: list[tuple[Station, ...]] = []
    held: list[Load] = []
    for exact in ready.loads:
        from_b = exact.loaded.leads == "B"
        seen = (part.developed_length - starts - arcs)[::-1] if from_b else starts
        load, (stations, seen, rolls) = _held_as_printed(ready, exact, seen)
        held.append(load)
        starts = part.developed_length - seen[::-1] - arcs if from_b else seen
        for bend, roll in rolls.items():
            rotations[bend - 1] = roll
        loads.append(_within_range(ready, load, stations))
    straights = np.append(starts, part.developed_length) - np.concatenate(([0.0], starts + arcs))
    built = replace(part, straights=np.maximum(straights, 0.0), rotations=rotations)
    return Stationed(replace(ready, loads=tuple(held)), tuple(loads), built)


def _held_as_printed(
    ready: Ready, load: Load, starts: Array
) -> tuple[Load, tuple[tuple[Station, ...], Array, dict[int, float]]]:
    """Station a load and move its grips so that the carriage keeps its reach with the numbers as printed.

    The rules chose the grips for the exact numbers; rounding shifts the places by up to a resolution, and an absolute
    readout's places shift with the grip in turn, so it takes a few rounds. Raises Unkeepable if it cannot be.
    """
    for _ in range(GRIP_ROUNDS):
        found = _one_load(ready, load, starts.copy())
        moved = tuple(_held(ready, load, grip, found[0]) for grip in load.grips)
        if moved == load.grips:
            return load, found
        load = replace(load, grips=moved)
    number = load.loaded.number(load.bends[-1])
    step = six_digits(ready.case.machine.advance.resolution)
    said = fact("no-grip-as-rounded", bend=number, leads=load.loaded.leads, resolution=step)
    raise Unkeepable(Broken("carriage reach", number, load.loaded.leads, said))


def _held(ready: Ready, load: Load, grip: Grip, stations: tuple[Station, ...]) -> Grip:
    """Return the grip, moved no more than it takes to keep the carriage's reach at the printed stations."""
    carriage = ready.case.machine.carriage
    assert carriage is not None  # else there are no grips
    closest, farthest = carriage.reach
    most = load.loaded.stock_behind_zero - carriage.grip_length
    low, high = (-math.inf if carriage.passes_through else most), most
    for i, st in enumerate(stations):
        if st.bend in grip.bends:
            low = max(low, (st.start if st.released else st.start + st.swing_feed) + closest)
            high = min(high, st.start + farthest)
        elif i + 1 < len(stations) and stations[i + 1].bend in grip.bends:
            low, high = max(low, st.start + st.swing_feed + closest), min(high, st.end + farthest)
    if low > high + RULE_SLACK:
        number = load.loaded.number(grip.bends[-1])
        missing = needed(low - high, 2)
        said = fact("travel-too-short-as-rounded", bend=number, leads=load.loaded.leads, missing=missing)
        raise Unkeepable(Broken("carriage reach", number, load.loaded.leads, said))
    return replace(grip, u=min(max(grip.u, low), high))


def _within_range(ready: Ready, load: Load, stations: tuple[Station, ...]) -> tuple[Station, ...]:
    """Give each rotation the way round that was chosen for it where the chuck's range is limited.

    Raises Unkeepable if the chuck leaves its range with the rotations as printed.
    """
    limits = ready.case.machine.rotation.range
    if limits == "continuous":
        return stations
    signed = [_signed(0.0 if s.laid_in else s.roll, way) for s, way in zip(stations, load.ways, strict=True)]
    if not stays_within(limits, signed, [s.regrip is not None for s in stations]):
        said = fact(
            "chuck-range-of-rotations",
            leads=load.loaded.leads,
            first=stations[0].number,
            bend=stations[-1].number,
            low=angle(limits[0]),
            high=angle(limits[1]),
        )
        raise Unkeepable(Broken("chuck range", stations[-1].number, load.loaded.leads, said))
    return tuple(replace(s, roll=s.roll if s.laid_in else roll) for s, roll in zip(stations, signed, strict=True))


def _signed(roll: float, way: int) -> float:
    """Return a rotation the way round that is asked for; where rounding leaves nothing to rotate there is only one."""
    ways = both_ways(roll)
    return ways[min(way, len(ways) - 1)]


class Unkeepable(Exception):
    """An order cannot keep a rule once its numbers are rounded or its rotations signed; carries the broken rule."""

    def __init__(self, broken: Broken) -> None:
        super().__init__(broken.sentence)
        self.broken = broken


def _one_load(ready: Ready, load: Load, starts: Array) -> tuple[tuple[Station, ...], Array, dict[int, float]]:
    """Station one load.

    starts: the bends' starts as they are so far, counted from the leading end [mm]. Returns the stations, the starts as
    the load leaves them, and the rotations it sets [rad] by number of the bend (from end A) that they belong to.
    """
    machine, view, loaded = ready.case.machine, load.loaded.view, load.loaded
    grips = {bend: grip for grip in load.grips for bend in grip.bends}
    joined = load.bends[0] - 1 if load.bends[0] - 1 in load.formed else None
    laid_in = joined is not None or not can_load_flush(machine, load)
    at = -loaded.trim_lead if joined is None else float(starts[joined - 1] + view.arc_lengths[joined - 1])
    off = 0.0 if joined is None else float(starts[joined - 1] - view.bend_starts[joined - 1])
    carry, rolls, stations = 0.0, {}, []
    for i, bend in enumerate(load.bends):
        number, grip = loaded.number(bend), grips.get(bend)
        direct = laid_in and i == 0
        before = 0.0 if direct else shown(machine, grip, at, loaded.trim_lead)
        wanted = float(view.bend_starts[bend - 1]) + off
        advance = snapped(before + wanted - at, machine.advance.resolution) - before
        roll = 0.0
        if i or joined is not None:
            exact = float(view.rotations[bend - 1])
            roll = wrapped(snapped_angle(exact + carry, machine.rotation.resolution))
            carry = wrapped(exact + carry - roll)
            rolls[number if loaded.leads == "A" else number + 1] = roll
        start = at + advance
        station_ = _station(ready, load, i, start, grip)
        stations.append(replace(station_, roll=roll, advance=0.0 if direct else advance, laid_in=direct))
        starts[bend - 1] = start
        at = station_.end
    return tuple(stations), starts, rolls


def _station(ready: Ready, load: Load, i: int, start: float, grip: Grip | None) -> Station:
    """Return the station of bend i of a load that starts at a stock coordinate [mm]; advance and roll still open."""
    view, bend = load.loaded.view, load.bends[i]
    number, angle, radius = load.loaded.number(bend), float(view.angles[bend - 1]), float(view.radii[bend - 1])
    resolution, largest = ready.case.machine.rotation.resolution, ready.case.machine.head.largest_angle
    setting = printed_setting(ready.case.settings[number - 1], angle, resolution, largest)
    swing_ends = start + radius * setting
    after = next((g for g in load.grips if i + 1 < len(load.bends) and load.bends[i + 1] in g.bends), grip)
    regrip = None
    if grip is not None and after is not None and after is not grip:
        regrip = (grip.u - swing_ends, after.u - swing_ends)
    return Station(
        bend,
        number,
        angle,
        radius,
        setting,
        0.0,
        0.0,
        start,
        None if grip is None else grip.u - start,
        grip is not None and grip.released and i == len(load.bends) - 1,
        regrip,
        False,
    )


def can_load_flush(machine: Machine, load: Load) -> bool:
    """Say whether the bare tube can be loaded with its leading end at the tangent point: the collet must reach back."""
    if machine.carriage is None or not load.grips:
        return True
    return load.grips[0].u + load.loaded.trim_lead <= machine.carriage.reach[1]


def snapped_angle(angle: float, resolution: float) -> float:
    """Return the nearest multiple of the dial's resolution [rad]."""
    return round(angle / resolution) * resolution


def wrapped(angle: float) -> float:
    """Return the angle in (−π, π] [rad]."""
    folded = float(np.remainder(angle + np.pi, 2.0 * np.pi) - np.pi)
    return float(np.pi) if folded <= -np.pi + ANGLE_SLACK else folded
