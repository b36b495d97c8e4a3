"""Bodies for the general-purpose collision library coal (https://github.com/coal-library/coal), from numbers as profiles give them."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import coal
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

REQUEST = coal.DistanceRequest()
REQUEST.gjk_tolerance = 1e-10  # the default overstates capsule–cylinder distances by up to 5e-4 mm
REQUEST.enable_signed_distance = True

THIN = 1e-7
"""Length of the cylinder that stands for a flat cross-section [mm]."""

LENGTHWISE = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
"""coal's cylinders stand along z, the tube runs along x."""

Body = tuple[Any, Array, Array]
"""A coal shape with the matrix and the place of its centre at which it lies."""


@lru_cache(maxsize=4096)
def body(kind: str, p: tuple[float, ...]) -> Body:
    """A floor, box, cylinder, rod, tail (as in `tests.geometry.distances`) or segment: a rod with round ends."""
    upright = np.eye(3)
    if kind == "floor":
        return coal.Halfspace(np.array([0.0, 0.0, 1.0]), float(p[0])), upright, np.zeros(3)
    if kind == "box":
        low, high = np.array(p[:3]), np.array(p[3:6])
        return coal.Box(*(high - low)), upright, (low + high) / 2.0
    if kind == "cylinder":
        return coal.Cylinder(p[2], p[4] - p[3]), upright, np.array([p[0], p[1], (p[3] + p[4]) / 2.0])
    if kind == "tail":
        return coal.Cylinder(p[1], p[0]), LENGTHWISE, np.array([-p[0] / 2.0, 0.0, 0.0])
    assert kind in ("rod", "segment")
    round_or_flat = coal.Cylinder if kind == "rod" else coal.Capsule
    return round_or_flat(p[2], p[1] - p[0]), LENGTHWISE, np.array([(p[0] + p[1]) / 2.0, 0.0, 0.0])


def asked(thing: Any, turn: Array, place: Array, other: Body) -> float:
    """coal's signed distance of a shape at a matrix and a place to a body."""
    at, there = coal.Transform3s(turn, place), coal.Transform3s(other[1], other[2])
    return float(coal.distance(thing, at, other[0], there, REQUEST, coal.DistanceResult()))
