"""The bounds of the clearance over cells, and the clearance really found at their midpoints.

Notation: a cell of half-widths (δs, δt) around (s, t) of one row; x the centreline point of equation (2), f the solid's
distance, r the tube's radius. All arrays are (N,), vectors (3, N).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.clearance.distances import Kind, distance, evaluate
from planner.clearance.rows import Rows
from planner.tolerances import CLOSE_GAP, ROUNDING
from planner.tube.frames import Array, Flags, Ints

STUCK = 2.0
"""Cells that take less than this off the bound are not split on where they are stuck [mm]: a strike is looked for in
what is larger, since a cell that cannot be certified may still hold a witness."""

SECTION_ROUNDS = 5
"""Points of a cross-section that are tried one after the other."""

RIM = np.deg2rad(np.arange(-180.0, 180.0, 30.0))
"""Where on the rim of a cross-section the distance to a grooved solid is measured, from the point against g [rad]."""


@dataclass(frozen=True)
class Cells:
    """N cells: row number, midpoints and half-widths in s [mm] and t."""

    row: Ints
    s: Array
    ds: Array
    t: Array
    dt: Array

    def take(self, keep: Flags | Ints) -> Cells:
        """Return a selection."""
        return Cells(self.row[keep], self.s[keep], self.ds[keep], self.t[keep], self.dt[keep])

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(self.row.shape[0])


@dataclass(frozen=True)
class Bounds:
    """lower: proved bound of the clearance over the cell; upper: clearance found at its midpoint, infinite where the
    midpoint does not exist at that time [mm]; along_s, along_t: what the cell's two half-widths take off [mm]; stuck:
    no part of the cell about its midpoint can be certified any more, however small: a solid with a groove has (3)
    alone, which takes a sphere where the piece is cut off flat, and that sphere is too near.
    """

    lower: Array
    upper: Array
    along_s: Array
    along_t: Array
    stuck: Flags

    def take(self, keep: Flags) -> Bounds:
        """Return a selection."""
        return Bounds(self.lower[keep], self.upper[keep], self.along_s[keep], self.along_t[keep], self.stuck[keep])


def exists(rows: Rows, cells: Cells) -> Flags:
    """Return whether the midpoint exists at its time: s within the piece as long as it is then."""
    table = rows.pieces[12:14, rows.piece[cells.row]]
    return np.asarray(cells.s <= table[0] + table[1] * cells.t + 1e-9)


def may_exist(rows: Rows, cells: Cells) -> Flags:
    """Return whether any point of the cell exists at any of its times."""
    table = rows.pieces[12:14, rows.piece[cells.row]]
    longest = table[0] + table[1] * cells.t + np.abs(table[1]) * cells.dt
    return np.asarray(cells.s - cells.ds <= longest + 1e-9)


@dataclass(frozen=True)
class Posed:
    """Midpoints seen from their solids: x [mm], tangent x_s, velocity x_t [mm a unit of t], q = x − c without the way
    gone [mm], axis, angle turned φ [rad].
    """

    x: Array
    tangent: Array
    velocity: Array
    q: Array
    axis: Array
    turn: Array

    def take(self, keep: Ints) -> Posed:
        """Return a selection."""
        return Posed(
            self.x[:, keep],
            self.tangent[:, keep],
            self.velocity[:, keep],
            self.q[:, keep],
            self.axis[:, keep],
            self.turn[keep],
        )


def pose(rows: Rows, row: Ints, s: Array, t: Array) -> Posed:
    """Evaluate equations (1) and (2)."""
    table = rows.pieces[:, rows.piece[row]]
    motion = rows.blocks[:, rows.block[row]]
    curvature = table[9]
    bent = curvature > 0.0
    divisor = np.where(bent, curvature, 1.0)
    angle = curvature * s
    sine, cosine = np.sin(angle), np.cos(angle)
    along = np.where(bent, sine / divisor, s)
    across = np.where(bent, (1.0 - cosine) / divisor, 0.0)
    centre, axis, turn = motion[0:3], motion[3:6], motion[6]
    point = table[0:3] + table[3:6] * along + table[6:9] * across - centre
    tangent = table[3:6] * cosine + table[6:9] * sine
    q, tangent = _turned(point, tangent, axis, turn * t)
    velocity = turn * _cross(axis, q) + motion[7:10]
    return Posed(centre + q + motion[7:10] * t, tangent, velocity, q, axis, turn)


def _turned(point: Array, tangent: Array, axis: Array, angle: Array) -> tuple[Array, Array]:
    """Turn two sets of vectors about the same axes (Rodrigues' formula)."""
    sine, versine = np.sin(angle), 1.0 - np.cos(angle)
    out = []
    for v in (point, tangent):
        cross = _cross(axis, v)
        out.append(v + sine * cross + versine * _cross(axis, cross))
    return out[0], out[1]


def _cross(a: Array, b: Array) -> Array:
    return np.stack((a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]))


