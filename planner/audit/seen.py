"""The pairs that covers must hold, as tables: pieces of tube seen from their solids, and how they move there.

Seen from what owns a solid, the point at arc length s of a piece lies at time t at

    x(s, t) = c + Q(φt) (x₀(s) − c + W t) + V t                                                               (2)

with Q the turn about an axis through c, die or feed. From the frame a body moves as it does; from the arm it turns back
with the arm; carriage, following pressure die and the tail's end come along the feed. The bend die looks the same from
frame and arm, so that what swings about it stands still. What is fed through stands still as a set; the arc in the die,
seen from the arm, ends where the arm begins and reaches back from there, the longest when the arm stands farthest.

Tube that is run forward by V while the arm goes from α by φ stands at R(−α − φt)(x₀ − c + V t) from the die axis c,
seen from the arm: the way turns with it, W = R(−α) V and x₀ turned likewise. Of the straight that comes out of the die
then only so much counts as is out: it is longest in one moment, where the arm may be past it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.audit.contact import Wanted, wanted
from planner.audit.motions import Body, Label, Motion
from planner.audit.shapes import Array, Shape
from planner.audit.solids import GO_DOWN, Owner
from planner.audit.tube import Chain, rotation
from planner.inputs.machine import Machine
from planner.tolerances import GROOVE_EASE, NEED_BAND

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Key(NamedTuple):
    """A pair by name: number of the step, piece, solid."""

    step: int
    piece: Label
    solid: str


@dataclass(frozen=True)
class Pairs:
    """M pairs, one column each.

    start, along, inward (3, M), curvature (M,): of the piece at t = 0, seen from the solid; centre (3, M): c;
    about_feed (M,): the axis; turn (M,): φ [rad]; way, turned_way (3, M): V, W [mm]; s_from, s_to (M,) [mm], t_from
    (M,): what is to be covered; lives (2, M): length at t = 0 and its change [mm]; needed (M,) [mm]; ease (M,): may
    touch; shape (M,): number in `shapes`; radius: the tube's [mm].
    """

    keys: dict[Key, int]
    names: tuple[Key, ...]
    start: Array
    along: Array
    inward: Array
    curvature: Array
    centre: Array
    about_feed: Flags
    turn: Array
    way: Array
    turned_way: Array
    s_from: Array
    s_to: Array
    t_from: Array
    lives: Array
    needed: Array
    ease: Flags
    shape: Ints
    shapes: tuple[Shape, ...]
    radius: float


Way = tuple[float, float, float]
NOWHERE: Way = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class _Relative:
    """A body as one owner sees it; as Pairs has it, for all of its pieces."""

    chain: Chain
    centre: Way
    about_feed: bool
    turn: float
    way: Way
    turned_way: Way
    lives: tuple[float, float] | None


def pairs_of(motions: tuple[Motion, ...], machine: Machine, radius: float, to_itself: float) -> Pairs:
    """Return the pairs of all motions; radius: the tube's; to_itself: what it keeps to its own tail [mm]."""
    table = _Table(machine, to_itself)
    for motion in motions:
        table.add(motion)
    return table.pairs(radius)


