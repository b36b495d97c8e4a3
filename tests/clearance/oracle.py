"""The tests' own tube in the machine, written anew: homogeneous matrices with scipy's Rotation, distances by coal.

Nothing here imports the program. A place on the tube is its stock coordinate u from the leading end. The tube is
walked from its tail forward in a frame of its material; a bend that is formed by an angle θ takes up the stock
[a, a + CLR·θ], whatever is left of it is straight.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import coal
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from tests.geometry.shapes import LENGTHWISE, Body, asked

Array = NDArray[np.float64]


def matrix(rotation: Array, shift: Array) -> Array:
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = rotation, shift
    return out


def roll(angle: float) -> Array:
    return matrix(Rotation.from_euler("x", angle).as_matrix(), np.zeros(3))


def along(length: float) -> Array:
    return matrix(np.eye(3), np.array([length, 0.0, 0.0]))


def curl(radius: float, angle: float) -> Array:
    """Forward round an arc that bends toward the frame's +y."""
    shift = radius * np.array([np.sin(angle), 1.0 - np.cos(angle), 0.0])
    return matrix(Rotation.from_euler("z", angle).as_matrix(), shift)


@dataclass(frozen=True)
class Drawing:
    """A part seen from its leading end [mm], [rad]; rotations[i] turns the plane of bend i into that of bend i+1."""

    straights: Array
    rotations: Array
    angles: Array
    clr: float
    trim: float = 0.0

    @cached_property
    def starts(self) -> Array:
        before = np.concatenate(([0.0], np.cumsum(self.clr * self.angles)[:-1]))
        return np.asarray(np.cumsum(self.straights[:-1]) + before)

    @cached_property
    def developed(self) -> float:
        return float(self.straights.sum() + (self.clr * self.angles).sum())

    def plane(self, bend: int) -> float:
        """Angle of a bend's plane about the forward direction, counted from the last bend's.

        R is right-handed about A→B; forward is the other way, and so is going to the neighbour ahead: +R.
        """
        return float(self.rotations[bend:].sum())


@dataclass(frozen=True)
class Tube:
    """A partly bent tube: `formed` gives each formed bend (from 1) the angle it has now."""

    drawing: Drawing
    formed: Mapping[int, float]

    @cached_property
    def walk(self) -> list[tuple[float, float, float, float, Array]]:
        """(u at the tail end, length, curvature, plane, frame there), from the tail forward."""
        d = self.drawing
        items: list[tuple[float, float, float, float, Array]] = []
        u, frame = d.developed + 400.0, np.eye(4)
        for bend in sorted(self.formed, reverse=True):
            theta = self.formed[bend]
            if theta <= 0.0:
                continue
            tail_end = float(d.starts[bend - 1]) + d.clr * theta
            items.append((u, u - tail_end, 0.0, 0.0, frame))
            frame = frame @ along(u - tail_end)
            plane = d.plane(bend)
            items.append((tail_end, d.clr * theta, 1.0 / d.clr, plane, frame))
            frame = frame @ roll(plane) @ curl(d.clr, theta) @ roll(-plane)
            u = float(d.starts[bend - 1])
        items.append((u, u + d.trim, 0.0, 0.0, frame))
        return items

    def frames(self, places: Array) -> Array:
        """Material frames (k, 4, 4) at places."""
        out = np.empty((places.size, 4, 4))
        left = np.ones(places.size, dtype=bool)
        for number, (tail_end, length, curvature, plane, frame) in enumerate(self.walk):
            last = number == len(self.walk) - 1
            here = left & ((places >= tail_end - length - 1e-9) | last)
            left &= ~here
            s = tail_end - places[here]
            local = np.tile(np.eye(4), (s.size, 1, 1))
            if curvature == 0.0:
                local[:, 0, 3] = s
                out[here] = frame @ local
            elif s.size:
                local[:, :3, :3] = Rotation.from_euler("z", (s * curvature)[:, None]).as_matrix()
                local[:, 0, 3] = np.sin(s * curvature) / curvature
                local[:, 1, 3] = (1.0 - np.cos(s * curvature)) / curvature
                out[here] = frame @ roll(plane) @ local @ roll(-plane)
        return out

    def frame(self, u: float) -> Array:
        """Material frame (4, 4) at a place."""
        return np.asarray(self.frames(np.array([u]))[0])

    def placed(self, at: float, plane_of: int, rotation: float, side: float) -> Array:
        """Matrix from the material frame to the machine's: place `at` at the tangent point, heading along +X, the
        plane of a bend in the plane of bend and its inner side toward the die, then rotated about the feed.
        """
        toward = 0.0 if side > 0.0 else np.pi
        return np.asarray(roll(rotation + toward - self.drawing.plane(plane_of)) @ np.linalg.inv(self.frame(at)))


@dataclass
class Moment:
    """The machine with the tube in it at one moment.

    at: stock coordinate at the tangent point; arm, face, forward, drop: arm's angle, collet's face to tangent point,
    way of the pressure die, how far the die is lowered; fed: how far the tube has gone forward since the start.
    """

    tube: Tube
    to_machine: Array
    at: float
    arm: float
    face: float | None
    forward: float
    tail_length: float
    drop: float = 0.0
    fed: float = 0.0

    def frames(self, places: Array) -> Array:
        """Frames (k, 4, 4) of cross-sections in the machine frame."""
        return np.asarray(self.to_machine @ self.tube.frames(places))


