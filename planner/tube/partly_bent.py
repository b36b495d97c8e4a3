"""The partly bent tube: which bends are formed and which end leads → straights and arcs ahead of the tangent point.

A part is always looked at from its leading end (`seen_from`): then the bends nearer the leading end have the lower
numbers, whichever end that is. Seen from the other end rotations keep their signs, so nothing else changes.

Walking forward from the tangent point, a piece starts at p (`start`), runs along d (`along`), curls to n (`inward`):

    x₀(s) = p + d sin(κs)/κ + n (1 − cos κs)/κ                                                     (1)

and between two bends the plane turns about the direction of travel by the part's rotation: +R about +X at the
machine, from the bend in the die to its neighbour ahead (right head: the leg of a bend with R = +90° hangs down).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np

from planner.inputs.part import Part
from planner.tolerances import SAME_PLACE
from planner.tube.frames import Array

End = Literal["A", "B"]


@dataclass(frozen=True)
class Pieces:
    """m pieces of centreline in the machine frame, in order from the tangent point outwards.

    start, along, inward: (3, m) [mm; unit vectors]; curvature (m,) [1/mm], 0 for a straight; length (m,) [mm];
    u (m,): stock coordinate of `start` counted from the leading end of the part [mm], u decreases by `u_sign` · s;
    to_end (m,): developed length from the piece's far end to the tube's free end [mm].
    """

    start: Array
    along: Array
    inward: Array
    curvature: Array
    length: Array
    u: Array
    u_sign: float
    to_end: Array

    @property
    def count(self) -> int:
        """Number of pieces."""
        return int(self.length.shape[0])

    def points(self, s: Array, piece: int) -> Array:
        """Return the points (3, …) [mm] at arc lengths `s` [mm] of one piece, equation (1)."""
        kappa = float(self.curvature[piece])
        sine = s if kappa == 0.0 else np.sin(kappa * s) / kappa
        versine = np.zeros_like(s) if kappa == 0.0 else (1.0 - np.cos(kappa * s)) / kappa
        column = (slice(None), piece) + (None,) * s.ndim
        return np.asarray(self.start[column] + self.along[column] * sine + self.inward[column] * versine)


def seen_from(part: Part, end: End) -> Part:
    """Return the part counted from `end`: itself from A, reversed from B."""
    return part if end == "A" else part.reversed()


def bend_seen(bend: int, end: End, n_bends: int) -> int:
    """Return the number of a bend (from 1) as counted from `end`; its own inverse."""
    return bend if end == "A" else n_bends + 1 - bend


def leading_part(
    view: Part, formed: Collection[int], tangent_u: float, trim: float, toward: float, plane_of: int
) -> Pieces:
    """Return the pieces ahead of the tangent point when stock coordinate `tangent_u` [mm] lies there.

    view: the part counted from its leading end; formed: numbers of the formed bends in that count (those ahead of the
    tangent point are walked); trim: extra stock at the leading end [mm]; toward: −1 right head, +1 left; plane_of:
    the bend whose plane lies in the machine's plane of bend. A formed bend that begins at the tangent point comes out
    as the first piece.
    """
    walker = _Walker(np.array([0.0, toward, 0.0]))
    ahead = [i for i in range(view.n_bends, 0, -1) if i in formed and view.bend_starts[i - 1] < tangent_u - SAME_PLACE]
    u, plane = tangent_u, plane_of
    for i in ahead:
        first, last = float(view.bend_starts[i - 1]), float(view.bend_ends[i - 1])
        walker.straight(u - last, u)
        walker.turn_plane(_rotation_between(view, plane, i))
        walker.arc(float(view.radii[i - 1]), float(view.angles[i - 1]), min(u, last))
        u, plane = first, i
    walker.straight(u + trim, u)
    return walker.pieces()


class Leading:
    """The leading parts of one part for every run of formed bends, cut from one chain for each place of the tube.

    view: the part counted from its leading end; toward: −1 right head, +1 left.
    """

    def __init__(self, view: Part, toward: float) -> None:
        self.view, self.toward = view, toward
        self._chains: dict[tuple[float, int, int], Pieces] = {}

    def at(self, tangent_u: float, first: int, last: int, trim: float, plane_of: int) -> Pieces:
        """Return what `leading_part` does with the bends first … last formed (none if first > last)."""
        if first > last:
            return leading_part(self.view, (), tangent_u, trim, self.toward, plane_of)
        key = (tangent_u, last, plane_of)
        if key not in self._chains:
            formed = range(1, last + 1)
            # A little stock more, so that there is a last straight to cut from whatever the trim.
            self._chains[key] = leading_part(self.view, formed, tangent_u, 1.0, self.toward, plane_of)
        chain = self._chains[key]
        begins = float(self.view.bend_starts[first - 1])
        arcs = int(np.count_nonzero(chain.u > begins + SAME_PLACE))
        rest = begins + trim
        count = arcs if rest <= SAME_PLACE else arcs + 1
        curvature, length = chain.curvature[:count].copy(), chain.length[:count].copy()
        if count > arcs:
            curvature[arcs], length[arcs] = 0.0, rest
        to_end = length[::-1].cumsum()[::-1] - length
        columns = (chain.start[:, :count], chain.along[:, :count], chain.inward[:, :count])
        return Pieces(*columns, curvature, length, chain.u[:count], chain.u_sign, to_end)


def _rotation_between(view: Part, behind: int, ahead: int) -> float:
    """Return the turn of the plane [rad] about the direction of travel from bend `behind` to bend `ahead` of it."""
    return (
        float(np.sum(view.rotations[ahead:behind])) if behind >= ahead else -float(np.sum(view.rotations[behind:ahead]))
    )


class _Walker:
    """Walks the centreline forward from the tangent point along +X."""

    def __init__(self, inward: Array) -> None:
        self.at = np.zeros(3)
        self.along = np.array([1.0, 0.0, 0.0])
        self.inward = inward
        self.rows: list[tuple[Array, Array, Array, float, float, float]] = []

    def straight(self, length: float, u: float) -> None:
        """Go on straight; a straight of no length leaves no piece."""
        if length > SAME_PLACE:
            self.rows.append((self.at, self.along, self.inward, 0.0, length, u))
            self.at = self.at + length * self.along

    def arc(self, radius: float, angle: float, u: float) -> None:
        """Go round an arc that curls toward `inward`."""
        self.rows.append((self.at, self.along, self.inward, 1.0 / radius, radius * angle, u))
        sine, cosine = np.sin(angle), np.cos(angle)
        self.at = self.at + radius * (sine * self.along + (1.0 - cosine) * self.inward)
        self.along, self.inward = (
            cosine * self.along + sine * self.inward,
            cosine * self.inward - sine * self.along,
        )

    def turn_plane(self, angle: float) -> None:
        """Turn the plane of bend right-handed about the direction of travel [rad]."""
        (a, b, c), (p, q, r) = self.along, self.inward
        across = np.array([b * r - c * q, c * p - a * r, a * q - b * p])  # np.cross takes twenty times as long
        self.inward = np.cos(angle) * self.inward + np.sin(angle) * across

    def pieces(self) -> Pieces:
        """Return what was walked."""
        start, along, inward = (np.array([row[k] for row in self.rows]).reshape(-1, 3).T for k in range(3))
        curvature, length, u = (np.array([row[k] for row in self.rows], dtype=float) for k in (3, 4, 5))
        to_end = length[::-1].cumsum()[::-1] - length
        return Pieces(start, along, inward, curvature, length, u, -1.0, to_end)
