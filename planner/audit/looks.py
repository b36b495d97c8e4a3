"""N points of the tube held against one solid in one phase: what they need, and how deep they are.

How `deep` a point is: what the contact table asks for there, less AUDIT_STRIKE_MARGIN and less an upper bound of the
distance found. A strike that is deep by d > 0 is confirmed, and remains one when tube or solid are shifted by less
than d.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from planner.audit.bench import State
from planner.audit.contact import held_to, must_keep, on_the_rod, only_beyond_right_angle
from planner.audit.material import AFTER, FIRST, FORMED, FORMING, ROLES, TAIL, Points
from planner.audit.motions import Motion, Phase
from planner.audit.nearness import over_stretch, seen_from_arm, surface
from planner.audit.shapes import Array
from planner.audit.solids import Solid, is_convex
from planner.tolerances import ANGLE_SLACK, AUDIT_STRIKE_MARGIN, SAME_PLACE

RIGHT_ANGLE: Final = math.pi / 2.0


@dataclass(frozen=True)
class Look:
    """N points in one phase against one solid.

    state: whose bend's tooling is in the machine; arm (N,) [rad] and face (N,), collet's face to tangent point [mm], at
    those moments; clamp: length in the bend [mm]; slides: an arc just formed slides straight out, of the angle `arc`
    [rad] and `arc_length` [mm].
    """

    state: State
    phase: Phase
    solid: Solid
    arm: Array
    face: Array
    clamp: float = 0.0
    slides: bool = False
    arc: float = 0.0
    arc_length: float = 0.0

    def deep(self, points: Points, swing: Array) -> Array:
        """Return how deep the points are [mm]; swing: of the leading part, the arc in the die so far (N,) [rad]."""
        needed = self.needed(points, swing)
        seen = self._seen(self._held_apart(points))
        return _deep(seen, needed, surface(self.solid, seen, self.state.bench.radius))

    def deep_over(self, points: Points, way: Array, turn: Array) -> Array:
        """Return how deep the points are at least, advanced by up to `way` and turned by up to `turn` either way.

        Between bends, the arm at home. A point of the tube's surface moves by no more than its distance from the feed's
        axis times `turn` when it turns, and no farther from that axis is any of them than the centreline and a radius.
        """
        points = self._held_apart(points)
        turning = (np.hypot(points.x[1], points.x[2]) + self.state.bench.radius) * turn
        shortest = replace(points, ahead=points.ahead - way)
        needed = self.needed(shortest, np.zeros_like(way))
        most = over_stretch(self.solid, points, self.state.bench.radius, way, is_convex(self.solid)) + turning
        return _deep(points, needed, most)

    def needed(self, points: Points, swing: Array) -> Array:
        """Return what the contact table asks for at the points (N,) [mm], −∞ where it asks for nothing."""
        bench, bend = self.state.bench, self.state.here
        motion = Motion(
            0, self.phase, (), self.state.tooling, self.clamp, 0.0, bench.toward, bend.radius, 0.0, 0.0, 0.0,
            slides=self.slides, arc=self.arc, arc_radius=bend.radius,
        )  # fmt: skip
        asked = [must_keep(role, self.solid, motion) for role in ROLES]
        least = np.array([-math.inf if need is None else bench.needs[need] for need in asked])
        sag = np.array([bench.sag if need == "required" else 0.0 for need in asked])
        sag[TAIL] = 0.0
        needed = least[points.role] + sag[points.role] * points.ahead
        if only_beyond_right_angle("first", self.solid, self.phase):
            early = (points.role == FIRST) & (swing < RIGHT_ANGLE - ANGLE_SLACK)
            needed = np.where(early, -math.inf, needed)
        return np.asarray(needed)

    def _held_apart(self, points: Points) -> Points:
        """Leave out what the clamp holds of the gripped straight, off the arm, and what is on mandrel and rod."""
        held = np.zeros_like(points.before)
        held[points.role == FIRST] = held_to("first", self.solid, self.phase, self.clamp)
        if self.solid.tool == "mandrel rod":
            tooling, machine = self.state.tooling, self.state.bench.machine
            held[points.role == AFTER] = on_the_rod("after it", 0.0, self.arc_length, tooling, machine)
            arcs = (points.role == FORMING) | (points.role == FORMED)
            held[arcs] = math.pi / points.curvature[arcs]
        within = points.before >= held - SAME_PLACE
        return replace(points, before=np.maximum(points.before - held, 0.0), exists=points.exists & within)

    def _seen(self, points: Points) -> Points:
        """Return the points as what the solid moves with sees them."""
        toward, radius = self.state.bench.toward, self.state.here.radius
        if self.solid.owner == "arm":
            return seen_from_arm(points, self.arm, toward, toward * radius)
        if self.solid.owner == "carriage":
            return points.shifted(self.face)
        if self.solid.owner == "pressure die" and self.phase == "bend" and self.state.tooling.pressure_die_follows:
            return points.shifted(-radius * self.arm)
        return points


def _deep(points: Points, needed: Array, most: Array) -> Array:
    """Return needed − AUDIT_STRIKE_MARGIN − most where there is tube, −∞ elsewhere and where that is no number."""
    found = np.where(points.exists, needed - AUDIT_STRIKE_MARGIN - most, -math.inf)
    return np.asarray(np.where(np.isnan(found), -math.inf, found))
