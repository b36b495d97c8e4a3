"""What knows the machine: its solids in their places, the way its arm swings, and how far tube must keep from each.

The frame of reference has its origin at the tangent point, +x along the feed and +z up. Solids of the arm are given as
they stand with the arm at home, those of the carriage as they stand with the collet's face at the origin.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from planner.inputs.tooling import GripSection
from tests.plan.brute_force.cloud import Obstacle
from tests.plan.brute_force.sampled import CLEAR, Checks, Motion
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.solids import BLOCK, BOX, DIE, FLOOR, POST, ROD, Solid, swept
from tests.plan.brute_force.tube import Tube

EASE = -1.0
"""What tube that lies in tooling keeps to it where it may touch: it may overlap it by so much [mm]."""

THINNER, THICK_FOR = 0.3, 5.0
"""A mandrel is so much thinner than the bore [mm], and goes back so many tube diameters where its rod is thinner still."""

RETURNED = math.radians(175.0)
"""From such an arc on the straight after it runs back along the far side of the die, in its groove [rad]."""


class Roles(NamedTuple):
    """What pieces of tube, by number, keep to the grip section of their own [mm] while the tube only slides straight and
    once it was turned, and from which arc length on each of them is held against the rod [mm].
    """

    slid: dict[int, float]
    rolled: dict[int, float]
    off_rod: dict[int, float]


class Surroundings:
    """The solids about the tube; `radius` is the tube's, `clr` that of its bends, `axis` the y of the die's axis [mm]."""

    def __init__(self, set_up: SetUp) -> None:
        machine, tooling, clearance = set_up.machine, set_up.tooling, set_up.machine.clearance
        self.machine, self.tooling, self.clamps = machine, tooling, tuple(tooling.clamp_lengths)
        self.radius, self.clr = set_up.part.outside_diameter / 2.0, tooling.bend_radius
        self.side = -1.0 if machine.head.bends_toward == "right" else 1.0
        self.axis = self.side * self.clr
        self.required, self.sag = clearance.required, clearance.per_metre / 1000.0
        self.apart, self.itself = clearance.to_tooling, clearance.to_itself
        self.frame = [Solid(FLOOR, (-machine.head.centreline_height,)), *self._moving_with("frame")]
        self.arm, self.boxes = self._moving_with("arm"), self._moving_with("carriage")
        waits = set_up.carriage.stand_back
        assert all(solid.kind == BOX for solid in self.boxes), "a post on the carriage is not swept along the feed here"
        self.beside = self._moving_with("pressure die")
        self.waiting = swept(self.boxes, 0.0, -set_up.carriage.reach[1] if waits is None else -waits)
        self.die = Solid(DIE, (self.axis, self.clr, tooling.die_height / 2.0, self.radius))
        self.hub, self.wiper = self._hub(), self._wiper()
        self.bore = 2.0 * (self.radius - set_up.part.wall)
        self.section_length = set_up.section_length
        self.left_out: frozenset[str] = frozenset()

    def _moving_with(self, owner: str) -> list[Solid]:
        found = []
        for entry in self.machine.solid:
            if entry.moves_with == owner and entry.box is not None:
                found.append(Solid(BOX, (*entry.box.from_, *entry.box.to)))
            elif entry.moves_with == owner and entry.cylinder is not None:
                made = entry.cylinder
                found.append(Solid(POST, (*made.centre, made.radius, *made.z)))
        return found

    def _hub(self) -> list[Solid]:
        hub = self.tooling.die_hub
        return [] if hub is None else [Solid(POST, (0.0, self.axis, hub.radius, -hub.height / 2.0, hub.height / 2.0))]

    def _wiper(self) -> list[Solid]:
        block = self.tooling.wiper_block
        if block is None:
            return []
        return [Solid(BLOCK, (-block.length, 0.0, self.side, 0.0, block.width, block.height / 2.0, self.radius))]

    def clamp(self, length: float, opened: bool = True) -> Solid:
        """The clamp's block in the arm's frame: open, or all of its travel."""
        block = self.tooling.clamp_block
        face, width = (block.opens, block.width) if opened else (0.0, block.width + block.opens)
        return Solid(BLOCK, (0.0, length, -self.side, face, width, block.height / 2.0, self.radius))

    def pressure(self, state: str, forward: tuple[float, float] = (0.0, 0.0)) -> Solid:
        """The pressure die "closed", "open" or in all of its "travel", swept along its way forward [mm]."""
        block, back = self.tooling.pressure_block, self.tooling.pressure_die_length
        face = block.opens if state == "open" else 0.0
        width = block.width + (block.opens if state == "travel" else 0.0)
        numbers = (forward[0] - back, forward[1], -self.side, face, width, block.height / 2.0, self.radius)
        return Solid(BLOCK, numbers)

    def slide(self, state: str, forward: tuple[float, float] = (0.0, 0.0)) -> list[Solid]:
        """What of the profile goes with the pressure die, "closed", "open" or in all of its "travel", swept forward [mm].

        It is written as it stands with the die closed and at home.
        """
        opens = self.tooling.pressure_block.opens
        low, high = {"closed": (0.0, 0.0), "open": (opens, opens), "travel": (0.0, opens)}[state]
        out = sorted((-self.side * low, -self.side * high))
        return [
            Solid(BOX, (p[0] + forward[0], p[1] + out[0], p[2], p[3] + forward[1], p[4] + out[1], p[5]))
            for _, p in self.beside
        ]

    def section(self, clamp: float) -> list[Solid]:
        """The die's straight groove under a clamp, in the arm's frame; none where the die has none.

        What a profile does not say: as long as the clamp, as high as the die, 1.5 diameters deep but to the die's axis.
        """
        given = GripSection() if self.tooling.grip_section is None else self.tooling.grip_section
        if given is False or "section" in self.left_out:
            return []
        deep = min(3.0 * self.radius, self.clr) if given.depth is None else given.depth
        high = self.tooling.die_height if given.height is None else given.height
        long = self.section_length(clamp)
        return [Solid(BLOCK, (0.0, long, self.side, 0.0, deep, high / 2.0, self.radius))]

    def rod(self, between_bends: bool) -> list[Solid]:
        """Mandrel and rod, with their nose at the tangent point between bends if they are drawn back there."""
        mandrel = self.machine.mandrel
        if mandrel is None or "rod" in self.left_out:
            return []
        thick = (self.bore - THINNER) / 2.0
        thin = thick if mandrel.rod_diameter is None else min(mandrel.rod_diameter / 2.0, thick)
        front = 0.0 if between_bends and mandrel.draws_back else self.reach
        found = [Solid(ROD, (-mandrel.rod_length, front, thin))]
        if thin < thick:
            found.append(Solid(ROD, (-min(2.0 * THICK_FOR * self.radius, mandrel.rod_length), front, thick)))
        return found

    @property
    def reach(self) -> float:
        """How far nose and balls of the mandrel stand past the tangent point [mm]."""
        if self.machine.mandrel is None:
            return 0.0
        if self.tooling.mandrel is None:
            return self.machine.mandrel.nose or 0.0
        tip = self.tooling.mandrel
        return tip.nose if tip.ball_reach is None else tip.ball_reach

    @property
    def turns_from(self) -> float:
        """Before formed tube may be turned it is advanced by this much, out of the mandrel's way [mm]."""
        drawn_back = self.machine.mandrel is not None and self.machine.mandrel.draws_back
        return 0.0 if drawn_back else self.reach

    def follows(self, feed: float) -> float:
        """How far the pressure die has come forward with so much tube drawn [mm]."""
        return feed if self.tooling.pressure_die_follows else 0.0

    # The arm

    def swinging(self, angle: float) -> Motion:
        """The arm's swing by an angle from where it stands [rad], as a motion of what goes with it."""
        return Motion("z", self.side * angle, y=self.axis)

    def swung(self, tube: Tube, angle: float) -> Tube:
        """Tube turned with the arm by an angle [rad]; turned back by it, it is as the arm sees it."""
        return tube.moved(swing=self.side * angle, axis_y=self.axis)

    # What must be kept

    def need(self, ahead: float, more: float = 0.0) -> tuple[float, float]:
        """What must be kept to machine and floor with so much leading part, and so much more at the motion's end [mm]."""
        return (self.required + self.sag * ahead, self.sag * more)

    def standing_roles(self, angle: float) -> Roles:
        """Of a tube that stands after a bend of this angle [rad]: arc just formed, straight after it, the arc at its end."""
        on_mandrel = max(0.0, self.reach + 2.0 * self.radius - self.clr * angle)
        slid = {0: EASE, 1: EASE, 2: EASE}
        return Roles(slid, {0: EASE, 2: EASE}, {0: math.pi * self.clr, 1: on_mandrel})

    def gripped_roles(self) -> Roles:
        """Of a tube that lies in the die: the first straight, the arc at its end."""
        return Roles({0: EASE, 1: EASE}, {0: EASE, 1: EASE}, {0: math.inf})

    def obstacles(self, clamp: float, ahead: float, roles: Roles) -> list[Obstacle]:
        """What stands about the tube between bends, with a clamp, and so much leading part at an advance of 0 [mm]."""
        tooling = [self.die, *self.wiper, *self.hub, self.pressure("open"), self.clamp(clamp)]
        kept = [Obstacle(solid, self.apart) for solid in tooling]
        kept += [Obstacle(solid, self.apart, own=roles.rolled) for solid in self.section(clamp)]
        kept += [Obstacle(solid, self.apart, first=roles.off_rod) for solid in self.rod(True)]
        about = (*self.frame, *self.arm, *self.slide("open"))
        return kept + [Obstacle(solid, self.need(ahead)[0], self.sag) for solid in about]

    def past_section(
        self,
        checks: Checks,
        tube: Tube,
        eased: dict[int, float],
        motion: Motion,
        clamps: tuple[float, ...] | None = None,
    ) -> None:
        """Check tube, as the arm sees it, against the grip section with each clamp; eased: what pieces keep of their own."""
        for clamp in self.clamps if clamps is None else clamps:
            for i in range(len(tube.length)):
                need = eased.get(i, self.apart)
                checks.add(clamp, tube.take(slice(i, i + 1)), self.section(clamp), need, motion)

    def past_rod(
        self, checks: Checks, tube: Tube, off_rod: dict[int, float], motion: Motion, between_bends: bool
    ) -> None:
        """Check tube against mandrel and rod; off_rod: arc lengths from which on pieces are held against them [mm]."""
        for i in range(len(tube.length)):
            cut = off_rod.get(i, 0.0)
            checks.add("all", tube.take(slice(i, i + 1)), self.rod(between_bends), self.apart, motion, cut=cut)

    def by_clamp(self, checks: Checks) -> dict[float, int]:
        """Each clamp's verdict: that of the checks under its length together with that of those under "all"."""
        found = checks.verdicts()
        return {clamp: max(found.get("all", CLEAR), found.get(clamp, CLEAR)) for clamp in self.clamps}
