"""Carry out a plan document on a simulated tube: only the document's own numbers and words, nothing from the program.

The tube is a cloud of centreline points with their stock coordinates (from end A of the part). The formed part lies in the
machine frame; advancing shifts it, rotating turns it about x, bending swings it about the die axis, springing back swings it
back. What has not passed the tangent point is straight and lies on the x axis.
"""

import math
import re
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from tests.simulated import Array

STEP = 2.0
"""Spacing of the centreline points [mm]."""


class Tube:
    """The tube in the machine while the steps are carried out."""

    def __init__(self, plan: dict[str, Any]) -> None:
        self.plan = plan
        self.side = -1.0 if plan["machine"]["head"]["bends_toward"] == "right" else 1.0
        self.rows = plan["part"]["shape"]["lra"]
        self.radii = [row[3] for row in self.rows[:-1]]
        self.stock = plan["stock"]
        self.points = np.zeros((0, 3))
        self.u = np.zeros(0)
        self.sign = 1.0  # stock coordinate = origin + sign · (stock that has passed the tangent point)
        self.passed = 0.0
        self.leads = "A"
        self.last_end: dict[int, tuple[float, float]] = {}  # bend → stock coordinates of its two tangent points

    def at_tangent(self) -> float:
        """Stock coordinate from end A at the tangent point."""
        total = self.stock["developed_length"]
        if self.leads == "A":
            return float(self.passed - self.stock["trim_a"])
        return float(total + self.stock["trim_b"] - self.passed)

    def advance(self, way: float) -> None:
        self.points = self.points + [way, 0.0, 0.0]
        if way > 0.0:
            x = np.linspace(0.0, way, max(2, int(way / STEP) + 1))
            self.points = np.vstack((self.points, np.column_stack((x, 0 * x, 0 * x))))
            ahead = self.at_tangent() + (x - way if self.leads == "B" else way - x)
            self.u = np.concatenate((self.u, ahead))
        self.passed += way
        keep = self.points[:, 0] >= -1e-9 if way < 0.0 else np.ones(len(self.points), dtype=bool)
        if way < 0.0:  # what goes back behind the tangent point is tail again
            keep |= np.abs(self.points[:, 1]) + np.abs(self.points[:, 2]) > 1e-9
            self.points, self.u = self.points[keep], self.u[keep]

    def rotate(self, angle: float) -> None:
        self.points = self.points @ Rotation.from_euler("x", angle).as_matrix().T

    def swing(self, angle: float, radius: float) -> None:
        axis = np.array([0.0, self.side * radius, 0.0])
        self.points = (self.points - axis) @ Rotation.from_euler("z", self.side * angle).as_matrix().T + axis

    def bend(self, number: int, setting: float, angle: float) -> None:
        """Swing to the setting, then spring back to the angle; only the arc of the angle stays."""
        radius = self.radii[number - 1]
        start = self.at_tangent()
        self.swing(setting, radius)
        self.swing(angle - setting, radius)
        a = np.linspace(0.0, angle, max(3, int(radius * angle / STEP) + 1))
        arc = np.column_stack((radius * np.sin(a), self.side * radius * (1.0 - np.cos(a)), 0 * a))
        self.passed += radius * angle
        tangent = self.at_tangent()
        self.points = np.vstack((self.points, arc))
        self.u = np.concatenate((self.u, tangent + (-radius * a if self.leads == "A" else radius * a)))
        self.last_end[number] = (min(start, tangent), max(start, tangent))

    def turn_end_for_end(self, leads: str, words: str) -> None:
        """Lay the formed tube in the other way round, as the step's words say."""
        distance, bend = (
            float(re.search(r"([\d.]+) mm ahead", words)[1]),
            int(re.search(r"point of bend (\d+)", words)[1]),
        )
        near, far = self.last_end[bend]
        if leads == "A":
            near, far = far, near  # `near` faces the carriage now: the side of the end that trails
        self.points, self.u = self._with_tail()
        origin = self._point(near)
        straight_behind = 0.5 * distance * (1.0 if near > far else -1.0)  # a point of the straight that joins on
        forward = origin - self._point(near + straight_behind)
        forward = forward / np.linalg.norm(forward)
        behind = self._point(far) - origin
        curl = behind - forward * (behind @ forward)
        curl = curl / np.linalg.norm(curl)
        want = self._leg(words)
        basis = np.column_stack((forward, curl, np.cross(forward, curl)))
        goal = np.column_stack(([1.0, 0.0, 0.0], want, np.cross([1.0, 0.0, 0.0], want)))
        self.points = (self.points - origin) @ (goal @ basis.T).T + [distance, 0.0, 0.0]
        self.leads = leads
        total = self.stock["developed_length"]
        place = near - distance if leads == "B" else near + distance
        self.passed = place + self.stock["trim_a"] if leads == "A" else total + self.stock["trim_b"] - place
        ahead = self.u <= place + 1e-6 if leads == "A" else self.u >= place - 1e-6
        self.points, self.u = self.points[ahead], self.u[ahead]

    def _leg(self, words: str) -> Array:
        """The direction across the feed in which the leg is said to point."""
        if "straight up" in words or "straight down" in words:
            return np.array([0.0, 0.0, 1.0 if "straight up" in words else -1.0])
        slope = re.search(r"leg beyond bend \d+ (?:level|([\d.]+)° (above|below) level), toward (.*?)\.", words)
        up = 0.0 if slope[1] is None else math.radians(float(slope[1])) * (1.0 if slope[2] == "above" else -1.0)
        across = self.side if slope[3] == "the die's side" else -self.side
        return np.array([0.0, across * math.cos(up), math.sin(up)])

    def _with_tail(self) -> tuple[Array, Array]:
        low, high = -self.stock["trim_a"], self.stock["developed_length"] + self.stock["trim_b"]
        now = self.at_tangent()
        length = high - now if self.leads == "A" else now - low
        x = np.linspace(0.0, length, int(length / STEP) + 2)
        u = now + (x if self.leads == "A" else -x)
        return np.vstack((self.points, np.column_stack((-x, 0 * x, 0 * x)))), np.concatenate((self.u, u))

    def _point(self, u: float) -> Array:
        order = np.argsort(self.u, kind="stable")
        return np.array([np.interp(u, self.u[order], self.points[order, k]) for k in range(3)])

    def finished(self) -> tuple[Array, Array]:
        """The whole tube: stock coordinates (rising) and points."""
        points, u = self._with_tail()
        order = np.argsort(u, kind="stable")
        return u[order], points[order]


