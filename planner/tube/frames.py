"""Rigid turns of points and directions, shape (3, …), by angles in radians.

Only turns about the machine's vertical (through the die axis) and about the feed occur; both are written out so that
a sign can be read off. The general formula, x' = c + q cos φ + (k × q) sin φ + k (k·q)(1 − cos φ) with q = x − c, is
Rodrigues' rotation formula.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ALONG_FEED: Array = np.array([1.0, 0.0, 0.0])
"""Unit vector of the feed, from carriage to die."""

UPWARD: Array = np.array([0.0, 0.0, 1.0])
"""Unit vector of the vertical and of the die axis."""


def turned(points: Array, axis: Array, angle: float, centre: Array | None = None) -> Array:
    """Return `points` (3, …) [mm] turned right-handed about `axis` through `centre` by `angle` [rad].

    Without a centre the arrays are directions.
    """
    shape = (3,) + (1,) * (points.ndim - 1)
    origin = np.zeros(shape) if centre is None else centre.reshape(shape)
    k = axis.reshape(shape)
    q = points - origin
    cross = np.cross(axis, q, axisb=0, axisc=0)
    return np.asarray(
        origin + q * np.cos(angle) + cross * np.sin(angle) + k * ((k * q).sum(axis=0) * (1.0 - np.cos(angle)))
    )


def die_axis(bend_radius: float, toward: float) -> Array:
    """Return a point on the die axis [mm]: the tangent point is the origin, `toward` −1 for a right head, +1 left."""
    return np.array([0.0, toward * bend_radius, 0.0])
