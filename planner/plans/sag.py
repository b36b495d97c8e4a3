"""Sag of the leading part: how far it hangs below the drawing, and where it wants a stand.

The leading part is taken as a beam that is fixed at the clamp while the dies hold it, else at the tangent point, with
its own weight w [N/mm] all along it. A straight one hangs at the distance x from there by

    δ(x) = w x² (6 L² − 4 L x + x²) / (24 E I),   at its end w L⁴ / (8 E I)                                (10)

(cantilever beam, uniformly distributed load: Young, Budynas, Sadegh, Roark's Formulas for Stress and Strain, table of
shear, moment, slope and deflection of straight beams; from memory). One with bends in it is twisted too. With lever
arms no longer than the lengths of tube between, and a round tube's G J = E I / (1 + ν), what it hangs is no more than
(1 + ν) times that with L and x along the tube (Castigliano).

Sag makes no strike and no verdict: those are of the tube as drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from planner.clearance.certify import Least, certify
from planner.clearance.columns import PIECE_AND_BODY
from planner.clearance.rows import Rows
from planner.clearance.strip import strips
from planner.clearance.verdicts import Answer
from planner.inputs.materials import find_material
from planner.inputs.part import Part
from planner.tolerances import LEAST_SAG, REPORT_CEILING
from planner.tube.bodies import Body, Motion, Phase, Role
from planner.tube.frames import Array, Ints

GRAVITY = 9.80665
"""Standard gravity [m/s²] (ISO 80000-3)."""

POISSON = 0.3
"""Poisson's ratio of the metals [–] (common practice, no source): it only counts where the leading part is bent."""

GRIPPED = frozenset({Phase.CLOSE, Phase.BEND})
"""Phases in which the clamp holds the leading part where it begins; the arc that forms lies behind it."""

STAND_AT = 0.7
"""Where a stand is asked for, as a share of the leading part: span and overhang then sag about alike (common practice,
no source)."""


@dataclass(frozen=True)
class Sag:
    """How far the leading part hangs at its end in one motion at most [mm]; stand: where it is to be held up, along the
    tube from the tangent point [mm], None where it needs none.
    """

    deepest: float
    stand: float | None


@dataclass(frozen=True)
class Beam:
    """A tube as a beam: weight w [N/mm], stiffness E I [N mm²]."""

    weight: float
    stiffness: float

    def sag(self, x: Array, length: Array, bent: bool) -> Array:
        """Return equation (10) [mm] at x of a leading part of this length [mm], or its bound where the tube is bent."""
        x = np.clip(x, 0.0, length)
        straight = self.weight * x**2 * (6.0 * length**2 - 4.0 * length * x + x**2) / (24.0 * self.stiffness)
        return np.asarray(straight * (1.0 + POISSON if bent else 1.0))


def beam_of(part: Part) -> Beam | None:
    """Return a part's tube as a beam; None where its material's modulus and density are not known."""
    material = find_material(part.material)
    if material is None:
        return None
    outer, bore = part.outside_diameter, part.outside_diameter - 2.0 * part.wall
    area = math.pi / 4.0 * (outer**2 - bore**2)
    moment = math.pi / 64.0 * (outer**4 - bore**4)
    return Beam(material.density * 1e-9 * area * GRAVITY, material.modulus * moment)


@dataclass(frozen=True)
class Hanging:
    """The leading part of one motion, by its number in a batch; reach: its length from where it is fixed [mm]."""

    beam: Beam
    number: int
    motion: Motion
    reach: float
    bent: bool

    def at(self, to_end: Array) -> Array:
        """Return how far it hangs where so much tube is left to its end [mm]."""
        length = np.array(self.reach)
        return self.beam.sag(length - to_end, length, self.bent)

    @property
    def deepest(self) -> float:
        """How far its end hangs [mm]."""
        return float(self.at(np.zeros(1))[0])


def hanging_of(beam: Beam, number: int, motion: Motion, clamp: float) -> Hanging | None:
    """Return the leading part of a motion with a clamp [mm]; None where it does not hang to speak of."""
    least, most = motion.leading_length
    reach = least - clamp if motion.phase in GRIPPED else most
    bent = any(body.pieces.curvature[k] > 0.0 for body in motion.bodies for k in _ahead(body))
    one = Hanging(beam, number, motion, reach, bent)
    return one if reach > 0.0 and one.deepest >= LEAST_SAG else None


def sag_of(one: Hanging, least: Least, clear: bool) -> Sag:
    """Return the sag in a motion; clear: the leading part keeps what it needs wherever it hangs.

    A stand is asked for where it does not, and where the sag is more than half of what is free.
    """
    wanted = not clear or one.deepest > min(least.bound, REPORT_CEILING) / 2.0
    stand = max(round(STAND_AT * one.motion.leading_length[1], -2), 100.0)
    return Sag(one.deepest, stand if wanted else None)


def _ahead(body: Body) -> Iterable[int]:
    return (k for k, role in enumerate(body.roles) if role not in (Role.TAIL, Role.FORMING))


def clear_as_they_hang(rows: Rows, hanging: list[Hanging]) -> set[int]:
    """Return the numbers of the motions whose leading part keeps what it needs wherever it hangs; rows: their batch."""
    by_number = {one.number: one for one in hanging}
    wanted = np.isin(rows.motion, list(by_number))
    ahead = np.array([role not in (Role.TAIL, Role.FORMING) for role in rows.roles], dtype=bool)
    rows = rows.take(wanted & ahead[rows.piece] & (rows.needed >= 0.0))  # what lies in a groove is held by it
    to_end, length = _to_end(rows, by_number)

    def sag(row: Ints, s: Array) -> Array:
        left, by = to_end[row] + length[row] - s, np.zeros(row.size)
        for number, one in by_number.items():
            here = rows.motion[row] == number
            by[here] = one.at(left[here])
        return by

    found = certify(strips(rows, sag))
    return {number for number in by_number if found.of(number, 0).answer is Answer.CLEAR}


def _to_end(rows: Rows, hanging: dict[int, Hanging]) -> tuple[Array, Array]:
    """Return the tube from the far end of each row's piece to the free end, and the piece's length (N,) [mm]."""
    which = rows.pieces[PIECE_AND_BODY, rows.piece].astype(np.int64)
    to_end, length = np.zeros(rows.count), np.zeros(rows.count)
    for number, body in sorted({(int(m), int(b)) for m, b in zip(rows.motion, which[1], strict=True)}):
        here = (rows.motion == number) & (which[1] == body)
        pieces = hanging[number].motion.bodies[body].pieces
        to_end[here], length[here] = pieces.to_end[which[0, here]], pieces.length[which[0, here]]
    return to_end, length
