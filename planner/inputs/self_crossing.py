"""How near the finished tube comes to itself: the smallest gap between two parts of it, as a proved lower
bound.

Only points between which the tube turns by 90° or more in all can belong to parts that cross. Nearer ones
cannot, as long as every bend radius R is larger than the tube's radius r. Let the tube turn by θ ≤ 90°
between two points, and look along its direction T at the first: the second lies ahead by ∫ T·dx ≥ ∫ cos φ · R
dφ = R sin θ, and its cross-section reaches back by r sin θ < R sin θ at most. So the two cross-sections never
meet.

Arcs are cut into chunks of at most 30°, and chunks are compared between which the tube turns by 90° or more.
Pairs of points left out by that turn by less than 150°, and cannot meet either where R ≥ √2 r, as on every
rotary-draw die: by Schur's comparison theorem the chord of a curve of curvature at most 1/R that turns by θ ≤
180° is no shorter than that of the circle, 2R sin(θ/2) ≥ √2 R ≥ 2r. On tighter bends chunks are compared from
180° on, as from 90° on the bend would be held against itself.

A chunk of half-angle α lies within its sagitta, e = R(1 − cos α), of its chord, and the chord within e of the
chunk. So

    |chord i, chord j| − e_i − e_j  ≤  |chunk i, chunk j|  ≤  |chord i, chord j| + e_i + e_j              (17)

with the distance of two segments in closed form. Branch and bound: drop the pairs that (17) puts beyond the
nearest found, halve the chunk with the larger sagitta of the others, until the bounds differ by no more than
0.005 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planner.inputs.centreline import Array, centreline
from planner.inputs.part import Part
from planner.tolerances import ANGLE_SLACK, COUNT_SLACK, PARALLEL, ROUNDING, SELF_CEILING, SELF_GAP

CHUNK: Final = np.deg2rad(30.0)
"""Arcs are cut into chunks of at most this angle [rad]."""

Indices = NDArray[np.intp]


@dataclass(frozen=True)
class SelfGap:
    """The finished tube against itself, surface to surface [mm].

    gap: proved lower bound, at most 50 mm and then no pair is named; reached: a gap that two points of the
    tube really have (less than 0: the tube runs through itself); first, second: the two pieces, "straight 1",
    "bend 4"; where (x, y, z) [mm]: half-way between the nearest points, in the frame of `centreline`.
    """

    gap: float
    reached: float
    first: str = ""
    second: str = ""
    where: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class _Chunks:
    """Pieces of centreline: ends (m, 3), sagitta (m,), turned angle at start and end (m,) [rad], piece number
    (m,).

    For arcs: centre (m, 3), the unit vectors from it to the start and along the start (m, 3), half-angle and
    radius; for straights radius is 0. Piece number: 2k for straight k, 2k − 1 for bend k.
    """

    start: Array
    end: Array
    centre: Array
    outward: Array
    along: Array
    angle: Array
    radius: Array
    turned_before: Array
    turned_after: Array
    piece: Indices

    @property
    def sagitta(self) -> Array:
        """How far the chunk lies from its chord at most (m,) [mm]."""
        return np.asarray(self.radius * (1.0 - np.cos(self.angle / 2.0)))

    def halves(self, which: Indices) -> tuple[_Chunks, _Chunks]:
        """Return the chunks `which`, arcs, cut in two."""
        half = self.angle[which] / 2.0
        cos, sin = np.cos(half)[:, None], np.sin(half)[:, None]
        outward, along, radius = self.outward[which], self.along[which], self.radius[which, None]
        turned_out = outward * cos + along * sin
        turned_along = along * cos - outward * sin
        middle = self.centre[which] + turned_out * radius
        first = self._with(which, half, self.start[which], middle, outward, along)
        return first, self._with(which, half, middle, self.end[which], turned_out, turned_along)

    def _with(self, which: Indices, angle: Array, start: Array, end: Array, outward: Array, along: Array) -> _Chunks:
        """Return chunks of the same pieces with other ends."""
        before, after = self.turned_before[which], self.turned_after[which]
        rest = (self.radius[which], before, after, self.piece[which])
        return _Chunks(start, end, self.centre[which], outward, along, angle, *rest)

    def take(self, which: Indices) -> _Chunks:
        """Return the chunks `which`."""
        ends = (self.start[which], self.end[which])
        return self._with(which, self.angle[which], *ends, self.outward[which], self.along[which])

    def joined(self, other: _Chunks) -> _Chunks:
        """Return both sets in one."""
        names = list(self.__dataclass_fields__)
        return _Chunks(*(np.concatenate((getattr(self, name), getattr(other, name))) for name in names))


def smallest_gap(part: Part) -> float | None:
    """Return the smallest gap of the finished tube to itself [mm], None if it is 50 mm or more everywhere."""
    found = self_gap(part)
    return None if found.gap >= SELF_CEILING else found.gap


def self_gap(part: Part) -> SelfGap:
    """Return the smallest gap of the finished tube to itself; nothing is refused here."""
    chunks = _chunks(part)
    least_turn = np.pi / 2.0 if float(part.radii.min()) >= np.sqrt(2.0) * part.radius else np.pi
    i, j = np.triu_indices(len(chunks.piece), 1)
    apart = chunks.turned_before[j] - chunks.turned_after[i] >= least_turn - ANGLE_SLACK
    i, j = i[apart], j[apart]
    beyond = SELF_CEILING + part.outside_diameter
    near = _spheres_apart(chunks, i, j) < beyond
    return _search(chunks, i[near], j[near], part.outside_diameter, beyond)


def _search(chunks: _Chunks, i: Indices, j: Indices, diameter: float, beyond: float) -> SelfGap:
    """Branch and bound by equation (17) over the pairs (i, j); those from `beyond` on do not matter [mm]."""
    lower, upper = beyond, beyond
    names: tuple[str, str] = ("", "")
    where = np.zeros(3)
    while len(i) > 0:
        distance, point = _segments(chunks.start[i], chunks.end[i], chunks.start[j], chunks.end[j])
        sagitta = chunks.sagitta
        ease = sagitta[i] + sagitta[j]
        nearest = int(np.argmin(distance + ease))
        if distance[nearest] + ease[nearest] < upper:
            upper = float(distance[nearest] + ease[nearest])
            names = (_name(int(chunks.piece[i[nearest]])), _name(int(chunks.piece[j[nearest]])))
            where = point[nearest]
        bound = distance - ease
        open_ = bound < upper - SELF_GAP
        lower = min(lower, float(bound[~open_].min(initial=beyond)))
        i, j = i[open_], j[open_]
        chunks, i, j = _split(chunks, i, j)
    lower = min(lower, upper)
    if upper >= beyond:
        return SelfGap(SELF_CEILING, SELF_CEILING)
    gap = min(SELF_CEILING, lower - ROUNDING - diameter)
    x, y, z = (float(value) for value in where)
    return SelfGap(gap, upper - diameter, *names, (x, y, z))


def _split(chunks: _Chunks, i: Indices, j: Indices) -> tuple[_Chunks, Indices, Indices]:
    """Return the pairs with the chunk of larger sagitta cut in two."""
    if len(i) == 0:
        return chunks, i, j
    sagitta = chunks.sagitta
    of_first = sagitta[i] >= sagitta[j]
    cut, kept = np.where(of_first, i, j), np.where(of_first, j, i)
    which, back = np.unique(cut, return_inverse=True)
    first, second = chunks.halves(which)
    others, back_kept = np.unique(kept, return_inverse=True)
    together = first.joined(second).joined(chunks.take(others))
    m = len(which)
    cuts = np.concatenate((back, back + m))
    keeps = np.concatenate((back_kept, back_kept)) + 2 * m
    order = np.concatenate((of_first, of_first))
    return together, np.where(order, cuts, keeps), np.where(order, keeps, cuts)


def _chunks(part: Part) -> _Chunks:
    """Return the part's straights longer than 0 and its arcs in chunks, from end A to end B."""
    line = centreline(part.straights, part.rotations, part.angles, part.radii)
    rows: list[tuple[object, ...]] = []
    turned, nothing = 0.0, np.zeros(3)
    for k in range(part.n_bends + 1):
        start, end = line.points[2 * k], line.points[2 * k + 1]
        if part.straights[k] > 0.0:
            rows.append((start, end, nothing, nothing, nothing, 0.0, 0.0, turned, turned, 2 * k))
        if k == part.n_bends:
            break
        angle, radius, centre = float(part.angles[k]), float(part.radii[k]), line.arc_centres[k]
        outward, along = (end - centre) / radius, line.along[2 * k + 1]
        count = max(1, int(np.ceil(angle / CHUNK - COUNT_SLACK)))
        step = angle / count
        for c in range(count):
            frames = [_turned(outward, along, step * (c + more)) for more in (0, 1)]
            ends = [centre + frame[0] * radius for frame in frames]
            rows.append((*ends, centre, *frames[0], step, radius, turned, turned + step, 2 * k + 1))
            turned += step
    columns = [np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)]
    start, end, centre, outward, first_along, angles, radii, before, after, pieces = columns
    return _Chunks(start, end, centre, outward, first_along, angles, radii, before, after, pieces.astype(np.intp))


