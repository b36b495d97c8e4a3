"""Where the tube's material is in the machine: N places on the tube at once, each at its own moment.

The tube stands gripped in the dies (an arc of some angle in the die so far, the leading part turned with it about the
die axis), or it stands free, advanced by some way and turned about the feed, in whichever order. A place is a stock
coordinate u; which piece of tube it lies on, and what that piece is to the contact table, follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from planner.audit.motions import Role, gripped_roles, standing_roles
from planner.audit.shapes import Array
from planner.audit.tube import Chain
from planner.tolerances import PROVED_LENGTH

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

ROLES: Final[tuple[Role, ...]] = ("tail", "forming", "just formed", "after it", "first", "far arc", "earlier")
TAIL, FORMING, FORMED, AFTER, FIRST = (ROLES.index(role) for role in ROLES[:5])

Lean = Literal[-1, 1]
"""Which of two pieces a place between them is on: +1 the one nearer the tangent point, −1 the one beyond."""


@dataclass(frozen=True)
class Points:
    """N points of the tube's centreline in the machine's frame.

    x (3, N) [mm]; along (3, N): the tube's direction, away from the tangent point; role (N,): number in ROLES; before,
    beyond (N,): how far tube in the same role goes on toward the tangent point, and away from it [mm]; curvature (N,):
    the greatest there [1/mm]; exists (N,): whether there is tube at all; ahead (N,): developed length of tube in front
    of the tangent point [mm].
    """

    x: Array
    along: Array
    role: Ints
    curvature: Array
    before: Array
    beyond: Array
    exists: Flags
    ahead: Array

    def take(self, keep: Ints | Flags) -> Points:
        """Return a selection."""
        return Points(
            self.x[:, keep], self.along[:, keep], self.role[keep], self.curvature[keep],
            self.before[keep], self.beyond[keep], self.exists[keep], self.ahead[keep],
        )  # fmt: skip

    def shifted(self, way: Array) -> Points:
        """Return the same points of tube moved along the feed by `way` (N,) [mm]."""
        return replace(self, x=self.x + np.stack((way, np.zeros_like(way), np.zeros_like(way))))

    @property
    def near_end(self) -> bool:
        """Whether one of the points lies so near the end of its role that it may be in the next."""
        return bool((np.minimum(self.before, self.beyond) < PROVED_LENGTH).any())


@dataclass(frozen=True)
class Standing:
    """A tube that no die grips, at an advance of 0 and as it is laid in or was left by the bend before.

    chain: the leading part; tangent_u: stock coordinate at the tangent point; stock: where the tube ends [mm]; arc:
    angle of the arc just formed, its first piece [rad], 0 where it only was laid in.
    """

    chain: Chain
    tangent_u: float
    stock: float
    arc: float

    @property
    def arc_length(self) -> float:
        """Length of the arc just formed [mm], 0 where the tube only was laid in."""
        return float(self.chain.length[0]) if self.arc > 0.0 else 0.0

    @property
    def roles(self) -> Ints:
        """What the pieces of the leading part are to the contact table (m,)."""
        return _numbers(standing_roles(self.chain, self.arc > 0.0))

    def points(self, place: Array, advance: Array, roll: Array, lean: Lean) -> Points:
        """Return places (N,) of a tube advanced by so much [mm] and turned by so much about the feed [rad]."""
        found = _on_chain(self.chain, self.roles, place, lean)
        c, s = np.cos(roll), np.sin(roll)
        turned = [np.stack((v[0], c * v[1] - s * v[2], s * v[1] + c * v[2])) for v in (found.x, found.along)]
        found = replace(found, x=turned[0], along=turned[1], ahead=self.chain.total + advance).shifted(advance)
        # What comes out of the die is straight, on the feed's axis; behind the tangent point it is the tail.
        out = self.tangent_u + advance - place
        behind = place > self.tangent_u + (PROVED_LENGTH if lean < 0 else -PROVED_LENGTH)
        is_tail = out < (-PROVED_LENGTH if lean < 0 else PROVED_LENGTH)
        end = self.tangent_u + advance - self.stock
        drawn = _on_axis(out, is_tail, np.maximum(end, 0.0), advance, end, found.ahead)
        drawn = replace(drawn, exists=(place <= self.stock + PROVED_LENGTH) & (place >= self.tangent_u - PROVED_LENGTH))
        return _choose(behind, drawn, found)


@dataclass(frozen=True)
class Gripped:
    """A tube in the dies, the arm at home before the bend begins.

    chain: the leading part; start: stock coordinate of the bend's start, at the tangent point; radius: of the bend
    [mm]; toward: −1 on a right head, +1 on a left one; stock: where the tube ends [mm].
    """

    chain: Chain
    start: float
    radius: float
    toward: float
    stock: float

    @property
    def roles(self) -> Ints:
        """What the pieces of the leading part are to the contact table (m,)."""
        return _numbers(gripped_roles(self.chain))

    def points(self, place: Array, angle: Array, lean: Lean) -> Points:
        """Return places (N,) of a tube with an arc of so much in the die so far [rad]."""
        found = _on_chain(self.chain, self.roles, place, lean)
        c, s = np.cos(angle), self.toward * np.sin(angle)
        die_y = self.toward * self.radius
        aside = found.x[1] - die_y
        x = np.stack((c * found.x[0] - s * aside, die_y + s * found.x[0] + c * aside, found.x[2]))
        a = found.along
        along = np.stack((c * a[0] - s * a[1], s * a[0] + c * a[1], a[2]))
        arc = self.radius * angle
        found = replace(found, x=x, along=along, ahead=self.chain.total + arc)
        formed = self._forming(self.start + arc - place, arc)
        out = self.start + arc - place
        none = np.zeros_like(out)
        tail = _on_axis(out, np.ones(out.size, dtype=bool), none, none, self.start + arc - self.stock, found.ahead)
        tail = replace(tail, exists=place <= self.stock + PROVED_LENGTH)
        edge = PROVED_LENGTH if lean < 0 else -PROVED_LENGTH
        return _choose(place > self.start + arc + edge, tail, _choose(place > self.start + edge, formed, found))

    def _forming(self, s: Array, arc: Array) -> Points:
        turned = np.clip(s, 0.0, arc) / self.radius
        sine, cosine = np.sin(turned), np.cos(turned)
        x = np.stack((self.radius * sine, self.toward * self.radius * (1.0 - cosine), np.zeros_like(s)))
        along = np.stack((cosine, self.toward * sine, np.zeros_like(s)))
        role, curvature = np.full(s.size, FORMING), np.full(s.size, 1.0 / self.radius)
        exists = (s >= -PROVED_LENGTH) & (s <= arc + PROVED_LENGTH)
        return Points(x, along, role, curvature, s, arc - s, exists, self.chain.total + arc)


def _numbers(roles: tuple[Role, ...]) -> Ints:
    return np.array([ROLES.index(role) for role in roles], dtype=np.int64)


def _on_chain(chain: Chain, roles: Ints, place: Array, lean: Lean) -> Points:
    """Return the points of a chain at some places; where it has none, `exists` is false."""
    if chain.count == 0:
        none = np.zeros_like(place)
        nowhere = np.zeros((3, place.size))
        return Points(
            nowhere, nowhere, np.full(place.size, FIRST), none, none, none, np.zeros(place.size, dtype=bool), none
        )
    far_end = chain.u - chain.length
    piece = np.minimum((far_end[:, None] > place + lean * PROVED_LENGTH / 2.0).sum(axis=0), chain.count - 1)
    asked = chain.u[piece] - place
    s = np.clip(asked, 0.0, chain.length[piece])
    curvature = chain.curvature[piece]
    turned, bent = curvature * s, curvature > 0.0
    divisor = np.where(bent, curvature, 1.0)
    sine, cosine = np.sin(turned), np.cos(turned)
    ahead, aside = np.where(bent, sine / divisor, s), np.where(bent, (1.0 - cosine) / divisor, 0.0)
    start, along, inward = chain.start[:, piece], chain.along[:, piece], chain.inward[:, piece]
    first, last, sharpest = _runs(chain, roles)
    return Points(
        start + along * ahead + inward * aside,
        along * cosine + inward * sine,
        roles[piece],
        sharpest[piece],
        first[piece] - chain.u[piece] + s,
        chain.u[piece] - s - last[piece],
        np.abs(asked - s) <= 2.0 * PROVED_LENGTH,
        np.zeros_like(s),
    )


def _runs(chain: Chain, roles: Ints) -> tuple[Array, Array, Array]:
    """Return for each piece (m,) from which to which stock coordinate its role runs [mm], and how sharply it bends."""
    first, last, sharpest = chain.u.copy(), chain.u - chain.length, chain.curvature.copy()
    begins = np.concatenate(([0], np.flatnonzero(np.diff(roles)) + 1, [chain.count]))
    for begin, end in zip(begins[:-1].tolist(), begins[1:].tolist(), strict=True):
        first[begin:end], last[begin:end] = first[begin], last[end - 1]
        sharpest[begin:end] = sharpest[begin:end].max()
    return first, last, sharpest


def _on_axis(out: Array, is_tail: Flags, first: Array, last: Array, back: Array, ahead: Array) -> Points:
    """Return points on the feed's axis at x = out: tail from `back` to 0, what came out from `first` to `last`."""
    size = out.size
    x, along = np.zeros((3, size)), np.zeros((3, size))
    x[0], along[0] = out, np.where(is_tail, -1.0, 1.0)
    before = np.where(is_tail, -out, out - first)
    beyond = np.where(is_tail, out - back, last - out)
    return Points(
        x, along, np.where(is_tail, TAIL, FIRST), np.zeros(size), before, beyond, np.ones(size, dtype=bool), ahead
    )


def _choose(which: Flags, one: Points, two: Points) -> Points:
    return Points(
        *(np.where(which, getattr(one, name), getattr(two, name)) for name in Points.__dataclass_fields__),
    )
