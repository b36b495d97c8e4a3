"""How far bend arm, clamp and grip section come round: what people keep clear of beside the tube itself."""

from __future__ import annotations

import math

import numpy as np

from planner.clearance import solids as build
from planner.clearance.distances import Kind
from planner.clearance.solids import Owner, Solid
from planner.inputs.machine import Machine, Tooling
from planner.tube.frames import UPWARD, Array, die_axis, turned

SPACING = 40.0
"""Greatest distance between neighbouring points of what the arm sweeps [mm]."""

AROUND = 24
"""Points on the rim of an upright cylinder."""


def on_arm(machine: Machine, tooling: Tooling, clamp: float) -> tuple[Solid, ...]:
    """Return all that turns with the arm, at home: its solids, the clamp in its whole travel, the grip section."""
    block = build.clamp_block(machine, tooling, clamp, (0.0, tooling.clamp_block.opens))
    own = tuple(solid for solid in build.envelope(machine) if solid.owner is Owner.ARM)
    return (*own, block, *build.grip_section(machine, tooling, clamp))


def arm_reach(machine: Machine, tooling: Tooling, clamp: float) -> float:
    """Return how far from the die axis arm, clamp and section reach, seen from above [mm]."""
    axis = die_axis(tooling.bend_radius, build.toward(machine))
    far = [np.hypot(*(corners - axis[:2, None])).max() for corners in _footprints(machine, tooling, clamp)]
    return float(max(far))


def arm_swept(machine: Machine, tooling: Tooling, clamp: float, setting: float) -> Array:
    """Return points (3, n) of the floor [mm] that arm, clamp and section sweep from home to a setting [rad].

    None of what is swept is farther than SPACING from one of them.
    """
    side = build.toward(machine)
    axis = die_axis(tooling.bend_radius, side)
    edges = [_along_edges(corners) for corners in _footprints(machine, tooling, clamp)]
    level = np.concatenate(edges, axis=1)
    points = np.concatenate((level, np.zeros((1, level.shape[1]))))
    way = setting * float(np.hypot(*(level - axis[:2, None])).max())
    angles = np.linspace(0.0, setting, math.ceil(way / SPACING) + 1)
    return np.concatenate([turned(points, UPWARD, side * float(angle), axis) for angle in angles], axis=1)


def _footprints(machine: Machine, tooling: Tooling, clamp: float) -> list[Array]:
    """Return the corners (2, n) of each solid on the arm, seen from above, in order round it [mm]."""
    return [_footprint(solid) for solid in on_arm(machine, tooling, clamp)]


def _footprint(solid: Solid) -> Array:
    p = np.array([[value] for value in solid.parameters])
    if solid.kind is Kind.CYLINDER:
        # Circumscribed, so that no chord cuts the circle.
        turn = 2.0 * np.pi * np.arange(AROUND) / AROUND
        radius = float(p[2, 0]) / math.cos(math.pi / AROUND)
        return np.asarray(p[:2] + radius * np.stack((np.cos(turn), np.sin(turn))))
    if solid.kind is Kind.BORED_BLOCK:
        near, far = p[2] * p[3], p[2] * (p[3] + p[4])
        x0, x1, y0, y1 = (float(v) for v in (p[0, 0], p[1, 0], min(near[0], far[0]), max(near[0], far[0])))
    else:
        x0, y0, x1, y1 = (float(p[k, 0]) for k in (0, 1, 3, 4))
    return np.array([[x0, x1, x1, x0], [y0, y0, y1, y1]])


def _along_edges(corners: Array) -> Array:
    """Return points (2, n) round a footprint, no two neighbours farther apart than SPACING [mm]."""
    found = []
    for first, last in zip(corners.T, np.roll(corners, -1, axis=1).T, strict=True):
        count = math.ceil(float(np.hypot(*(last - first))) / SPACING)
        found.append(first[:, None] + (last - first)[:, None] * np.arange(max(count, 1)) / max(count, 1))
    return np.concatenate(found, axis=1)