class _Table:
    """Collects the columns."""

    def __init__(self, machine: Machine, to_itself: float) -> None:
        self.machine = machine
        clearance = machine.clearance
        self.per_metre = clearance.per_metre
        self.least = {
            "ease": -GROOVE_EASE, "tooling": clearance.to_tooling, "itself": to_itself, "required": clearance.required,
        }  # fmt: skip
        self.names: list[Key] = []
        self.columns: list[tuple[float, ...]] = []
        self.pieces: list[tuple[Chain, int]] = []
        self.shapes: dict[Shape, int] = {}

    def add(self, motion: Motion) -> None:
        """Add the pairs of one motion."""
        known: dict[tuple[int, Owner, bool], _Relative] = {}
        for pair in wanted(motion, self.machine):
            lowered = pair.solid.tool in GO_DOWN and max(motion.drop) > 0.0
            key = (pair.body, pair.solid.owner, lowered)
            if key not in known:
                seen = seen_from(pair.solid.owner, motion.bodies[pair.body], motion)
                known[key] = _from_below(seen, motion.drop) if lowered else seen
            self._column(motion, pair, known[key])

    def _column(self, motion: Motion, pair: Wanted, seen: _Relative) -> None:
        body = motion.bodies[pair.body]
        needed = self.least[pair.need]
        if pair.need == "required" and body.roles[pair.piece] != "tail":
            needed += self.per_metre * motion.ahead / 1000.0
        needed = needed - NEED_BAND if pair.need == "ease" else max(needed - NEED_BAND, motion.clear_by, 0.0)
        shape = self.shapes.setdefault(pair.solid.shape, len(self.shapes))
        length = float(seen.chain.length[pair.piece])
        lives = (length, 0.0) if seen.lives is None else seen.lives
        self.names.append(Key(motion.step, body.labels[pair.piece], pair.solid.name))
        self.pieces.append((seen.chain, pair.piece))
        self.columns.append((
            *seen.centre, seen.about_feed, seen.turn, *seen.way, *seen.turned_way, pair.from_s, length, pair.from_t,
            *lives, needed, pair.need == "ease", shape,
        ))  # fmt: skip

    def pairs(self, radius: float) -> Pairs:
        """Return everything collected."""
        columns = np.array(self.columns, dtype=np.float64).reshape(-1, 19).T
        start, along, inward, curvature = self._placed()
        return Pairs(
            {key: number for number, key in enumerate(self.names)}, tuple(self.names), start, along, inward, curvature,
            columns[0:3], columns[3] > 0.0, columns[4], columns[5:8], columns[8:11], columns[11], columns[12],
            columns[13], columns[14:16], columns[16], columns[17] > 0.0, columns[18].astype(np.int64),
            tuple(self.shapes), radius,
        )  # fmt: skip

    def _placed(self) -> tuple[Array, Array, Array, Array]:
        """Return start, along, inward and curvature of each column's piece: one gathering for all chains."""
        chains = list({id(chain): chain for chain, _ in self.pieces}.values())
        counts = [chain.count for chain in chains]
        begins = dict(zip(map(id, chains), np.cumsum([0, *counts]).tolist(), strict=False))
        at = np.array([begins[id(chain)] + piece for chain, piece in self.pieces], dtype=np.int64)
        if not at.size:
            return np.zeros((3, 0)), np.zeros((3, 0)), np.zeros((3, 0)), np.zeros(0)
        start, along, inward = (
            np.concatenate([getattr(chain, name) for chain in chains], axis=1)[:, at]
            for name in ("start", "along", "inward")
        )
        return start, along, inward, np.concatenate([chain.curvature for chain in chains])[at]


def seen_from(owner: Owner, body: Body, motion: Motion) -> _Relative:
    """Return a body's pose at t = 0 and its motion as the owner of a solid sees them, equation (2)."""
    forming = body.labels == ("forming",)
    about_feed = body.axis == "feed" and body.turn != 0.0
    chain, turn, shift = body.chain, body.turn, body.shift
    centre = (0.0, 0.0 if about_feed else motion.die_y, 0.0)
    way, turned_way, lives = (shift, 0.0, 0.0), NOWHERE, body.lives
    if owner == "arm":
        out = motion.arm[0]
        if forming:
            out, lives = max(motion.arm), None
        elif motion.arm[0] != motion.arm[1]:
            turn -= motion.toward * (motion.arm[1] - motion.arm[0])
        if out != 0.0:
            chain = chain.turned("die", -motion.toward * out, motion.die_y)
            back = rotation("die", -motion.toward * out)[:, 0] * shift
            way = (float(back[0]), float(back[1]), float(back[2]))
        if turn != 0.0:
            way, turned_way = NOWHERE, way
    elif owner == "bend die":
        turn = turn if about_feed else 0.0
    elif owner == "carriage" and motion.face is not None:
        face = min(motion.face) if body.labels == ("fed",) else motion.face[0]
        chain, centre = chain.fed(face), (centre[0] + face, *centre[1:])
        if body.labels != ("fed",):
            way = (shift + motion.face[1] - motion.face[0], 0.0, 0.0)
    elif owner == "tail":
        way = (shift - motion.fed, 0.0, 0.0)
    elif owner == "pressure die":
        chain = chain.fed(-motion.pressure[0])
        centre = (centre[0] - motion.pressure[0], *centre[1:])
        way = (shift - motion.pressure[1] + motion.pressure[0], 0.0, 0.0)
    if turn == 0.0 and way == NOWHERE:
        lives = None
    return _Relative(chain, centre, about_feed, turn, way, turned_way, lives)


def _from_below(seen: _Relative, drop: tuple[float, float]) -> _Relative:
    """Return the same seen from what has been lowered [mm]: tube and feed lie so far above it."""
    (x, y, z), way = seen.centre, seen.way
    return replace(
        seen, chain=seen.chain.raised(drop[0]), centre=(x, y, z + drop[0]), way=(way[0], way[1], drop[1] - drop[0])
    )
