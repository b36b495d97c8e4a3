"""The arm's ways home past a tube that lies in the die's grip section, proposed in closed form.

The grip section, L long, is a straight groove that turns with the arm: a leg lies in it while the arm stands at the
part's angle θ, and it would push that leg on its way home. With a = CLR − r (the groove's bottom touches first) and β
how far the arm has gone back, the leg asks that the tube has been run forward by

    Y(β) = (L sin β − a (1 − cos β)) / sin θ                                                       (7)

and with the arm at home all that lies in the section must be straight: L, whatever the angle. The most that (7) asks
for is Y₁ = L − a tan(θ/2) up to θ = arctan(L/a), and (√(a² + L²) − a)/sin θ beyond; the tube ends at E = max(L, Y₁).
With the tube at Y₁ the arm may come as near to home as

    ψ₂ = arctan(a/L) − arccos((L² + Y₁²) / (2 Y₁ √(a² + L²))), not below 0                          (8)

Towards 180° Y₁ grows without bound: such a leg leaves the section along its whole length, the arm at θ. These formulas
propose; whether a way is clear is for the certified motions to say.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from planner.inputs.machine import Machine
from planner.inputs.tooling import Section, Tooling
from planner.tolerances import ANGLE_SLACK, ARM_STEP, COUNT_SLACK, HAND_STEP, NO_LENGTH

EASE_WAYS = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 120.0)
"""How far the tube is eased off the die where the arm cannot go home past it for another reason [mm]."""

EASE_SHARES = (1.0, 0.5, 0.25)
"""And so much of the room there is, as shares."""

MOST_ALONG = 4000.0
"""A leg is run out of the section along its whole length up to this [mm]."""

PAST_END = 2.0
"""How far past its end a leg is run that leaves the section along its whole length [mm]."""


@dataclass(frozen=True)
class HomeLeg:
    """One leg of a way home: the arm's angle from home [rad] and the advance from the end of the bend [mm], each from
    and to; drop: how far the die is lowered, from and to [mm].
    """

    arm: tuple[float, float]
    y: tuple[float, float]
    drop: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class WayHome:
    """Legs of a way home; by_hand: the collet is open and the tube is moved by hand; drawn_off: the last leg takes it
    off the rod, the arm standing, and the arm goes home without it.
    """

    legs: tuple[HomeLeg, ...]
    by_hand: bool = False
    drawn_off: bool = False

    @property
    def eased(self) -> float:
        """Where the tube stands at the end [mm]."""
        return self.legs[-1].y[1]

    @property
    def lowered(self) -> float:
        """How far the die is lowered at the end [mm]."""
        return self.legs[-1].drop[1]

    @property
    def farthest(self) -> float:
        """The greatest advance on the way [mm]."""
        return max(max(leg.y) for leg in self.legs)

    def time(self, machine: Machine) -> float:
        """Return the time that it takes [s], what goes together counted one after the other."""
        speeds = machine.speeds
        found = 2.0 * machine.times.clamp * (self.lowered > 0.0)  # down, and up again
        for leg in self.legs:
            found += abs(leg.arm[1] - leg.arm[0]) / speeds.return_ + abs(leg.y[1] - leg.y[0]) / speeds.advance
        return found


@dataclass(frozen=True)
class Leaving:
    """What a way home is sought for.

    angle, setting: of the bend [rad]; leg: straight after the arc just formed [mm]; room: how far the tube may be run
    forward with the collet closed [mm]; off: where it is in free hands, None where it stays in the machine [mm];
    settable: rounds an advance up to what the readout can show [mm].
    """

    angle: float
    setting: float
    leg: float
    room: float
    off: float | None
    settable: Callable[[float], float]


def most_asked(section: Section, below: float, angle: float) -> float:
    """Return Y₁, the most that (7) asks for on the way home from a bend's angle [rad]; infinite from 180° on.

    below: a, from the die axis to the groove's bottom [mm].
    """
    if angle >= math.pi - ANGLE_SLACK:
        return math.inf
    if angle <= math.atan2(section.length, below):
        return section.length - below * math.tan(angle / 2.0)
    return (math.hypot(below, section.length) - below) / math.sin(angle)


def nearest_home(section: Section, below: float, advance: float) -> float:
    """Return ψ₂ by (8), how near to home the arm may come with the tube at an advance [mm], rounded up [rad]."""
    length, across = section.length, math.hypot(below, section.length)
    share = (length * length + advance * advance) / (2.0 * advance * across)
    nearest = math.atan2(below, length) - math.acos(min(share, 1.0))
    return max(math.ceil(nearest / ARM_STEP - COUNT_SLACK) * ARM_STEP, 0.0)


def ways_home(machine: Machine, tooling: Tooling, clamp: float, leaving: Leaving) -> list[WayHome]:
    """Return the ways home with a clamp [mm] that the machine can go, those of one kind by their time.

    With the collet closed first; by hand, once it may be opened, where nothing else goes.
    """
    section = tooling.section(clamp)
    head, closed = machine.head, list[WayHome]()
    if section is None:
        closed.append(_past(leaving))
    if section is not None and head.homes_with_tube:
        closed.extend(_together(section, tooling, leaving))
    if head.die_drops > 0.0:
        closed.append(_lowered(leaving, head.die_drops))
    if head.may_ease_off:
        closed.extend(_eased(section, tooling, leaving, leaving.settable, leaving.room))
    found = [way for way in closed if way.farthest <= leaving.room + NO_LENGTH]
    found.sort(key=lambda way: round(way.time(machine), 6))
    if section is not None:
        found.append(_past(leaving))  # it hardly ever goes: last
    if leaving.off is not None:
        opened = [_past(leaving)] if section is None else []
        opened += _eased(section, tooling, leaving, _by_rule, leaving.off)
        by_hand = [WayHome(way.legs, True) for way in opened if way.farthest < leaving.off]
        found += sorted(by_hand, key=lambda way: round(way.time(machine), 6))
        found += _drawn_off(section, tooling, leaving, leaving.off)
    return list(dict.fromkeys(found))


def _drawn_off(section: Section | None, tooling: Tooling, leaving: Leaving, off: float) -> Iterator[WayHome]:
    """The tube is drawn off past the standing arm: at the part's angle, where the bend left it, or nearer to home."""
    angle, setting = leaving.angle, leaving.setting
    yield WayHome((*_to_angle(leaving), HomeLeg((angle, angle), (0.0, off))), True, True)
    yield WayHome((HomeLeg((setting, setting), (0.0, off)),), True, True)
    asked = math.inf if section is None else most_asked(section, _below(tooling), angle)
    if section is not None and asked < off:
        first = _by_rule(asked)
        near = nearest_home(section, _below(tooling), first)
        if near < setting:
            legs = (HomeLeg((setting, setting), (0.0, first)), HomeLeg((setting, near), (first, first)))
            yield WayHome((*legs, HomeLeg((near, near), (first, off))), True, True)


