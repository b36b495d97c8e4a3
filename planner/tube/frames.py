"""Rigid turns of points and directions, shape (3, …), by angles in radians.

Only turns about the machine's vertical (through the die axis) and about the feed occur; both are written out in their
plane, so that a sign can be read off: about +Z x turns toward y, about +X y turns toward z.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

ALONG_FEED: Array = np.array([1.0, 0.0, 0.0])
"""Unit vector of the feed, from carriage to die."""

UPWARD: Array = np.array([0.0, 0.0, 1.0])
"""Unit vector of the vertical and of the die axis."""


def turned(points: Array, axis: Array, angle: float, centre: Array | None = None) -> Array:
    """Return `points` (3, …) [mm] turned right-handed about `axis` through `centre` by `angle` [rad].

    axis: UPWARD or ALONG_FEED, nothing else turns here. Without a centre the arrays are directions.
    """
    sine, cosine = np.sin(angle), np.cos(angle)
    first, second = (0, 1) if axis is UPWARD else (1, 2)
    a, b = (0.0, 0.0) if centre is None else (float(centre[first]), float(centre[second]))
    p, q = points[first] - a, points[second] - b
    out = points.copy()
    out[first] = a + cosine * p - sine * q
    out[second] = b + sine * p + cosine * q
    return out


def die_axis(bend_radius: float, toward: float) -> Array:
    """Return a point on the die axis [mm]: the tangent point is the origin, `toward` −1 for a right head, +1 left."""
    return np.array([0.0, toward * bend_radius, 0.0])
