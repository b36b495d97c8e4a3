"""The bounds of the clearance over cells, and the clearance really found at their midpoints.

Notation: a cell of half-widths (δs, δt) around (s, t) of one row; x the centreline point of equation (2), f the solid's
distance, r the tube's radius. All arrays are (N,), vectors (3, N).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from planner.clearance.columns import CURVATURE, LEAST_S, THERE, THERE_CHANGE
from planner.clearance.distances import Kind, evaluate, rod
from planner.clearance.poses import Cells, Posed, acceleration_of, exists, pose
from planner.clearance.rows import Rows
from planner.clearance.sections import Near, taken_off, to_convex, to_grooved
from planner.deadline import in_time
from planner.tolerances import CLOSE_GAP, ROUNDING
from planner.tube.frames import Array, Flags, Ints

AT_ONCE: Final = 32_768
"""So many cells are bounded at once: what is reckoned on the way takes about 2 kB for each."""


@dataclass(frozen=True)
class Bounds:
    """lower: proved bound of the clearance over the cell; upper: clearance found at its midpoint, infinite where the
    midpoint does not exist at that time [mm]; along (3, N): what the cell's half-widths in s, in t and along the feed
    take off [mm].
    """

    lower: Array
    upper: Array
    along: Array

    @property
    def along_s(self) -> Array:
        """What the half-width in s takes off [mm]."""
        return np.asarray(self.along[0])

    @property
    def along_t(self) -> Array:
        """What the half-width in t takes off [mm]."""
        return np.asarray(self.along[1])

    def take(self, keep: Flags) -> Bounds:
        """Return a selection."""
        return Bounds(self.lower[keep], self.upper[keep], self.along[:, keep])


def bounds(rows: Rows, cells: Cells, upto: Array | float = np.inf) -> Bounds:
    """Return the bounds of the clearance of every cell, so many at a time that memory and the deadline bear it.

    upto: a bound that has passed it need not be the best [mm].
    """
    if cells.count <= AT_ONCE:
        return _bounds(rows, cells, upto)
    limit, parts = np.broadcast_to(upto, cells.count), list[Bounds]()
    for first in range(0, cells.count, AT_ONCE):
        in_time()
        some = np.arange(first, min(first + AT_ONCE, cells.count))
        parts.append(_bounds(rows, cells.take(some), limit[some]))
    return Bounds(
        np.concatenate([part.lower for part in parts]),
        np.concatenate([part.upper for part in parts]),
        np.concatenate([part.along for part in parts], axis=1),
    )


def _bounds(rows: Rows, cells: Cells, upto: Array | float) -> Bounds:
    """Return the bounds of the clearance, the largest of them, and the clearance found at the midpoint.

    Lipschitz bound:    f − r − δs − (|x_t| + a δt/2) δt                                                     (3)
    Convex bound:       f − r' − |g·x_s| δs − |g·x_t| δt − (κ δs²/2 + g⊥ (a δt²/2 + ω δs δt))               (4)

    with x_t the relative velocity of the midpoint's material point, a the largest of its acceleration over the cell,
    ω²ρ and more where a way turns with it (its speed never passes |x_t| + a δt, so its way never passes what (3) takes
    off), ρ its distance from the axis; g a unit subgradient of the (convex hull's) distance at the midpoint, and
    g⊥ = |g − (g·k) k|, since every acceleration lies across the axis k. In (4) the tube's cross-section stands for its
    sphere: r' = r √(1 − max(0, |g·x_s| − κ δs − g⊥ω δt)²) is how far a disc across the tube reaches against g, so that
    a flat-ended tube is bounded, not a rounded one.

    Near a piece's end, and for what may touch the groove that it lies in, (4) is taken again about other points of the
    cross-section, x + ρ, with f and g from there: f(x + ρ) − g·ρ in the place of f, against a grooved solid by its
    convex parts. The midpoint's gradient alone leaves a gap that does not close. It is spared where the bound has
    passed `upto` [mm] already; nothing counts as found there.

    Where the cell has a width δy along the feed too, (3) takes off δy and (4) |g·x̂| δy: the shift adds to x, and
    changes neither tangent nor velocity.
    """
    row = cells.row
    posed = pose(rows, row, cells.s, cells.t, cells.shift)
    which = rows.solid[row]
    kind, parameters = rows.kind[which], rows.parameters[:, which]
    (exact, hull, g), acceleration = evaluate(kind, posed.x, parameters), acceleration_of(posed, cells.dt)
    speed = np.sqrt((posed.velocity * posed.velocity).sum(axis=0))
    along_y = np.zeros(cells.count) if cells.dshift is None else cells.dshift
    along = np.stack((cells.ds, (speed + 0.5 * acceleration * cells.dt) * cells.dt, along_y))
    lipschitz = exact - rows.radius - along.sum(axis=0)
    reach, first = taken_off(rows, cells, posed, acceleration, g)
    convex = hull - reach - first.sum(axis=0)
    upper = exact - rows.radius
    at_end, wanted = to_end(rows, cells) < rows.radius, np.maximum(convex, lipschitz) < upto
    upper[at_end & ~wanted] = np.inf
    grooved = (kind == Kind.DIE) | (kind == Kind.BORED_BLOCK)
    near, limit, found = Near(cells, posed, acceleration, g), np.broadcast_to(upto, cells.count), (upper, convex, first)
    _about_flat_ends(rows, near, limit, np.flatnonzero(at_end & wanted & ~grooved), found)
    wide = cells.ds + cells.dt > 0.0  # at a point (3) is exact
    by_parts = grooved & (at_end | ((rows.needed[row] < 0.0) & wide)) & (np.maximum(convex, lipschitz) < upto)
    _about_grooves(rows, near, limit, np.flatnonzero(by_parts), at_end, found)
    _about_tails(rows, cells, posed, (kind, parameters), upper)
    # A hull's bound may certify a cell, but it does not close on the clearance: what is split is then the other bound.
    # Nor does (3) near an end, where it bounds a sphere.
    better = (((convex > lipschitz) | at_end) & (hull >= exact)) | by_parts
    return Bounds(
        np.maximum(convex, lipschitz) - ROUNDING,
        np.asarray(np.where(exists(rows, cells), upper, np.inf)),
        np.where(better, first, along),
    )


Found = tuple[Array, Array, Array]
"""The clearance found at the midpoint, the convex bound, and what it takes off along s, t and y; filled in place."""


def _about_flat_ends(rows: Rows, near: Near, limit: Array, here: Ints, found: Found) -> None:
    """Take (4) again about the cross-section of cells near a piece's end, against convex solids."""
    if not here.size:
        return
    upper, convex, first = found
    section = to_convex(rows, near.take(here), limit[here])
    upper[here] = section.found
    convex[here] = np.maximum(convex[here], section.bound)
    # The midpoint's subgradient may lie along the axis, or the piece, where that of what was found does not.
    short = section.found - convex[here] > first[:, here].sum(axis=0) + CLOSE_GAP
    first[:, here] = np.where(short, np.maximum(first[:, here], section.along), first[:, here])


def _about_grooves(rows: Rows, near: Near, limit: Array, here: Ints, at_end: Flags, found: Found) -> None:
    """Take (4) again about the cross-section of cells, against grooved solids by their convex parts."""
    if not here.size:
        return
    upper, convex, first = found
    section = to_grooved(rows, near.take(here), limit[here])
    convex[here] = np.maximum(convex[here], section.bound)
    upper[here] = np.where(at_end[here], section.found, np.minimum(upper[here], section.found))
    first[:, here] = section.along


def _about_tails(rows: Rows, cells: Cells, posed: Posed, solid: tuple[Ints, Array], upper: Array) -> None:
    """Take the clearance found to the tube's own tail, flat-ended, and as much of it as is left."""
    kind, parameters = solid
    tails = np.flatnonzero(kind == Kind.SEGMENT)
    if tails.size:
        upper[tails] = _to_flat_tail(rows, cells, posed, tails, upper[tails])
    ends = np.flatnonzero(kind == Kind.TAIL_END)
    if ends.size:
        drawn_in = parameters[1, ends] > -parameters[3, ends] * cells.t[ends]
        upper[ends[drawn_in]] = _to_tail_left(rows, cells, posed, ends[drawn_in])


def to_end(rows: Rows, cells: Cells) -> Array:
    """Return how far the midpoints lie from the cross-section at the nearer end of their piece [mm].

    Along an arc that is sin(κs)/κ, less than s. Near an end the sphere sticks out of its piece, past a free end into
    the open, elsewhere into a neighbour that may be excused; what is found there is measured on the flat cross-section.
    """
    table = rows.pieces[:, rows.piece[cells.row]]
    along = np.minimum(cells.s - table[LEAST_S], table[THERE] + table[THERE_CHANGE] * cells.t - cells.s)
    curvature = table[CURVATURE]
    angle = np.clip(curvature * along, -np.pi / 2.0, np.pi / 2.0)
    return np.asarray(np.where(curvature > 0.0, np.sin(angle) / np.where(curvature > 0.0, curvature, 1.0), along))


def _to_flat_tail(rows: Rows, cells: Cells, posed: Posed, at: Ints, upper: Array) -> Array:
    """Return clearances to a standing tail, no smaller than those to one with a flat end: its bound has a round one."""
    p = rows.parameters[:, rows.solid[cells.row[at]]]
    x = posed.x[:, at]
    dx = x[0] - np.clip(x[0], np.minimum(p[0] + p[2], p[1]), p[1])
    shorter = np.sqrt(dx * dx + x[1] * x[1] + x[2] * x[2]) - p[2] - rows.radius
    return np.asarray(np.maximum(upper, shorter))


def _to_tail_left(rows: Rows, cells: Cells, posed: Posed, at: Ints) -> Array:
    """Return clearances to what is left by then of a tail's end that is drawn into the die during a bend.

    Seen from the tail the tangent point goes back by the feed; what has passed it is tail no longer.
    """
    p = rows.parameters[:, rows.solid[cells.row[at]]].copy()
    p[1] = np.minimum(p[1], -p[3] * cells.t[at])
    far, _ = rod(posed.x[:, at], p)
    return np.asarray(np.where(p[1] > p[0], far - rows.radius, np.inf))
