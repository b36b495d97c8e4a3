"""The centreline of a bent tube: rows of lengths, rotations and angles (LRA) ↔ vertices (XYZ), and points
along it.

Notation, for n bends: straights L (n+1,) [mm], rotations R (n,) [rad] with R[0] = 0, angles A (n,) [rad],
bend radii CLR (n,) [mm]. The tube starts at the origin along +x, and bend 1 curls toward +y. Along each bend
stand two unit vectors: `along`, the direction of travel from end A to end B, and `inward`, from the tube
toward the bend's centre.

    before bend i:  inward ← inward · cos R + (along × inward) · sin R        right-handed about `along`  (14)
    along bend i:   x(s) = start + along · CLR sin(s/CLR) + inward · CLR (1 − cos(s/CLR))                 (15)
    after it:       along, inward ← along · cos A + inward · sin A, inward · cos A − along · sin A        (16)

Equation (16) leaves the next bend with R = 0 curling the same way in the same plane (a U). While both bends
are under 180°, R is the torsion angle of the four vertices (IUPAC Gold Book T06406: clockwise looking along
is positive).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planner.errors import InputError
from planner.facts import Fact, Quantity, fact, size
from planner.tolerances import VERTEX_SLACK

Array = NDArray[np.float64]

LARGEST_XYZ_ANGLE: Final = np.deg2rad(175.0)
"""Vertices run away as a bend nears 180° (the tangent length is CLR·tan(A/2)); from here on XYZ is refused
[rad].
"""

SMALLEST_ANGLE: Final = np.deg2rad(0.01)
"""A bend under this is no bend, and its plane means nothing [rad]: a tenth of the finest readout on a bender.
"""


@dataclass(frozen=True)
class Centreline:
    """Tangent points and frames of a bent centreline; k = 2n + 2 points, n bends.

    points (k, 3) [mm]: start, start and end of bend 1, …, end; along (k, 3), inward (k, 3): unit vectors
    there (inward of the piece that follows; at the last two points of the last bend); arc_centres (n, 3)
    [mm].
    """

    points: Array
    along: Array
    inward: Array
    arc_centres: Array


def centreline(straights: Array, rotations: Array, angles: Array, radii: Array) -> Centreline:
    """Return the centreline of L (n+1,) [mm], R (n,) [rad], A (n,) [rad], CLR (n,) [mm] by equations (14)
    to (16).
    """
    point, along, inward = np.zeros(3), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    points, alongs, inwards, centres = [point], [along], [inward], []
    for length, rotation, angle, radius in zip(straights, rotations, angles, radii, strict=False):
        inward = inward * np.cos(rotation) + np.cross(along, inward) * np.sin(rotation)
        inwards[-1] = inward
        point = point + along * length
        points.append(point)
        alongs.append(along)
        inwards.append(inward)
        centres.append(point + inward * radius)
        point = point + along * (radius * np.sin(angle)) + inward * (radius * (1.0 - np.cos(angle)))
        along, inward = (
            along * np.cos(angle) + inward * np.sin(angle),
            inward * np.cos(angle) - along * np.sin(angle),
        )
        points.append(point)
        alongs.append(along)
        inwards.append(inward)
    points.append(point + along * straights[-1])
    alongs.append(along)
    inwards.append(inward)
    return Centreline(np.array(points), np.array(alongs), np.array(inwards), np.array(centres).reshape(-1, 3))


def vertices_from_lra(straights: Array, rotations: Array, angles: Array, radii: Array) -> Array:
    """Return the vertices (n+2, 3) [mm], the tube starting at the origin along +x with bend 1 toward +y.

    Raises InputError for a bend of 175° or more, which vertices cannot describe.
    """
    for i, angle in enumerate(angles):
        if angle >= LARGEST_XYZ_ANGLE:
            raise InputError(
                f"bend {i + 1} of {np.rad2deg(angle):.6g}° cannot be given by vertices: give it as LRA",
                row=i + 1,
                cell="angle",
                found=float(np.rad2deg(angle)),
                allowed="bends under 175° in XYZ",
            )
    line = centreline(straights, rotations, angles, radii)
    tangents = np.append(radii * np.tan(angles / 2.0), 0.0)
    starts = line.points[1::2]  # starts of the bends, then the end of the tube
    return np.vstack((np.zeros(3), starts + line.along[1::2] * tangents[:, None]))


def lra_from_vertices(vertices: Array, radii: Array) -> tuple[Array, Array, Array]:
    """Return L (n+1,) [mm], R (n,) [rad], A (n,) [rad] of vertices (n+2, 3) [mm] with radii (n,) [mm].

    The vertices may lie anywhere and any way round in space: only the shape is taken. Raises InputError for
    vertices that coincide, for three in a line, for a bend of 175° or more, and for a leg too short for its
    tangents.
    """
    legs = np.diff(vertices, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    for i, length in enumerate(lengths):
        if length < VERTEX_SLACK:
            raise _row_error(i + 2, "the vertex lies on the one before it", float(length), "a leg longer than 0")
    along = legs / lengths[:, None]
    normals = np.cross(along[:-1], along[1:])
    angles = np.arctan2(np.linalg.norm(normals, axis=1), np.einsum("ij,ij->i", along[:-1], along[1:]))
    _check_angles(angles)
    straights = _straights(lengths, radii * np.tan(angles / 2.0))
    rotations = np.zeros(len(angles))
    # Torsion: the angle about the leg between two bends from one normal to the other (Blondel, Karplus 1996).
    sines = np.einsum("ij,ij->i", np.cross(normals[:-1], normals[1:]), along[1:-1])
    rotations[1:] = np.arctan2(sines, np.einsum("ij,ij->i", normals[:-1], normals[1:]))
    return straights, rotations, angles


def _check_angles(angles: Array) -> None:
    """Refuse vertices in a line and bends that run back on themselves."""
    for i, angle in enumerate(angles):
        found = float(np.rad2deg(angle))
        if angle < SMALLEST_ANGLE:
            raise _row_error(
                i + 2,
                f"the vertex lies in a line with its neighbours (bend {i + 1} of {found:.3g}°): leave it out",
                found,
                "a bend of 0.01° or more at every vertex between the ends",
            )
        if angle >= LARGEST_XYZ_ANGLE:
            raise _row_error(
                i + 2,
                f"bend {i + 1} of {found:.6g}° cannot be given by vertices: give it as LRA",
                found,
                "bends under 175° in XYZ",
            )


def _straights(lengths: Array, tangents: Array) -> Array:
    """Return the straights (n+1,) [mm] that the tangents (n,) [mm] leave of the legs (n+1,) [mm]."""
    before = np.concatenate(([0.0], tangents))
    after = np.concatenate((tangents, [0.0]))
    straights = lengths - before - after
    for i, straight in enumerate(straights):
        if straight < -VERTEX_SLACK:
            need = float(before[i] + after[i])
            raise _row_error(
                i + 2,
                fact(
                    "leg-too-short",
                    first=i + 1,
                    second=i + 2,
                    leg=_to_digits(lengths[i], 4),
                    missing=_to_digits(-straight, 4),
                    needed=_to_digits(need, 4),
                ),
                float(lengths[i]),
                fact("or-more-or-a-smaller-radius", limit=_to_digits(need, 6)),
            )
    return np.asarray(np.maximum(straights, 0.0))


def _to_digits(mm: float, digits: int) -> Quantity:
    """Return a length [mm] to so many digits in all."""
    return size(float(f"{mm:.{digits}g}"))


def _row_error(row: int, problem: str | Fact, found: float, allowed: str | Fact) -> InputError:
    """Return the error for a row of the table of vertices, counted from 1."""
    return InputError(problem, key=f"shape.xyz[{row}]", row=row, found=found, allowed=allowed)
