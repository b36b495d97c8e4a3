"""How deep a strike is: the worst point near a witness, over the whole of its row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.clearance.bounds import bounds
from planner.clearance.poses import Cells
from planner.clearance.rows import Rows
from planner.clearance.verdicts import Witness

GRID = 41
"""Points a side of the grid on which the deepest point of a strike is sought."""

ROUNDS = 4
"""Times the grid is drawn closer about the deepest point."""


@dataclass(frozen=True)
class Deepest:
    """The worst point near a witness: arc length s [mm], t, clearance [mm]."""

    s: float
    t: float
    clearance: float


def deepest(rows: Rows, witness: Witness) -> Deepest:
    """Return the deepest point of a strike over the whole of its row, by a grid drawn closer about the worst point."""
    piece, block = rows.pieces[:, rows.piece[witness.row]], rows.blocks[:, rows.block[witness.row]]
    low, high = np.array([piece[10], block[10]]), np.array([piece[11], block[11]])
    best = Deepest(witness.s, witness.t, witness.clearance)
    near, far = low, high
    for _ in range(ROUNDS):
        sides = [np.linspace(a, b, GRID if b > a else 1) for a, b in zip(near, far, strict=True)]
        s, t = (a.ravel() for a in np.meshgrid(*sides))
        zero = np.zeros_like(s)
        found = bounds(rows, Cells(np.full(s.shape, witness.row), s, zero, t, zero)).upper
        k = int(found.argmin())
        if found[k] < best.clearance:
            best = Deepest(float(s[k]), float(t[k]), float(found[k]))
        step = (far - near) / (GRID - 1)
        centre = np.array([best.s, best.t])
        near, far = np.maximum(centre - step, low), np.minimum(centre + step, high)
    return best