def most_room(tooling: Tooling, angle: float, leg: float) -> float:
    """Return more room than any way home after a bend asks for [mm]; leg: straight after the arc just formed [mm]."""
    section = tooling.section(tooling.clamp_lengths[0])
    if section is None:
        return max(EASE_WAYS) + 2.0 * tooling.bend_radius
    asked = most_asked(section, _below(tooling), angle)
    along = leg + section.length + PAST_END
    most = max(section.length, along, asked if math.isfinite(asked) else 0.0)
    return math.ceil(most + HAND_STEP) + HAND_STEP


def _past(leaving: Leaving) -> WayHome:
    """The arm goes home past the standing tube."""
    return WayHome((HomeLeg((leaving.setting, 0.0), (0.0, 0.0)),))


def _lowered(leaving: Leaving, drop: float) -> WayHome:
    """The die goes down, and the arm home past the standing tube; before the next bend it comes up again."""
    out, down = leaving.setting, (drop, drop)
    return WayHome((HomeLeg((out, out), (0.0, 0.0), (0.0, drop)), HomeLeg((out, 0.0), (0.0, 0.0), down)))


def _together(section: Section, tooling: Tooling, leaving: Leaving) -> Iterator[WayHome]:
    """Tube and arm go together, in two motions of which each is even, from the part's angle on."""
    below, angle = _below(tooling), leaving.angle
    asked = most_asked(section, below, angle)
    if not math.isfinite(asked):
        return
    first, end = leaving.settable(asked), leaving.settable(max(section.length, asked))
    back = min(asked * math.sin(angle) / section.length, angle)
    yield WayHome(
        (
            *_to_angle(leaving),
            HomeLeg((angle, angle - back), (0.0, first)),
            HomeLeg((angle - back, 0.0), (first, end)),
        )
    )


def _eased(
    section: Section | None, tooling: Tooling, leaving: Leaving, settable: Callable[[float], float], room: float
) -> list[WayHome]:
    """The tube is run forward with the arm standing, in two steps or one, or along its whole leg."""
    if section is None:
        shares = [settable(share * room) for share in EASE_SHARES]
        ways = dict.fromkeys([*shares, *map(settable, EASE_WAYS)])
        return [_in_one(leaving.setting, y) for y in ways if 0.0 < y <= room + NO_LENGTH]
    below, setting = _below(tooling), leaving.setting
    asked = most_asked(section, below, leaving.angle)
    found: list[WayHome] = []
    if asked <= room:
        first, end = settable(asked), settable(max(section.length, asked))
        near = 0.0 if first >= end else min(nearest_home(section, below, first), setting)
        steps = (HomeLeg((near, near), (first, end)), HomeLeg((near, 0.0), (end, end)))
        for start, before in ((setting, ()), (leaving.angle, _to_angle(leaving))):
            legs = (*before, HomeLeg((start, start), (0.0, first)), HomeLeg((start, near), (first, first)), *steps)
            found.append(WayHome(_moving(legs)))
        found.append(_in_one(setting, end))
    along = settable(leaving.leg + section.length + PAST_END)
    if along <= min(room, MOST_ALONG):
        legs = (
            *_to_angle(leaving),
            HomeLeg((leaving.angle, leaving.angle), (0.0, along)),
            HomeLeg((leaving.angle, 0.0), (along, along)),
        )
        found.append(WayHome(legs))
    return found


def _in_one(setting: float, y: float) -> WayHome:
    """The tube is run forward once, and the arm goes home past it."""
    return WayHome((HomeLeg((setting, setting), (0.0, y)), HomeLeg((setting, 0.0), (y, y))))


def _to_angle(leaving: Leaving) -> tuple[HomeLeg, ...]:
    """The arm goes back to the part's angle, where the leg lies in the section, the tube standing."""
    if leaving.setting <= leaving.angle:
        return ()
    return (HomeLeg((leaving.setting, leaving.angle), (0.0, 0.0)),)


def _moving(legs: tuple[HomeLeg, ...]) -> tuple[HomeLeg, ...]:
    """Return the legs in which anything moves."""
    return tuple(leg for leg in legs if leg.arm[0] != leg.arm[1] or leg.y[0] != leg.y[1])


def _below(tooling: Tooling) -> float:
    return tooling.bend_radius - tooling.tube_diameter / 2.0


def _by_rule(way: float) -> float:
    return math.ceil(way / HAND_STEP - COUNT_SLACK) * HAND_STEP
