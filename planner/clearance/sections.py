"""Flat cross-sections of a tube near a piece's end: bound (4) about points of the section, against convex solids.

Near a piece's end the sphere about the centreline sticks out of the piece, past a free end into the open, elsewhere
into a neighbour that the contact table may excuse. There (4) is taken about other points x + ρ of the flat
cross-section, f(x + ρ) − g·ρ in the place of f: any point of the section gives a bound of all of it. Solids with a
groove are covered by convex parts, and what they keep is the least over those.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from planner.clearance.columns import CURVATURE
from planner.clearance.convex_parts import Parts
from planner.clearance.distances import distance, evaluate
from planner.clearance.poses import Cells, Posed, cross
from planner.clearance.rows import Rows
from planner.tolerances import ALONG_TUBE, CLOSE_GAP, NO_DIRECTION
from planner.tube.frames import Array, Ints

SECTION_ROUNDS = 2
"""Points of a cross-section that are tried one after the other."""

RIM = np.deg2rad(np.arange(-180.0, 180.0, 30.0))
"""Where on the rim of a cross-section the distance to a grooved solid is measured, from the point against g [rad]."""

ToConvex = Callable[[Ints, Array], tuple[Array, Array]]
"""Distances and unit subgradients (3, n) of points (3, n) to convex solids, for a selection of the cells."""


@dataclass(frozen=True)
class Near:
    """Cells near their piece's end with what is known of their midpoints: acceleration, subgradient g there (3, N)."""

    cells: Cells
    posed: Posed
    acceleration: Array
    g: Array

    def take(self, keep: Ints) -> Near:
        """Return a selection."""
        return Near(self.cells.take(keep), self.posed.take(keep), self.acceleration[keep], self.g[:, keep])


@dataclass(frozen=True)
class SectionBounds:
    """What flat sections give: bound, what the cell's half-widths take off it (3, N) (s, t, shift), and the clearance
    found [mm].
    """

    bound: Array
    along: Array
    found: Array


def taken_off(rows: Rows, cells: Cells, posed: Posed, acceleration: Array, g: Array) -> tuple[Array, Array]:
    """Return what (4) takes off for a subgradient g: r' of the midpoint, and the terms (3, N) of δs, δt and δy [mm]."""
    omega = np.abs(posed.turn)
    bend = rows.pieces[CURVATURE, rows.piece[cells.row]] * cells.ds
    g_s = np.abs((g * posed.tangent).sum(axis=0))
    g_t = np.abs((g * posed.velocity).sum(axis=0))
    g_axis = (g * posed.axis).sum(axis=0)
    across = np.sqrt(np.maximum((g * g).sum(axis=0) - g_axis * g_axis, 0.0))
    tips = omega * across * cells.dt  # |d(g·x_s)/dt| = ω |(g × k)·x_s|: a tube that turns level stays as it leans
    lean = np.clip(g_s - bend - tips, 0.0, 1.0)
    reach = rows.radius * np.sqrt(np.maximum(1.0 - g_s * g_s, 0.0))
    # What r' takes more than at the midpoint is the cell's doing: it belongs to what is split.
    tilted = np.maximum(rows.radius * np.sqrt(1.0 - lean * lean) - reach, 0.0)
    by_time = tips / np.maximum(bend + tips, NO_DIRECTION)
    first_s = g_s * cells.ds + 0.5 * bend * cells.ds + (1.0 - by_time) * tilted
    first_t = g_t * cells.dt + across * (0.5 * acceleration * cells.dt + omega * cells.ds) * cells.dt + by_time * tilted
    first_y = np.zeros_like(first_t) if cells.dshift is None else np.abs(g[0]) * cells.dshift
    return reach, np.stack((first_s, first_t, first_y))


def against(g: Array, tangent: Array) -> Array:
    """Return the unit vectors across the tube that lie along g; where g runs along the tube, level ones."""
    across = g - tangent * (g * tangent).sum(axis=0)
    size = np.sqrt((across * across).sum(axis=0))
    level = np.stack((-tangent[1], tangent[0], np.zeros_like(size)))
    level = np.where(np.abs(tangent[2]) > 0.999, np.array([[1.0], [0.0], [0.0]]), level)
    level = level / np.sqrt((level * level).sum(axis=0))
    return np.asarray(np.where(size > ALONG_TUBE, across / np.where(size > ALONG_TUBE, size, 1.0), level))


