"""Turns about coordinate axes, written for all simulations of the tests: NumPy, nothing of the program."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def turn_about(axis: Literal["x", "z"], angle: float) -> Array:
    """The matrix that turns right-handed about a coordinate axis by an angle [rad]."""
    c, s = math.cos(angle), math.sin(angle)
    rows = [[1, 0, 0], [0, c, -s], [0, s, c]] if axis == "x" else [[c, -s, 0], [s, c, 0], [0, 0, 1]]
    return np.array(rows, dtype=float)
