"""Cells confirmed one way after another: by distance, by planes, by the convex parts of what is grooved, in halves.

All cells of all motions go together; what one way confirms the next need not look at. A plane's direction is that from
the solid's nearest point to the midpoint first, then to points of the flat cross-section there, each the nearest to the
solid's nearest to the one before: projections to and fro, which end where disc and solid are nearest.

Where a piece may overlap a grooved solid, by a depth of 1 mm at most, the tube must stay out of what lies deeper than
that: the same shape, 1 mm smaller all round. (A union's parts are each shallower than the union: the depth in a part
says nothing.)
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from planner.audit import shapes
from planner.audit.bounds import Cells, Placed
from planner.audit.refused import Refused
from planner.audit.seen import Flags, Ints, Pairs
from planner.audit.shapes import Array, Kind, Shape
from planner.tolerances import AUDIT_CELLS, AUDIT_ROUNDING, AUDIT_SLACK, GROOVE_EASE, MOST_HALVINGS, NO_DIRECTION

ROUNDS = 6
"""Points of a cross-section from which a plane is sought."""

MOST_LOOKED_AT = 2000
"""Open cells in which it is looked for tube that is really too near."""

RIM = np.deg2rad(np.arange(0.0, 360.0, 15.0))
"""Where on the rim of a cross-section [rad]."""


def confirm(pairs: Pairs, cells: Cells) -> None:
    """Confirm that all over the cells the pairs keep what they need; raises Refused for one that does not."""
    numbers = _Numbers(pairs.shapes)
    for halving in range(MOST_HALVINGS + 1):
        cells, lacking, placed = _unconfirmed(pairs, cells, numbers)
        if not cells.count:
            return
        _refuse_struck(pairs, placed, lacking, numbers)
        if halving == MOST_HALVINGS or cells.count > AUDIT_CELLS:
            worst = int(lacking.argmax())
            raise _refused(pairs, cells, worst, f"{pairs.needed[cells.pair[worst]] - lacking[worst]:.3f} mm is")
        along, moved = placed.ways()
        cells = cells.halves(along >= moved)


def _wanted(pairs: Pairs, cells: Cells) -> Array:
    """Return what bounds of the cells must reach [mm]."""
    needed = pairs.needed[cells.pair]
    return np.where(needed >= AUDIT_SLACK, needed - AUDIT_SLACK, needed)


def _refuse_struck(pairs: Pairs, placed: Placed, lacking: Array, numbers: _Numbers) -> None:
    """Refuse where tube really comes nearer than it may: then no bound can confirm the cell, however it is cut.

    It is looked for where the bounds lack most, at the middles and rims of the cells' middle sections.
    """
    some = np.argsort(-lacking, kind="stable")[:MOST_LOOKED_AT]
    placed, shape = placed.take(some), pairs.shape[placed.cells.pair[some]]
    wanted, least = _wanted(pairs, placed.cells), np.empty(some.size)
    first = _across(placed.tangent, _LEVEL, 0.0)
    second = np.cross(placed.tangent, first, axis=0)
    for kind, at, p in numbers.groups(shape):
        x, u, v = (one[:, at] for one in (placed.x, first, second))
        least[at] = shapes.distances(kind, p, x)
        for turn in RIM:
            rim = x + placed.radius * (np.cos(turn) * u + np.sin(turn) * v)
            least[at] = np.minimum(least[at], shapes.distances(kind, p, rim))
    struck = int((wanted - least).argmax())
    if least[struck] < wanted[struck] - AUDIT_ROUNDING:
        raise _refused(pairs, placed.cells, struck, f"it comes within {least[struck]:.3f} mm")


_LEVEL = np.array([[0.36], [0.48], [0.8]])
"""A direction along which no tube ever runs but by chance."""


def _across(tangent: Array, v: Array, least: float) -> Array:
    """Return unit vectors across the tangents along vectors (3, N); shorter ones than `least` stay so."""
    across = v - tangent * (tangent * v).sum(axis=0)
    size = np.sqrt((across * across).sum(axis=0))
    return np.asarray(across / np.maximum(size, max(least, NO_DIRECTION)))


def _refused(pairs: Pairs, cells: Cells, at: int, but: str) -> Refused:
    pair = int(cells.pair[at])
    key, needed = pairs.names[pair], float(pairs.needed[pair])
    where = f"s {cells.s0[at]:.3f} to {cells.s1[at]:.3f} mm, t {cells.t0[at]:.5f} to {cells.t1[at]:.5f}"
    return Refused(
        f"Step {key.step}: that piece {key.piece} keeps {needed:.3f} mm to the {key.solid} is not confirmed at {where}:"
        f" {but}."
    )


def _unconfirmed(pairs: Pairs, cells: Cells, numbers: _Numbers) -> tuple[Cells, Array, Placed]:
    """Return the cells that no bound confirms, what their best bound lacks [mm], and the same cells placed."""
    placed = Placed.of(pairs, cells)
    shape, wanted = pairs.shape[cells.pair], _wanted(pairs, cells)
    far = np.empty(cells.count)
    for kind, at, p in numbers.groups(shape):
        far[at] = shapes.distances(kind, p, placed.x[:, at])
    best = placed.by_distance(far)
    left = np.flatnonzero(best < wanted)
    for kind, at, p in numbers.hull_groups(shape[left]):
        here = left[at]
        best[here] = np.maximum(best[here], by_planes(placed.take(here), wanted[here], kind, p))
    left = left[best[left] < wanted[left]]
    grooved = left[numbers.is_grooved[shape[left]]]
    for eased in (False, True):
        here = grooved[pairs.ease[cells.pair[grooved]] == eased]
        if here.size:
            found = _by_parts(placed.take(here), np.where(eased, 0.0, wanted[here]), shape[here], numbers, eased)
            best[here] = np.maximum(best[here], found - (GROOVE_EASE if eased else 0.0))
    left = left[best[left] < wanted[left]]
    return cells.take(left), (wanted - best)[left], placed.take(left)


def by_planes(placed: Placed, wanted: Array, kind: Kind, p: Array) -> Array:
    """Return the best bound by planes of cells against convex shapes of one kind, numbers (k, N) [mm]."""
    best = np.full(placed.cells.count, -np.inf)
    left, point = np.arange(best.size), placed.x
    at, numbers = placed, p
    for turn in range(ROUNDS):
        far, g = shapes.nearest(kind, numbers, point)
        found = at.over(g) - shapes.support(kind, numbers, g)
        best[left] = np.maximum(best[left], found)
        open_ = np.flatnonzero(best[left] < wanted[left])
        if not open_.size or turn == ROUNDS - 1:
            break
        left, point, far, g = left[open_], point[:, open_], far[open_], g[:, open_]
        at, numbers = at.take(open_), numbers[:, open_]
        # First the section's point against g, then that nearest to the solid's own nearest point.
        aim = -2.0 * at.radius * g if turn == 0 else point - np.maximum(far, 0.0) * g - at.x
        point = at.x + at.radius * _across(at.tangent, aim / at.radius, 1.0)
    return best


def _by_parts(placed: Placed, wanted: Array, shape: Ints, numbers: _Numbers, eased: bool) -> Array:
    """Return the best bounds against grooved shapes by their convex parts: the least over the parts [mm]."""
    owner, kind_of, columns = numbers.parts_of(shape, eased)
    least = np.full(placed.cells.count, np.inf)
    for kind, chosen in kind_of.items():
        own, p = owner[chosen], columns[kind]
        far, _ = shapes.nearest(kind, p, placed.x[:, own])
        along, moved = placed.ways()
        found = far - (placed.radius + along + moved + AUDIT_ROUNDING)[own]
        open_ = np.flatnonzero(found < wanted[own])
        found[open_] = np.maximum(
            found[open_], by_planes(placed.take(own[open_]), wanted[own[open_]], kind, p[:, open_])
        )  # fmt: skip
        np.minimum.at(least, own, found)
    return least


class _Numbers:
    """The numbers of all shapes, kind by kind, with those of the hulls and of the parts of grooved ones."""

    def __init__(self, every: tuple[Shape, ...]) -> None:
        self.shapes = every
        self.is_grooved: Flags = np.array([not shapes.is_convex(shape.kind) for shape in every], dtype=bool)
        self._plain = _by_kind(every)
        self._hulls = _by_kind(tuple(map(hull, every)))

    def groups(self, shape: Ints) -> list[tuple[Kind, Ints, Array]]:
        """Return for each kind which of the shapes (N,) are of it, and their numbers (k, n)."""
        return _grouped(self._plain, shape)

    def hull_groups(self, shape: Ints) -> list[tuple[Kind, Ints, Array]]:
        """Return the same of convex shapes and the convex hulls of others."""
        return _grouped(self._hulls, shape)

    def parts_of(self, shape: Ints, eased: bool) -> tuple[Ints, dict[Kind, Ints], dict[Kind, Array]]:
        """Return the parts of the shapes (N,): whose each is, which are of a kind, and their numbers (k, n)."""
        owner: list[Ints] = []
        which: dict[Kind, list[Ints]] = {}
        columns: dict[Kind, list[Array]] = {}
        count = 0
        for number in np.unique(shape):
            kind, p = _parts(self.shapes[number], eased)
            own = np.flatnonzero(shape == number)
            owner.append(np.repeat(own, p.shape[1]))
            which.setdefault(kind, []).append(np.arange(count, count + owner[-1].size))
            columns.setdefault(kind, []).append(np.tile(p, own.size))
            count += owner[-1].size
        joined = {kind: np.concatenate(found) for kind, found in which.items()}
        return np.concatenate(owner), joined, {kind: np.concatenate(p, axis=1) for kind, p in columns.items()}


Grouping = dict[Kind, tuple[Ints, Array]]


def _by_kind(every: tuple[Shape, ...]) -> Grouping:
    """Return for each kind where every shape stands in the kind's numbers, −1 for those of another, and the numbers."""
    found: Grouping = {}
    for kind in dict.fromkeys(shape.kind for shape in every):
        chosen = [number for number, shape in enumerate(every) if shape.kind == kind]
        place = np.full(len(every), -1, dtype=np.int64)
        place[chosen] = np.arange(len(chosen))
        found[kind] = (place, np.array([every[number].numbers for number in chosen], dtype=np.float64).T)
    return found


def _grouped(grouping: Grouping, shape: Ints) -> list[tuple[Kind, Ints, Array]]:
    found = []
    for kind, (place, p) in grouping.items():
        mine = place[shape]
        at = np.flatnonzero(mine >= 0)
        if at.size:
            found.append((kind, at, p[:, mine[at]]))
    return found


def hull(shape: Shape) -> Shape:
    """Return a convex shape's self, or the convex hull of a grooved one."""
    n = shape.numbers
    if shape.kind == "die":
        return Shape("cone", (0.0, n[0], -n[2], n[1], n[2], n[1]))
    if shape.kind == "block":
        low, high = sorted((n[2] * n[3], n[2] * (n[3] + n[4])))
        return Shape("box", (n[0], low, -n[5], n[1], high, n[5]))
    return shape


@lru_cache(maxsize=1024)
def _parts(shape: Shape, eased: bool) -> tuple[Kind, Array]:
    """Return kind and numbers (k, P) of a grooved shape's convex parts; eased: of what lies deeper than 1 mm."""
    parts = shapes.convex_parts(shape, GROOVE_EASE if eased else 0.0)
    return parts[0].kind, np.array([part.numbers for part in parts], dtype=np.float64).T