@dataclass
class Play:
    """A motion as the tests understand it: everything runs evenly over t from 0 to 1.

    swing: angle of the bend in the die (None: no bend is changing); at: stock coordinate at the tangent point.
    """

    drawing: Drawing
    formed: dict[int, float]
    side: float
    plane_of: int
    at: tuple[float, float]
    swing: tuple[float, float] | None = None
    bend: int = 0
    rotation: tuple[float, float] = (0.0, 0.0)
    arm: tuple[float, float] = (0.0, 0.0)
    face: tuple[float, float] | None = None
    forward: tuple[float, float] = (0.0, 0.0)
    drop: tuple[float, float] = (0.0, 0.0)
    stock_end: float = 0.0
    _known: dict[float, Moment] = field(default_factory=dict)

    def moment(self, t: float) -> Moment:
        if t not in self._known:
            formed = dict(self.formed)
            if self.swing is not None:
                formed[self.bend] = between(self.swing, t)
            tube, at = Tube(self.drawing, formed), between(self.at, t)
            pose = tube.placed(at, self.plane_of, between(self.rotation, t), self.side)
            face = None if self.face is None else between(self.face, t)
            self._known[t] = Moment(
                tube,
                pose,
                at,
                between(self.arm, t),
                face,
                between(self.forward, t),
                self.stock_end - at,
                between(self.drop, t),
                at - self.at[0],
            )
        return self._known[t]

    def seen(self, owner: str, frames: Array, t: float) -> Array:
        """Frames as they look from what a solid moves with."""
        now, clr = self.moment(t), self.drawing.clr
        if owner in ("die", "section"):  # what is lowered sees the tube above it
            frames = matrix(np.eye(3), np.array([0.0, 0.0, now.drop])) @ frames
        if owner in ("arm", "section"):
            axis = np.array([0.0, self.side * clr, 0.0])
            back = Rotation.from_euler("z", -self.side * now.arm).as_matrix()
            return np.asarray(matrix(back, axis - back @ axis) @ frames)
        if owner == "tail":
            return np.asarray(along(-now.fed) @ frames)
        if owner == "carriage" and now.face is not None:
            return np.asarray(along(now.face) @ frames)
        if owner == "pressure die":
            return np.asarray(along(-now.forward) @ frames)
        return frames


def between(pair: tuple[float, float], t: float) -> float:
    return pair[0] + t * (pair[1] - pair[0])


def gap(thing: Any, frame: Array, solid: Body) -> float:
    """Distance of a coal shape that lies along a frame's x to a solid."""
    return asked(thing, frame[:3, :3] @ LENGTHWISE, frame[:3, 3], solid)


def sphere_gap(point: Array, radius: float, solid: Body) -> float:
    return asked(coal.Sphere(radius), np.eye(3), point, solid)


class Profile:
    """A grooved profile {0 ≤ a ≤ width, |z| ≤ half} less a disc at the origin: the brute-force nearest boundary point.

    The boundary is sampled every `step` mm; a sampled nearest point is never nearer than the true one, and farther by
    at most step²/(8·distance) or step/2. What is farther than `horizon` is given as that.
    """

    horizon = 100.0

    def __init__(
        self, width: float, half: float, groove: float, step: float = 0.02, solid_at_width: bool = False
    ) -> None:
        self.width, self.half, self.groove = width, half, groove

        def line(a0: float, z0: float, a1: float, z1: float) -> Array:
            k = np.linspace(0.0, 1.0, max(2, int(np.hypot(a1 - a0, z1 - z0) / step)))
            return np.stack((a0 + k * (a1 - a0), z0 + k * (z1 - z0)), axis=1)

        around = np.linspace(-np.pi / 2.0, np.pi / 2.0, int(np.pi * groove / step))
        arc = groove * np.stack((np.cos(around), np.sin(around)), axis=1)
        sides = [line(0, groove, 0, half), line(0, -groove, 0, -half), line(0, half, width, half)]
        sides += [line(0, -half, width, -half), arc]
        if not solid_at_width:  # a die's axis is no surface
            sides.append(line(width, -half, width, half))
        self.tree = cKDTree(np.concatenate(sides))

    def signed(self, a: Array, z: Array) -> Array:
        far = np.asarray(self.tree.query(np.stack((a, z), axis=-1), distance_upper_bound=self.horizon)[0])
        far = np.minimum(far, self.horizon)
        inside = (a >= 0) & (a <= self.width) & (np.abs(z) <= self.half) & (np.hypot(a, z) >= self.groove)
        return np.where(inside, -far, far)


def disc_points(frames: Array, radius: float, rims: int = 48) -> Array:
    """Points (k, rims + 1, 3) of flat cross-sections: rim and centre."""
    angle = np.linspace(0.0, 2.0 * np.pi, rims, endpoint=False)
    local = radius * np.stack((0.0 * angle, np.cos(angle), np.sin(angle)))
    rim = frames[:, :3, :3] @ local
    points = np.concatenate((rim, np.zeros((len(frames), 3, 1))), axis=2) + frames[:, :3, 3:4]
    return np.asarray(points.transpose(0, 2, 1))