def to_convex(rows: Rows, at: Near, upto: Array) -> SectionBounds:
    """Return the best of (4) about points of the flat cross-sections, against convex solids and the hulls of others."""
    which = rows.solid[at.cells.row]
    kind, parameters = rows.kind[which], rows.parameters[:, which]

    def hull(left: Ints, x: Array) -> tuple[Array, Array]:
        _, far, g = evaluate(kind[left], x, parameters[:, left])
        return far, g

    section, offset = _projected(rows, at, upto, hull, -rows.radius * against(at.g, at.posed.tangent))
    exact, _, _ = evaluate(kind, at.posed.x + offset, parameters)
    return SectionBounds(section.bound, section.along, exact)


def to_grooved(rows: Rows, at: Near, upto: Array) -> SectionBounds:
    """Return the same against solids with a groove: the least over their convex parts; found is exact.

    How deep a section lies in one part says nothing of how deep it lies in all of them. What may overlap by so much is
    therefore kept out of the solid shrunk by as much, and by the band that counts as kept.
    """
    which = rows.solid[at.cells.row]
    kind, parameters = rows.kind[which], rows.parameters[:, which]
    ease = np.maximum(-rows.enough[at.cells.row], 0.0)
    parts = Parts(kind, parameters, ease)
    own = parts.owner
    section, offset = _projected(rows, at.take(own), (upto + ease)[own], parts.to, np.zeros((3, own.size)))
    there = distance(kind[own], at.posed.x[:, own] + offset, parameters[:, own])
    by_part = section.bound.reshape(at.cells.count, -1)
    least = by_part.argmin(axis=1) + np.arange(at.cells.count) * by_part.shape[1]
    found = np.minimum(there.reshape(by_part.shape).min(axis=1), _on_rim(rows, at, kind, parameters))
    bound = section.bound[least]
    bound = np.where((ease == 0.0) | (bound >= 0.0), bound - ease, -np.inf)
    return SectionBounds(bound, section.along[:, least], found)


def _on_rim(rows: Rows, at: Near, kind: Ints, parameters: Array) -> Array:
    """Return the least clearance found all round the sections' rims [mm]: how deep they lie in a groove's flanks."""
    inside = -rows.radius * against(at.g, at.posed.tangent)
    many, angle = np.repeat(np.arange(kind.size), RIM.size), np.tile(RIM, kind.size)
    second = cross(at.posed.tangent, inside)
    around = inside[:, many] * np.cos(angle) + second[:, many] * np.sin(angle)
    there = distance(kind[many], at.posed.x[:, many] + around, parameters[:, many])
    return np.asarray(there.reshape(-1, RIM.size).min(axis=1))


def _projected(rows: Rows, at: Near, upto: Array, to: ToConvex, first: Array) -> tuple[SectionBounds, Array]:
    """Return the best bounds, and the points of the sections found last (3, N), counted from the centreline.

    first (3, N): the points to begin with; each next one is the section's nearest to the solid's nearest to the one
    before: projections to and fro between two convex sets, which end at their distance. They go on where they may still
    decide.
    """
    count = at.cells.count
    bound, least = np.full(count, -np.inf), np.full(count, np.inf)
    along, at_nearest = np.zeros((3, count)), np.zeros((3, count))
    offset, left = first.copy(), np.arange(count)
    nearest_at = offset.copy()
    for _ in range(SECTION_ROUNDS):
        posed, cells, here = at.posed.take(left), at.cells.take(left), offset[:, left]
        far, g = to(left, posed.x + here)
        reach, terms = taken_off(rows, cells, posed, at.acceleration[left], g)
        value = far - (g * here).sum(axis=0) - reach - terms.sum(axis=0)
        better, nearer = value > bound[left], far < least[left]
        bound[left[better]] = value[better]
        along[:, left[better]] = terms[:, better]
        least[left[nearer]] = far[nearer]
        nearest_at[:, left[nearer]], at_nearest[:, left[nearer]] = here[:, nearer], terms[:, nearer]
        nearest = here - np.maximum(far, 0.0) * g
        across = nearest - posed.tangent * (posed.tangent * nearest).sum(axis=0)
        size = np.sqrt((across * across).sum(axis=0))
        offset[:, left] = across * np.minimum(1.0, rows.radius / np.maximum(size, NO_DIRECTION))
        left = left[(bound[left] < upto[left]) & (least[left] - bound[left] > CLOSE_GAP)]
        if not left.size:
            break
    # Where the best bound falls short by more than it says, it is of another subgradient than the one at what was
    # found: it is that one's terms that a smaller cell would lessen.
    short = least - bound > along.sum(axis=0) + CLOSE_GAP
    return SectionBounds(bound, np.where(short, np.maximum(along, at_nearest), along), least), nearest_at
