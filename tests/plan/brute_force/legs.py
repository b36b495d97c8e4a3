"""The legs of the way from bend to bend: formed tube slid along the feed or turned about it, between open dies."""

from __future__ import annotations

import math
from typing import NamedTuple

from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.sampled import CLEAR, STILL, Checks, Motion
from tests.plan.brute_force.surroundings import EASE, RETURNED, Roles, Surroundings
from tests.plan.brute_force.tube import Tube


class Leg(NamedTuple):
    """A motion of the tube that stands after a bend, from an advance and a roll on: along the feed, or about it.

    advance, way: in mm; roll, turn, arm: in radians, the last one where the arm stands meanwhile. before: it is the tube
    that stands before the bend, not after it; open: the collet is open and the carriage stands where it waits.
    """

    at: At
    advance: float
    way: float = 0.0
    roll: float = 0.0
    turn: float = 0.0
    arm: float = 0.0
    before: bool = False
    open: bool = False

    @property
    def out(self) -> float:
        """How far the arc is from the tangent point at most [mm], which counts as leading part."""
        return max(self.advance, self.advance + self.way)

    @property
    def rolled(self) -> bool:
        """Whether the arc lies in another plane than the die's; only before it does, it may touch the die."""
        return self.roll != 0.0 or self.turn != 0.0


class Legs:
    """Every leg, judged once with every clamp; the carriage's own solids are judged apart."""

    def __init__(self, leading: LeadingParts, about: Surroundings) -> None:
        self.leading, self.about = leading, about
        self.known: dict[Leg, dict[float, int]] = {}
        self.standing: dict[Leg, int] = {}

    def by_clamp(self, leg: Leg) -> dict[float, int]:
        """The leg's verdict with each clamp."""
        if leg not in self.known:
            checks = Checks(self.about.radius)
            tube = self.placed(leg)
            self._past_what_stands(checks, leg, tube)
            self._past_the_pressure_die(checks, leg, tube)
            self._past_the_arm(checks, leg, tube)
            self.known[leg] = self.about.by_clamp(checks)
        return self.known[leg]

    def past_what_stands(self, leg: Leg) -> int:
        """The same for what stands wherever the arm, the pressure die and the carriage are."""
        if leg not in self.standing:
            checks = Checks(self.about.radius)
            self._past_what_stands(checks, leg._replace(open=False), self.placed(leg))
            self.standing[leg] = checks.verdicts().get("all", CLEAR)
        return self.standing[leg]

    def placed(self, leg: Leg) -> Tube:
        """The leading part as the leg begins."""
        tube = self.leading.in_die(leg.at) if leg.before else self.leading.standing(leg.at)
        return tube.moved(shift=leg.advance, roll=leg.roll)

    def need(self, leg: Leg, tube: Tube) -> tuple[float, float]:
        """What must be kept to machine and floor as the leg begins, and how much more as it ends [mm]."""
        return self.about.need(tube.total + leg.advance, leg.way)

    def slid(self, at: At, y: float, start: float = 0.0, arm: float = 0.0, open_: bool = False) -> dict[float, int]:
        """The arc slides straight out from `start` to y [mm] with the arm at an angle [rad]."""
        return self.by_clamp(Leg(at, start, y - start, arm=arm, open=open_))

    def _roles(self, leg: Leg) -> Roles:
        return self.about.gripped_roles() if leg.before else self.about.standing_roles(self.leading.angle(leg.at))

    def _past_what_stands(self, checks: Checks, leg: Leg, tube: Tube) -> None:
        about, motion = self.about, Motion("x", leg.turn, leg.way)
        checks.add("all", tube, about.frame, self.need(leg, tube), motion)
        # What lies on the feed, or in the groove, may touch: the first straight, the arc just formed and what follows it.
        excused = 1 if leg.before else 0 if leg.rolled else 2
        loose = tube.take(slice(excused, None))
        returned = not leg.before and not leg.rolled and leg.arm == 0.0 and self.leading.angle(leg.at) >= RETURNED
        checks.add("all", loose, [about.die], EASE if returned else about.apart, motion)
        checks.add("all", loose, about.wiper, about.apart, motion)
        checks.add("all", tube, about.hub, about.apart, motion)
        about.past_rod(checks, tube, self._roles(leg).off_rod, motion, leg.arm == 0.0)
        if leg.open:
            checks.add("all", tube, about.waiting, self.need(leg, tube), motion)

    def _past_the_pressure_die(self, checks: Checks, leg: Leg, tube: Tube) -> None:
        about, motion = self.about, Motion("x", leg.turn, leg.way)
        forward = (0.0, about.follows(leg.arm * about.clr))
        checks.add("all", tube, [about.pressure("open", forward)], about.apart, motion)
        checks.add("all", tube, about.slide("open", forward), self.need(leg, tube), motion)

    def _past_the_arm(self, checks: Checks, leg: Leg, tube: Tube) -> None:
        about, motion, roles = self.about, Motion("x", leg.turn, leg.way), self._roles(leg)
        need = self.need(leg, tube)
        if leg.arm != 0.0:
            # The straight that comes out meanwhile stands still as a set; with the arm at home `on_the_feed` has it.
            first = about.swung(self.leading.straight(leg.out), -leg.arm)
            checks.add("all", first, about.arm, about.need(tube.total + leg.out))
            about.past_section(checks, first, {0: EASE}, STILL)
            for clamp in about.clamps:
                checks.add(clamp, first, [about.clamp(clamp)], about.apart)
            tube = about.swung(tube, -leg.arm)
            aside = -about.side * leg.way * math.sin(leg.arm)
            motion = Motion("x", 0.0, leg.way * math.cos(leg.arm), aside=aside)
        checks.add("all", tube, about.arm, need, motion)
        beyond = 1 if leg.before else 0  # the first straight lies in the section
        eased = roles.rolled if leg.rolled else roles.slid
        about.past_section(
            checks, tube.take(slice(beyond, None)), {i - beyond: ease for i, ease in eased.items()}, motion
        )
        for clamp in about.clamps:
            checks.add(clamp, tube, [about.clamp(clamp)], about.apart, motion)


def on_the_feed(leading: LeadingParts, about: Surroundings, angle: float) -> Checks:
    """Straight tube on the feed against all that it must clear: ahead with the arm at home, behind also as it swings.

    What every bend has in common: judged once for a machine, not bend by bend. angle: the machine's largest [rad].
    """
    checks, line, mandrel = Checks(about.radius), leading.straight(7000.0), about.machine.mandrel
    behind = 7000.0 if mandrel is None else mandrel.rod_length - 1.0  # no more tube is put on the rod than it is long
    back = leading.straight(behind).moved(shift=-behind)
    swing, need = about.swinging(-angle), about.need(4000.0)
    checks.add("frame", line, about.frame, need)
    checks.add("frame, behind", back, about.frame, about.required)
    checks.add("pressure die", line, [about.pressure("open")], about.apart)
    for state, forward in (("travel", (0.0, 0.0)), ("open", (0.0, about.follows(angle * about.clr)))):
        checks.add("pressure die's slide", line, about.slide(state, forward), need)
        checks.add("pressure die's slide", back, about.slide(state, forward), about.required)
    checks.add("arm", line, about.arm, need)
    checks.add("arm, swung", back, about.arm, about.required, swing)
    for clamp in about.clamps:
        checks.add("clamp", line, [about.clamp(clamp)], about.apart)
        checks.add("clamp, swung", back, [about.clamp(clamp)], about.apart, swing)
    return checks
