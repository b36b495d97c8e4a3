"""Cells of a row, and where the midpoints of pieces stand in them, seen from their solids: equations (1) and (2)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.columns import (
    ALONG,
    ANGLE,
    AXIS,
    CENTRE,
    CURVATURE,
    INWARD,
    START,
    THERE_AND_CHANGE,
    WAY,
    WAY_TURNED,
)
from planner.clearance.rows import Rows
from planner.tolerances import NO_LENGTH
from planner.tube.frames import Array, Flags, Ints


@dataclass(frozen=True)
class Cells:
    """N cells: row number, midpoints and half-widths in s [mm] and t.

    shift, dshift: how far the piece is shifted along the feed beside its motion, midpoint and half-width [mm], where
    that is a dimension of its own; it must commute with the motion, as a turn about the feed does.
    """

    row: Ints
    s: Array
    ds: Array
    t: Array
    dt: Array
    shift: Array | None = None
    dshift: Array | None = None

    def take(self, keep: Flags | Ints) -> Cells:
        """Return a selection."""
        chosen = Cells(self.row[keep], self.s[keep], self.ds[keep], self.t[keep], self.dt[keep])
        if self.shift is None or self.dshift is None:
            return chosen
        return replace(chosen, shift=self.shift[keep], dshift=self.dshift[keep])

    @property
    def count(self) -> int:
        """Number of cells."""
        return int(self.row.shape[0])


def exists(rows: Rows, cells: Cells) -> Flags:
    """Return whether the midpoint exists at its time: s within the piece as long as it is then."""
    table = rows.pieces[THERE_AND_CHANGE, rows.piece[cells.row]]
    return np.asarray(cells.s <= table[0] + table[1] * cells.t + NO_LENGTH)


def may_exist(rows: Rows, cells: Cells) -> Flags:
    """Return whether any point of the cell exists at any of its times."""
    table = rows.pieces[THERE_AND_CHANGE, rows.piece[cells.row]]
    longest = table[0] + table[1] * cells.t + np.abs(table[1]) * cells.dt
    return np.asarray(cells.s - cells.ds <= longest + NO_LENGTH)


@dataclass(frozen=True)
class Posed:
    """Midpoints seen from their solids: x [mm], tangent x_s, velocity x_t [mm a unit of t], q = x − c without the way
    gone [mm], axis, angle turned φ [rad], size of the way that turns |W| [mm].
    """

    x: Array
    tangent: Array
    velocity: Array
    q: Array
    axis: Array
    turn: Array
    turning_way: Array

    def take(self, keep: Ints) -> Posed:
        """Return a selection."""
        return Posed(
            self.x[:, keep],
            self.tangent[:, keep],
            self.velocity[:, keep],
            self.q[:, keep],
            self.axis[:, keep],
            self.turn[keep],
            self.turning_way[keep],
        )


def pose(rows: Rows, row: Ints, s: Array, t: Array, shift: Array | None = None) -> Posed:
    """Evaluate equations (1) and (2), shifted along the feed beside [mm]."""
    table = rows.pieces[:, rows.piece[row]]
    motion = rows.blocks[:, rows.block[row]]
    curvature = table[CURVATURE]
    bent = curvature > 0.0
    divisor = np.where(bent, curvature, 1.0)
    angle = curvature * s
    sine, cosine = np.sin(angle), np.cos(angle)
    along = np.where(bent, sine / divisor, s)
    across = np.where(bent, (1.0 - cosine) / divisor, 0.0)
    centre, axis, turn, way = motion[CENTRE], motion[AXIS], motion[ANGLE], motion[WAY]
    with_turn = motion[WAY_TURNED]
    point = table[START] + table[ALONG] * along + table[INWARD] * across - centre + with_turn * t
    tangent = table[ALONG] * cosine + table[INWARD] * sine
    q, tangent = _turned((point, tangent), axis, turn * t)
    velocity = turn * cross(axis, q) + way
    turning_way = np.sqrt((with_turn * with_turn).sum(axis=0))
    both = np.flatnonzero(turning_way)
    if both.size:
        velocity[:, both] += _turned((with_turn[:, both],), axis[:, both], (turn * t)[both])[0]
    x = centre + q + way * t
    if shift is not None:
        x[0] += shift
    return Posed(x, tangent, velocity, q, axis, turn, turning_way)


def _turned(vectors: tuple[Array, ...], axis: Array, angle: Array) -> list[Array]:
    """Turn sets of vectors about the same axes (Rodrigues' formula)."""
    sine, versine = np.sin(angle), 1.0 - np.cos(angle)
    out = []
    for v in vectors:
        once = cross(axis, v)
        out.append(v + sine * once + versine * cross(axis, once))
    return out


def cross(a: Array, b: Array) -> Array:
    """Return the vector products (3, N)."""
    return np.stack((a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]))


def acceleration_of(posed: Posed, dt: Array) -> Array:
    """Return the largest acceleration of the midpoints' material points over cells of half-width dt (N,).

    a = ω²(ρ + |W| δt) + 2ω|W| [mm a unit of t²]: on the way that turns the distance ρ from the axis grows too.
    """
    radial = posed.q - posed.axis * (posed.axis * posed.q).sum(axis=0)
    rho, omega = np.sqrt((radial * radial).sum(axis=0)), np.abs(posed.turn)
    return np.asarray(omega * (omega * (rho + posed.turning_way * dt) + 2.0 * posed.turning_way))
