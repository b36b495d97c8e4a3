"""How tube and machine move in one step: everything runs evenly over t from 0 to 1, in the machine frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from tests.geometry.turns import turn_about
from tests.plan.replay.stock import Array, Piece

Phase = Literal["load", "place", "dies close", "bend", "re-grip", "dies open", "return", "unload", "die drops"]
Role = Literal[
    "tail", "forming arc", "arc just formed", "straight after it", "first straight", "arc at its far end", "earlier"
]

DOWN = ", lowered"
"""What goes down with the die moves with what it did before, and this."""

Pair = tuple[float, float]
"""A number at t = 0 and at t = 1."""


def between(pair: Pair, t: float) -> float:
    """The number at a moment."""
    return pair[0] + t * (pair[1] - pair[0])


@dataclass(frozen=True)
class Length:
    """A piece of tube in a role. low, high: from where to where along it there is tube; runs: tube runs through it, so that
    the place at s = 0 is what stands at the tangent point [mm].
    """

    piece: Piece
    role: Role
    low: Pair
    high: Pair
    runs: bool = False

    def reach(self, t: float) -> Pair:
        """From where to where there is tube at a moment [mm]."""
        return (max(between(self.low, t), 0.0), between(self.high, t))

    def widest(self, first: float, last: float) -> Pair:
        """From where to where there is tube at any moment of a time [mm]."""
        return (
            max(min(between(self.low, first), between(self.low, last)), 0.0),
            max(between(self.high, first), between(self.high, last)),
        )


def whole(piece: Piece, role: Role) -> Length:
    """All of a piece, all the time."""
    return Length(piece, role, (0.0, 0.0), (piece.length, piece.length))


@dataclass(frozen=True)
class Body:
    """Tube that moves as one: rolled about the feed [rad], then swung about the die's axis [rad], then shifted along it [mm].

    name: "ahead" for the part that the step moves about, else what it is.
    """

    name: str
    lengths: tuple[Length, ...]
    roll: Pair = (0.0, 0.0)
    swing: Pair = (0.0, 0.0)
    shift: Pair = (0.0, 0.0)


@dataclass(frozen=True)
class Motion:
    """One step that moves.

    step: as the document has it; side: of the feed on which the die stands, +1 left; axis: y of the die's axis [mm];
    at: place at the tangent point [mm]; arm: of the bend arm, swung to the die's side [rad]; face: collet's face to
    tangent point [mm], None where no carriage holds; forward: how far forward the pressure die stands [mm]; tail: tube
    behind the tangent point, negative where its end is ahead of it [mm]; slides: the arc just formed only slides straight
    out, before any rotation; by_hand: no axis of the machine drives the tube; drop: how far the die is lowered [mm]. While only the carriage runs the phase is that
    in which the tube stands as it does then.
    """

    step: dict[str, Any] = field(repr=False)
    phase: Phase
    bodies: tuple[Body, ...] = field(repr=False)
    side: float
    axis: float
    bend: int
    clamp: float
    at: Pair
    tail: Pair
    arm: Pair = (0.0, 0.0)
    face: Pair | None = None
    forward: Pair = (0.0, 0.0)
    slides: bool = False
    by_hand: bool = False
    drop: Pair = (0.0, 0.0)

    def of(self, name: str) -> Body | None:
        """The body of that name."""
        return next((body for body in self.bodies if body.name == name), None)

    @property
    def slides_back(self) -> bool:
        """Whether an arc of about half a turn slides straight out, so that what comes after it runs back past the die."""
        ahead = self.of("ahead")
        if not self.slides or self.phase not in ("place", "unload") or ahead is None:
            return False
        formed = [length.piece for length in ahead.lengths if length.role == "arc just formed"]
        return any(piece.length * piece.curvature >= math.radians(175.0) for piece in formed)

    def moment(self, position: dict[str, Any]) -> float:
        """The moment at which things stand as a position says; a position that no moment has is refused."""
        first, last = self.step["from"], self.step["to"]
        # While the collet takes a new hold the open chuck may be turned back: that is no motion of the tube.
        moving = ("y", "arm", "face") if self.phase == "re-grip" else ("y", "rotation", "arm", "face")
        keys = [key for key in moving if first[key] is not None]
        longest = max(keys, key=lambda key: abs(last[key] - first[key]))
        way = last[longest] - first[longest]
        t = 0.0 if abs(way) < 1e-9 else (position[longest] - first[longest]) / way
        for key in keys:
            assert abs(between((first[key], last[key]), t) - position[key]) <= 1e-4, f"no such {key}: {position}"
        assert -1e-6 <= t <= 1.0 + 1e-6, f"before or after the motion: {position}"
        return min(max(t, 0.0), 1.0)

    def raw(self, length: Length, s: float, t: float) -> float:
        """The place of raw stock, from the leading end, that lies at s along a length at a moment [mm]."""
        piece = length.piece
        return (between(self.at, t) if length.runs else piece.raw) + piece.way * s

    def s_at(self, length: Length, place: float, t: float) -> float:
        """Where along a length a place of raw stock lies at a moment [mm]."""
        piece = length.piece
        return (place - (between(self.at, t) if length.runs else piece.raw)) * piece.way


def pose(motion: Motion, body: Body, t: float) -> tuple[Array, Array]:
    """Matrix and shift from a body's own frame to the machine's at a moment."""
    swing, off = turn_about("z", between(body.swing, t)), np.array([0.0, motion.axis, 0.0])
    return swing @ turn_about("x", between(body.roll, t)), off - swing @ off + [between(body.shift, t), 0.0, 0.0]


def carried(motion: Motion, moves_with: str, t: float) -> tuple[Array, Array]:
    """Matrix and shift from a solid as the profile gives it to where it stands in the machine at a moment."""
    if moves_with.endswith(DOWN):
        turn, place = carried(motion, moves_with.removesuffix(DOWN), t)
        return turn, place - np.array([0.0, 0.0, between(motion.drop, t)])
    if moves_with == "arm":
        turn, off = turn_about("z", motion.side * between(motion.arm, t)), np.array([0.0, motion.axis, 0.0])
        return turn, off - turn @ off
    if moves_with == "carriage":
        assert motion.face is not None
        return np.eye(3), np.array([-between(motion.face, t), 0.0, 0.0])
    if moves_with == "pressure die":
        return np.eye(3), np.array([between(motion.forward, t), 0.0, 0.0])
    return np.eye(3), np.zeros(3)
