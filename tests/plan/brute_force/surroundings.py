"""What knows the machine: its solids in their places, the way its arm swings, and how far tube must keep from each.

The frame of reference has its origin at the tangent point, +x along the feed and +z up. Solids of the arm are given as
they stand with the arm at home, those of the carriage as they stand with the collet's face at the origin.
"""

from __future__ import annotations

from tests.plan.brute_force.plane import Obstacle
from tests.plan.brute_force.sampled import CLEAR, Checks, Motion
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.solids import BLOCK, BOX, DIE, FLOOR, POST, Solid
from tests.plan.brute_force.tube import Tube


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
        assert all(solid.kind == BOX for solid in self.boxes), "a post on the carriage is not swept along the feed here"
        self.die = Solid(DIE, (self.axis, self.clr, tooling.die_height / 2.0, self.radius))
        self.hub, self.wiper = self._hub(), self._wiper()

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

    def follows(self, feed: float) -> float:
        """How far the pressure die has come forward with so much tube drawn [mm]."""
        return feed if self.tooling.pressure_die_follows else 0.0

    @property
    def nose(self) -> float:
        """Before the tube may be turned it is advanced by this much, out of the mandrel's way [mm]."""
        return 0.0 if self.machine.mandrel is None else self.machine.mandrel.nose

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

    def obstacles(self, clamp: float, ahead: float) -> list[Obstacle]:
        """What stands about the tube between bends, with a clamp, and so much leading part at an advance of 0 [mm]."""
        tooling = [self.die, *self.wiper, *self.hub, self.pressure("open"), self.clamp(clamp)]
        kept = [Obstacle(solid, self.apart) for solid in tooling]
        return kept + [Obstacle(solid, self.need(ahead)[0], self.sag) for solid in (*self.frame, *self.arm)]

    def by_clamp(self, checks: Checks) -> dict[float, int]:
        """Each clamp's verdict: that of the checks under its length together with that of those under "all"."""
        found = checks.verdicts()
        return {clamp: max(found.get("all", CLEAR), found.get(clamp, CLEAR)) for clamp in self.clamps}
