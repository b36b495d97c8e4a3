"""A simulated tube for the tests: forward kinematics by homogeneous matrices, written apart from planner.tube.

The tube is walked forward from the tangent point. Every element is a straight, a roll about the local x axis, or an
arc toward the die's side; nothing is shared with the program but the part's own numbers.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]


def shift(x: float, y: float = 0.0, z: float = 0.0) -> Array:
    out = np.eye(4)
    out[:3, 3] = (x, y, z)
    return out


def turn(axis: str, angle: float) -> Array:
    out = np.eye(4)
    out[:3, :3] = Rotation.from_euler(axis, angle).as_matrix()
    return out


def arc(radius: float, angle: float, side: float) -> Array:
    """Go round a die whose axis lies at y = side · radius, side −1 for a right head."""
    return shift(0.0, side * radius) @ turn("z", side * angle) @ shift(0.0, -side * radius)


@dataclass(frozen=True)
class Lra:
    """A part seen from its leading end: straights (n+1), rotations, angles, radii (n), rotation i before bend i."""

    straights: Array
    rotations: Array
    angles: Array
    radii: Array

    @property
    def starts(self) -> Array:
        arcs = self.radii * self.angles
        return np.cumsum(self.straights[:-1]) + np.concatenate(([0.0], np.cumsum(arcs)[:-1]))

    def reversed(self) -> "Lra":
        rolls = np.concatenate(([0.0], self.rotations[:0:-1]))
        return Lra(self.straights[::-1], rolls, self.angles[::-1], self.radii[::-1])


def poses(
    part: Lra,
    formed: Collection[int],
    at: float,
    roll: float,
    side: float,
    places: Array,
    die: tuple[int, float] | None = None,
    plane: int | None = None,
) -> Array:
    """Points (k, 3) in the machine of stock coordinates `places` (from the leading end) with `at` at the tangent point.

    formed: bends (from 1); die: bend in the die and its swing so far, `at` then lies at the tail end of its arc; plane:
    the bend whose plane is the machine's at roll 0.
    """
    frames: list[tuple[float, float, Array, float]] = []  # from u down to u, pose at the first, radius (0: straight)
    pose, u = turn("x", roll), at
    current = plane
    if die is not None:
        bend, swing = die
        current, radius = bend, float(part.radii[bend - 1])
        frames.append((u, u - radius * swing, pose, radius))
        pose, u = pose @ arc(radius, swing, side), u - radius * swing
    for i in range(len(part.angles), 0, -1):
        start, radius, angle = float(part.starts[i - 1]), float(part.radii[i - 1]), float(part.angles[i - 1])
        if i not in formed or (die is not None and i >= die[0]) or start > u - 1e-9:
            continue
        end = start + radius * angle
        frames.append((u, end, pose, 0.0))
        pose = pose @ shift(u - end)
        assert current is not None
        low, high = sorted((i, current))
        total = float(part.rotations[low:high].sum())
        pose = pose @ turn("x", total if current > i else -total)
        frames.append((end, start, pose, radius))
        pose, u, current = pose @ arc(radius, angle, side), start, i
    frames.append((u, -np.inf, pose, 0.0))
    out = np.empty((len(places), 3))
    for k, place in enumerate(places):
        if place > at:
            out[k] = (at - place, 0.0, 0.0)
            continue
        first, _, base, radius = next(f for f in frames if f[1] - 1e-9 <= place)
        step = shift(first - place) if radius == 0.0 else arc(radius, (first - place) / radius, side)
        out[k] = (base @ step)[:3, 3]
    return out