def bounds(rows: Rows, cells: Cells, upto: Array | float = np.inf) -> Bounds:
    """Return the bounds of the clearance, the largest of them, and the clearance found at the midpoint.

    Lipschitz bound:    f − r − δs − (|x_t| + a δt/2) δt                                                     (3)
    Convex bound:       f − r' − |g·x_s| δs − |g·x_t| δt − (κ δs²/2 + g⊥ (a δt²/2 + ω δs δt))               (4)

    with x_t the relative velocity of the midpoint's material point, a = ω²ρ its acceleration, the same all over the
    cell (its speed never passes |x_t| + a δt, so its way never passes what (3) takes off), ρ its distance from the
    axis; g a unit subgradient of the (convex hull's) distance at the midpoint, and g⊥ = |g − (g·k) k|, since every
    acceleration lies across the axis k. In (4) the tube's cross-section stands for its sphere: r' = r √(1 − max(0,
    |g·x_s| − κ δs − g⊥ω δt)²) is how far a disc across the tube reaches against g, so that a flat-ended tube is
    bounded, not a rounded one.

    Near a piece's end (4) is taken again about other points of the cross-section, x + ρ, with f and g from there:
    f(x + ρ) − g·ρ in the place of f. The midpoint's gradient alone leaves a gap that does not close. It is spared
    where the bound has passed `upto` [mm] already; nothing counts as found there.
    """
    row = cells.row
    posed = pose(rows, row, cells.s, cells.t)
    which = rows.solid[row]
    kind, parameters = rows.kind[which], rows.parameters[:, which]
    exact, hull, g = evaluate(kind, posed.x, parameters)
    acceleration = _acceleration(posed)
    speed = np.sqrt((posed.velocity * posed.velocity).sum(axis=0))
    along_t = (speed + 0.5 * acceleration * cells.dt) * cells.dt
    lipschitz = exact - rows.radius - cells.ds - along_t
    reach, first_s, first_t = _taken_off(rows, cells, posed, acceleration, g)
    convex = hull - reach - first_s - first_t
    upper = exact - rows.radius
    at_end, wanted = _to_end(rows, cells) < rows.radius, np.maximum(convex, lipschitz) < upto
    upper[at_end & ~wanted] = np.inf
    near = np.flatnonzero(at_end & wanted)
    stuck = np.zeros(cells.count, dtype=bool)
    if near.size:
        at = _Near(cells.take(near), posed.take(near), acceleration[near], exact[near], g[:, near])
        limit = np.broadcast_to(upto, cells.count)[near]
        bound, upper[near], least_hull = _at_section(rows, at, limit)
        convex[near] = np.maximum(convex[near], bound)
        groove = (hull[near] < at.exact) & (at.exact - rows.radius < limit) & (least_hull < limit)
        stuck[near] = groove & (at.cells.ds + along_t[near] < STUCK)
    tails = np.flatnonzero(kind == Kind.SEGMENT)
    if tails.size:
        upper[tails] = _to_short_tail(rows, cells, posed, tails, upper[tails])
    # A hull's bound may certify a cell, but it does not close on the clearance: what is split is then the other bound.
    # Nor does (3) near an end, where it bounds a sphere.
    better = ((convex > lipschitz) | at_end) & (hull >= exact)
    return Bounds(
        np.maximum(convex, lipschitz) - ROUNDING,
        np.asarray(np.where(exists(rows, cells), upper, np.inf)),
        np.where(better, first_s, cells.ds),
        np.where(better, first_t, along_t),
        stuck,
    )


@dataclass(frozen=True)
class _Near:
    """Cells near their piece's end with what is known of their midpoints."""

    cells: Cells
    posed: Posed
    acceleration: Array
    exact: Array
    g: Array


def _acceleration(posed: Posed) -> Array:
    """Return a = ω²ρ of the midpoints' material points [mm a unit of t²]."""
    radial = posed.q - posed.axis * (posed.axis * posed.q).sum(axis=0)
    return np.asarray(posed.turn * posed.turn * np.sqrt((radial * radial).sum(axis=0)))


def _taken_off(rows: Rows, cells: Cells, posed: Posed, acceleration: Array, g: Array) -> tuple[Array, Array, Array]:
    """Return what (4) takes off for a subgradient g: r' of the midpoint, the terms of δs, those of δt [mm]."""
    omega = np.abs(posed.turn)
    bend = rows.pieces[9, rows.piece[cells.row]] * cells.ds
    g_s = np.abs((g * posed.tangent).sum(axis=0))
    g_t = np.abs((g * posed.velocity).sum(axis=0))
    g_axis = (g * posed.axis).sum(axis=0)
    across = np.sqrt(np.maximum((g * g).sum(axis=0) - g_axis * g_axis, 0.0))
    tips = omega * across * cells.dt  # |d(g·x_s)/dt| = ω |(g × k)·x_s|: a tube that turns level stays as it leans
    lean = np.clip(g_s - bend - tips, 0.0, 1.0)
    reach = rows.radius * np.sqrt(np.maximum(1.0 - g_s * g_s, 0.0))
    # What r' takes more than at the midpoint is the cell's doing: it belongs to what is split.
    tilted = np.maximum(rows.radius * np.sqrt(1.0 - lean * lean) - reach, 0.0)
    by_time = tips / np.maximum(bend + tips, 1e-12)
    first_s = g_s * cells.ds + 0.5 * bend * cells.ds + (1.0 - by_time) * tilted
    first_t = g_t * cells.dt + across * (0.5 * acceleration * cells.dt + omega * cells.ds) * cells.dt + by_time * tilted
    return reach, first_s, first_t


