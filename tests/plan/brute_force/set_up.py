"""A part set up on a machine: the tooling, the settings on the dial, and the part as counted from either end."""

from __future__ import annotations

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from tests.plan.brute_force.tube import End, View


class SetUp:
    """A part of one bend radius on a machine that has a carriage."""

    def __init__(self, part: Part, machine: Machine) -> None:
        assert machine.carriage is not None
        assert len(set(part.radii)) == 1
        self.part, self.machine, self.carriage = part, machine, machine.carriage
        self.radius = float(part.radii[0])  # of the bends [mm]
        self.tooling = machine.tooling_for(part.outside_diameter, self.radius)
        self.settings = [setting_for(float(angle), machine, part, self.radius).value for angle in part.angles]
        self.views = self._views()

    def section_length(self, clamp: float) -> float:
        """How long the die's straight groove is with a clamp, 0 where the die has none [mm]."""
        given = self.tooling.grip_section
        if given is False:
            return 0.0
        return clamp if given is None or given.length is None else given.length

    def _views(self) -> dict[End, View]:
        part = self.part
        straights, rotations, angles = (list(map(float, row)) for row in (part.straights, part.rotations, part.angles))
        shown = [self._shown(setting, angle) for setting, angle in zip(self.settings, angles, strict=True)]
        return {
            "A": View(straights, rotations, angles, shown, self.radius),
            "B": View(straights[::-1], [0.0, *rotations[:0:-1]], angles[::-1], shown[::-1], self.radius),
        }

    def _shown(self, setting: float, angle: float) -> float:
        """The setting as the dial shows it, never less than the angle and never beyond the machine's largest [rad]."""
        step, largest = self.machine.rotation.resolution, self.machine.head.largest_angle
        count = round(setting / step)
        count -= count * step > largest + 1e-9
        return max(count * step, angle)