def carry_out(plan: dict[str, Any]) -> Tube:
    """Carry out all steps."""
    tube = Tube(plan)
    for step in plan["steps"]:
        match step["action"]:
            case "load":
                tube.leads = step["leads"]
                stands = re.search(r"its end ([\d.]+) mm past", step["note"])
                tube.passed = 0.0
                if stands is not None:
                    tube.advance(float(stands[1]))
            case "turn":
                tube.turn_end_for_end(step["leads"], step["note"])
            case "advance":
                tube.advance(step["amount"])
            case "rotate":
                tube.rotate(math.radians(step["amount"]) * (1.0 if step["way"] == "clockwise" else -1.0))
            case "bend":
                tube.bend(step["bend"], math.radians(step["setting"]), math.radians(step["angle"]))
    return tube


def fitted(points: Array, goal: Array) -> tuple[float, float]:
    """Largest distance after the best proper rigid motion, and after the best mirrored one [mm] (Kabsch)."""
    a, b = points - points.mean(axis=0), goal - goal.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    errors = []
    for mirrored in (1.0, -1.0):
        flip = np.diag([1.0, 1.0, mirrored * np.sign(np.linalg.det(left @ right))])
        errors.append(float(np.linalg.norm(a @ (left @ flip @ right) - b, axis=1).max()))
    return errors[0], errors[1]