def _turned(outward: Array, along: Array, angle: float) -> tuple[Array, Array]:
    """Return the unit vectors from the arc's centre and along the arc, an angle [rad] further on."""
    cos, sin = np.cos(angle), np.sin(angle)
    return outward * cos + along * sin, along * cos - outward * sin


def _name(piece: int) -> str:
    """Return the name of a piece: straights count from 0 at end A, bends from 1."""
    return f"bend {(piece + 1) // 2}" if piece % 2 else f"straight {piece // 2}"


def _spheres_apart(chunks: _Chunks, i: Indices, j: Indices) -> Array:
    """Return a lower bound of each pair's distance (k,) [mm], from spheres about the chords' middles."""
    middle = (chunks.start + chunks.end) / 2.0
    reach = np.linalg.norm(chunks.end - chunks.start, axis=1) / 2.0 + chunks.sagitta
    apart = middle[i] - middle[j]
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", apart, apart)) - reach[i] - reach[j])


def _segments(p: Array, q: Array, s: Array, t: Array) -> tuple[Array, Array]:
    """Return the distance (k,) of the segments p–q and s–t (k, 3) [mm], and the point half-way between them
    (k, 3).

    The nearest points are either both inside, at the feet of the common perpendicular, or one of them is an
    end.
    """
    u, v, w = q - p, t - s, s - p
    normal = np.cross(u, v)
    square = np.einsum("ij,ij->i", normal, normal)
    skew = square > PARALLEL**2 * np.einsum("ij,ij->i", u, u) * np.einsum("ij,ij->i", v, v)
    safe = np.where(skew, square, 1.0)
    a = np.einsum("ij,ij->i", np.cross(w, v), normal) / safe
    b = np.einsum("ij,ij->i", np.cross(w, u), normal) / safe
    inside = skew & (a >= 0.0) & (a <= 1.0) & (b >= 0.0) & (b <= 1.0)
    feet = (p + u * a[:, None], s + v * b[:, None])
    candidates = [(*feet, np.where(inside, np.linalg.norm(feet[0] - feet[1], axis=1), np.inf))]
    for end, base, along in ((p, s, v), (q, s, v), (s, p, u), (t, p, u)):
        foot = _foot(end, base, along)
        candidates.append((end, foot, np.linalg.norm(end - foot, axis=1)))
    distances = np.stack([candidate[2] for candidate in candidates])
    best = np.argmin(distances, axis=0)
    middles = np.stack([(one + other) / 2.0 for one, other, _ in candidates])
    rows = np.arange(len(best))
    return distances[best, rows], middles[best, rows]


def _foot(point: Array, base: Array, along: Array) -> Array:
    """Return the point of the segment base + [0, 1]·along that is nearest to `point` (k, 3)."""
    square = np.einsum("ij,ij->i", along, along)
    share = np.einsum("ij,ij->i", point - base, along) / np.where(square > 0.0, square, 1.0)
    return np.asarray(base + along * np.clip(share, 0.0, 1.0)[:, None])