def _to_end(rows: Rows, cells: Cells) -> Array:
    """Return how far the midpoints lie from the nearer end of their piece [mm].

    Near an end the sphere sticks out of its piece, past a free end into the open, elsewhere into a neighbour that may
    be excused; what is found there is measured on the flat cross-section.
    """
    table = rows.pieces[:, rows.piece[cells.row]]
    return np.asarray(np.minimum(cells.s - table[10], table[12] + table[13] * cells.t - cells.s))


def _against(g: Array, tangent: Array) -> Array:
    """Return the unit vectors across the tube that lie along g; where g runs along the tube, level ones."""
    across = g - tangent * (g * tangent).sum(axis=0)
    size = np.sqrt((across * across).sum(axis=0))
    level = np.stack((-tangent[1], tangent[0], np.zeros_like(size)))
    level = np.where(np.abs(tangent[2]) > 0.999, np.array([[1.0], [0.0], [0.0]]), level)
    level = level / np.sqrt((level * level).sum(axis=0))
    return np.asarray(np.where(size > 1e-9, across / np.where(size > 1e-9, size, 1.0), level))


def _at_section(rows: Rows, at: _Near, upto: Array) -> tuple[Array, Array, Array]:
    """Return the best of (4) about points of the flat cross-section, and the least distance found there, to the solid
    and to its hull [mm].

    The first point lies on the rim, farthest against the midpoint's gradient; each next one is the section's nearest to
    the (hull's) nearest point to the one before: projections to and fro between two convex sets, which end at their
    distance. They go on where they may still decide. For the solids with a groove that the sphere comes too near,
    other points of the rim are measured all round.
    """
    which = rows.solid[at.cells.row]
    kind, parameters = rows.kind[which], rows.parameters[:, which]
    count = at.cells.count
    bound, least, least_hull = np.full(count, -np.inf), np.full(count, np.inf), np.full(count, np.inf)
    rim = -rows.radius * _against(at.g, at.posed.tangent)
    offset, left = rim.copy(), np.arange(count)
    for _ in range(SECTION_ROUNDS):
        posed, cells, here = at.posed.take(left), at.cells.take(left), offset[:, left]
        exact, hull, g = evaluate(kind[left], posed.x + here, parameters[:, left])
        reach, first_s, first_t = _taken_off(rows, cells, posed, at.acceleration[left], g)
        bound[left] = np.maximum(bound[left], hull - (g * here).sum(axis=0) - reach - first_s - first_t)
        least[left], least_hull[left] = np.minimum(least[left], exact), np.minimum(least_hull[left], hull)
        nearest = here - np.maximum(hull, 0.0) * g
        across = nearest - posed.tangent * (posed.tangent * nearest).sum(axis=0)
        size = np.sqrt((across * across).sum(axis=0))
        offset[:, left] = across * np.minimum(1.0, rows.radius / np.maximum(size, 1e-9))
        left = left[(bound[left] < upto[left]) & (least_hull[left] - bound[left] > CLOSE_GAP)]
        if not left.size:
            break
    grooved = np.flatnonzero(((kind == Kind.DIE) | (kind == Kind.BORED_BLOCK)) & (at.exact - rows.radius < upto))
    if grooved.size:
        many = np.repeat(grooved, RIM.size)
        angle = np.tile(RIM, grooved.size)
        second = _cross(at.posed.tangent[:, grooved], rim[:, grooved])
        around = rim[:, many] * np.cos(angle) + np.repeat(second, RIM.size, axis=1) * np.sin(angle)
        there = distance(kind[many], at.posed.x[:, many] + around, parameters[:, many])
        least[grooved] = np.minimum(least[grooved], there.reshape(-1, RIM.size).min(axis=1))
    return bound, least, least_hull


def _to_short_tail(rows: Rows, cells: Cells, posed: Posed, at: Ints, upper: Array) -> Array:
    """Return clearances to the tail no smaller than those to the flat-ended tail as long as it is by then.

    During a bend its end comes forward by the feed, here the arc between the piece's centre line and the die: the
    bound takes the whole feed off at once, and a radius more for its flat end.
    """
    p = rows.parameters[:, rows.solid[cells.row[at]]]
    feed = np.abs(rows.blocks[6, rows.block[cells.row[at]]]) * np.abs(rows.blocks[1, rows.block[cells.row[at]]])
    x = posed.x[:, at]
    first = np.minimum(p[0] + feed + p[2], p[1])
    dx = x[0] - np.clip(x[0], first, p[1])
    shorter = np.sqrt(dx * dx + x[1] * x[1] + x[2] * x[2]) - p[2] - rows.radius
    return np.asarray(np.maximum(upper, shorter))
