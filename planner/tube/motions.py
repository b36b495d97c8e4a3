"""The motions of one bend, as one-parameter rigid motions over t from 0 to 1.

Each function takes the tube as it stands and returns a `Motion`: the bodies that the tube consists of for the contact
table (tail, forming arc, first straight, …), how each of them moves in the machine frame, and how arm, carriage and
pressure die move meanwhile. Nothing here knows about solids or clearances.

The swing is about the die axis, by `toward` · θ about +Z: a right head (toward = −1) swings clockwise seen from above.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from functools import cache

import numpy as np

from planner.tube.frames import ALONG_FEED, UPWARD, Array, die_axis, turned
from planner.tube.partly_bent import Pieces


class Phase(Enum):
    """What the operator is doing (the phases of the contact table)."""

    PLACE = "place"
    CLOSE = "dies close"
    BEND = "bend"
    REGRIP = "re-grip"
    OPEN = "dies open"
    RETURN = "return"
    LOAD = "load"


class Role(Enum):
    """What a piece of tube is at the moment (the left column of the contact table)."""

    TAIL = "tail"
    FORMING = "forming arc"
    FORMED = "arc just formed"
    AFTER = "straight after the arc just formed"
    FIRST = "first straight ahead"
    FAR_ARC = "formed arc at the far end of the gripped straight"
    EARLIER = "leading part beyond"


TAIL_ROLE, FIRST_ROLE = (Role.TAIL,), (Role.FIRST,)
FORMING_ROLE, FORMED_ROLE = (Role.FORMING,), (Role.FORMED,)


class Path(Enum):
    """How a body moves.

    RIGID: as one rigid body. LINE: straight along the feed through the die, grows or shrinks at the tangent point, so
    that as a set it stands still. GROWING: the arc in the die, which grows or shrinks at its front.
    """

    RIGID = "rigid"
    LINE = "line"
    GROWING = "growing"


@dataclass(frozen=True)
class Body:
    """Some pieces of tube that move together.

    pieces: their pose in the machine frame at t = 0 (for GROWING: of the longest arc); roles: one a piece;
    turn: the signed angle [rad] turned over the motion, about the feed if `about_feed`, else about the die
    axis; shift: way along the feed [mm]; length_at_start, length_change: the length that exists at t = 0 and
    its change over the motion [mm], where tube runs out of the body or into it.
    """

    pieces: Pieces
    roles: tuple[Role, ...]
    path: Path = Path.RIGID
    turn: float = 0.0
    about_feed: bool = False
    shift: float = 0.0
    length_at_start: float | None = None
    length_change: float = 0.0


@dataclass(frozen=True)
class Motion:
    """One motion of the machine with the tube in it.

    arm: angle of the bend arm from home at start and end [rad], never negative; face: collet's face to tangent point
    at start and end [mm], None when nothing holds the tail or on a hand-fed bender; pressure: how far the pressure die
    stands forward of its home at start and end [mm]; y, rotation: position for the readouts [mm], [rad];
    leading_length: developed length of the leading part, the least and the most over the motion [mm];
    tail_length: tube behind the tangent point at t = 0 [mm].
    slides_straight: the arc just formed only slides straight out of the groove, with no rotation before.
    """

    phase: Phase
    bodies: tuple[Body, ...]
    bend_radius: float
    toward: float
    leading_length: tuple[float, float]
    tail_length: float
    arm: tuple[float, float] = (0.0, 0.0)
    face: tuple[float, float] | None = None
    pressure: tuple[float, float] = (0.0, 0.0)
    y: tuple[float, float] = (0.0, 0.0)
    rotation: tuple[float, float] = (0.0, 0.0)
    slides_straight: bool = False

    @property
    def axis(self) -> Array:
        """A point on the die axis [mm]."""
        return die_axis(self.bend_radius, self.toward)


@dataclass(frozen=True)
class Standing:
    """The tube as it stands in the machine with the dies not gripping it.

    leading: pieces ahead of the tangent point at y = 0; formed_arc: the first of them is the arc just formed;
    tail_length: tube behind the tangent point at y = 0 [mm]; face: collet's face to tangent point at y = 0 [mm].
    """

    leading: Pieces
    formed_arc: bool
    tail_length: float
    tangent_u: float
    face: float | None
    bend_radius: float
    toward: float


def moved(
    pieces: Pieces, shift: float = 0.0, turn: float = 0.0, axis: Array | None = None, centre: Array | None = None
) -> Pieces:
    """Return the pieces turned right-handed by `turn` [rad] about `axis`, then shifted along the feed [mm]."""
    start, along, inward = pieces.start, pieces.along, pieces.inward
    if turn != 0.0 and axis is not None:
        start = turned(start, axis, turn, centre)
        along, inward = turned(along, axis, turn), turned(inward, axis, turn)
    return replace(pieces, start=start + np.array([[shift], [0.0], [0.0]]), along=along, inward=inward)


def _along_feed(length: float, tangent_u: float, ahead: bool, to_end: float) -> Pieces:
    """Return the straight from the tangent point, forward or back along the feed, as one piece [mm]."""
    way = 1.0 if ahead else -1.0
    return Pieces(
        start=np.zeros((3, 1)),
        along=np.array([[way], [0.0], [0.0]]),
        inward=np.array([[0.0], [1.0], [0.0]]),
        curvature=np.zeros(1),
        length=np.array([length]),
        u=np.array([tangent_u]),
        u_sign=-way,
        to_end=np.array([to_end]),
    )


def straight_piece(length: float, tangent_u: float, to_end: float) -> Pieces:
    """Return the straight from the tangent point forward as one piece [mm]; to_end: on to the tube's free end."""
    return _along_feed(length, tangent_u, True, to_end)


def _first(length: float, tangent_u: float, to_end: float, past: float = 0.0) -> Body:
    """Return the first straight ahead, which comes out of the die and grows or shrinks at the tangent point.

    past: how far in front of that the tube's end is at least by then, where it is drawn off the rod [mm].
    """
    return Body(moved(straight_piece(length - past, tangent_u - past, to_end), past), FIRST_ROLE, Path.LINE)


def _tail(length: float, tangent_u: float, change: float = 0.0) -> Body:
    pieces = _along_feed(length, tangent_u, False, 0.0)
    return Body(pieces, TAIL_ROLE, length_at_start=length, length_change=change)


def _standing_roles(standing: Standing) -> tuple[Role, ...]:
    """Roles of the leading pieces between two bends: arc just formed, straight after it, the rest."""
    straight = [bool(k == 0.0) for k in standing.leading.curvature[:2]]
    if standing.formed_arc:
        return _roles((Role.FORMED, Role.AFTER) if straight[1:] == [True] else (Role.FORMED,), standing.leading.count)
    return _roles((Role.FIRST,) if straight[:1] == [True] else (), standing.leading.count)


@cache
def _roles(first: tuple[Role, ...], count: int) -> tuple[Role, ...]:
    """Return so many roles, all but the first ones EARLIER; the same object every time."""
    return (first + (Role.EARLIER,) * (count - len(first)))[:count]


def _total(pieces: Pieces) -> float:
    return float(pieces.length.sum())


def advance(standing: Standing, y: tuple[float, float], roll: float, turned_before: bool) -> Motion:
    """Advance (or go back) from y[0] to y[1] [mm] at a roll of `roll` [rad] from the standing pose.

    turned_before: the tube has been rotated since the arc was formed, so the arc must keep clear of the groove.
    """
    leading = moved(standing.leading, y[0], roll, ALONG_FEED, np.zeros(3))
    reach, total = max(y), _total(standing.leading)
    rigid = Body(leading, _standing_roles(standing), shift=y[1] - y[0])
    bodies = [rigid, _tail(standing.tail_length - min(y), standing.tangent_u + min(y))]
    if reach > 1e-9:
        past = max(min(y) - standing.tail_length, 0.0)
        bodies.append(_first(reach, standing.tangent_u + reach, total, past))
    return Motion(
        Phase.PLACE,
        tuple(bodies),
        standing.bend_radius,
        standing.toward,
        (total + min(y), total + reach),
        standing.tail_length - min(y),
        face=_faces(standing, y),
        y=y,
        rotation=(roll, roll),
        slides_straight=standing.formed_arc and not turned_before,
    )


def rotate(standing: Standing, y: float, roll: tuple[float, float]) -> Motion:
    """Rotate from roll[0] to roll[1] [rad] at an advance of y [mm].

    Tail and first straight lie on the feed's axis and do not change as sets; the advances before and after check them.
    """
    start = moved(standing.leading, y, roll[0], ALONG_FEED, np.zeros(3))
    rigid = Body(start, _standing_roles(standing), turn=roll[1] - roll[0], about_feed=True)
    return Motion(
        Phase.PLACE,
        (rigid,),
        standing.bend_radius,
        standing.toward,
        _same(_total(standing.leading) + y),
        standing.tail_length - y,
        face=_faces(standing, (y, y)),
        y=(y, y),
        rotation=roll,
    )


def _faces(standing: Standing, y: tuple[float, float]) -> tuple[float, float] | None:
    return None if standing.face is None else (standing.face - y[0], standing.face - y[1])


def _same(length: float) -> tuple[float, float]:
    return (length, length)


@dataclass(frozen=True)
class InDie:
    """The tube gripped for one bend, arm at home.

    leading: pieces ahead of the tangent point at the start of the bend; angle, setting [rad]; tail_length: tube behind
    the tangent point at the start [mm]; face: collet's face to tangent point at the start [mm], None when released;
    follows: the pressure die travels with the tube; y: advance reading at the start [mm]; rotation [rad].
    """

    leading: Pieces
    bend_radius: float
    toward: float
    angle: float
    setting: float
    tangent_u: float
    tail_length: float
    face: float | None
    follows: bool
    y: float = 0.0
    rotation: float = 0.0

    def roles(self) -> tuple[Role, ...]:
        """Roles of the leading pieces: first straight, the formed arc at its far end, the rest."""
        gripped = self.leading.count > 0 and self.leading.curvature[0] == 0.0
        return _roles((Role.FIRST, Role.FAR_ARC) if gripped else (), self.leading.count)

    def forming_arc(self, swing: float) -> Pieces:
        """Return the arc in the die after a swing [rad], from its tail end at the tangent point forward."""
        return Pieces(
            np.zeros((3, 1)),
            np.array([[1.0], [0.0], [0.0]]),
            np.array([[0.0], [self.toward], [0.0]]),
            np.array([1.0 / self.bend_radius]),
            np.array([self.bend_radius * swing]),
            np.array([self.tangent_u + self.bend_radius * swing]),
            -1.0,
            np.array([_total(self.leading)]),
        )

    def at_swing(self, swing: float) -> Pieces:
        """Return the leading part after a swing [rad]."""
        return moved(
            self.leading, turn=self.toward * swing, axis=UPWARD, centre=die_axis(self.bend_radius, self.toward)
        )


def close_dies(grip: InDie) -> Motion:
    """The clamp and the pressure die close on the standing tube."""
    body = Body(grip.leading, grip.roles())
    face = None if grip.face is None else (grip.face, grip.face)
    return Motion(
        Phase.CLOSE,
        (body,),
        grip.bend_radius,
        grip.toward,
        _same(_total(grip.leading)),
        grip.tail_length,
        face=face,
        y=(grip.y, grip.y),
        rotation=(grip.rotation, grip.rotation),
    )


def bend(grip: InDie) -> Motion:
    """Swing from home to the setting: the leading part turns with the arm, the tail feeds forward by CLR · θ."""
    feed = grip.bend_radius * grip.setting
    leading = Body(grip.leading, grip.roles(), turn=grip.toward * grip.setting)
    forming = Body(grip.forming_arc(grip.setting), FORMING_ROLE, Path.GROWING, length_at_start=0.0, length_change=feed)
    face = None if grip.face is None else (grip.face, grip.face - feed)
    return Motion(
        Phase.BEND,
        (leading, forming, _tail(grip.tail_length, grip.tangent_u, -feed)),
        grip.bend_radius,
        grip.toward,
        (_total(grip.leading), _total(grip.leading) + feed),
        grip.tail_length,
        arm=(0.0, grip.setting),
        face=face,
        pressure=(0.0, feed if grip.follows else 0.0),
        y=(grip.y, grip.y + feed),
        rotation=(grip.rotation, grip.rotation),
    )


def regrip(grip: InDie, face: tuple[float, float]) -> Motion:
    """The carriage runs along the tail, the arm still at the setting and the dies closed."""
    feed = grip.bend_radius * grip.setting
    bodies = (Body(grip.at_swing(grip.setting), grip.roles()), Body(grip.forming_arc(grip.setting), FORMED_ROLE))
    return Motion(
        Phase.REGRIP,
        bodies,
        grip.bend_radius,
        grip.toward,
        _same(_total(grip.leading) + feed),
        grip.tail_length - feed,
        arm=(grip.setting, grip.setting),
        face=face,
        pressure=(feed if grip.follows else 0.0,) * 2,
        y=(grip.y + feed,) * 2,
        rotation=(grip.rotation, grip.rotation),
    )


def open_dies(grip: InDie, face: float | None) -> Motion:
    """The dies open and the tube springs back from the setting to its angle, tail and carriage back with it.

    face: collet's face to tangent point before the tube springs back [mm]. Against frame and carriage the tube goes
    back over positions that `bend` has passed; the arm stands, the opened clamp with it.
    """
    back = grip.setting - grip.angle
    feed = grip.bend_radius * grip.setting
    ahead = Body(grip.at_swing(grip.setting), grip.roles(), turn=-grip.toward * back)
    forming = Body(
        grip.forming_arc(grip.setting),
        FORMING_ROLE,
        Path.GROWING,
        length_at_start=feed,
        length_change=-grip.bend_radius * back,
    )
    forward = feed if grip.follows else 0.0
    faces = None if face is None else (face, face + grip.bend_radius * back)
    shorter = _total(grip.leading) + grip.bend_radius * grip.angle
    return Motion(
        Phase.OPEN,
        (ahead, forming),
        grip.bend_radius,
        grip.toward,
        (shorter, _total(grip.leading) + feed),
        grip.tail_length - feed,
        arm=(grip.setting, grip.setting),
        face=faces,
        pressure=(forward, forward),
        y=(grip.y + feed, grip.y + grip.bend_radius * grip.angle),
        rotation=(grip.rotation,) * 2,
    )


def ease_off(standing: Standing, arm: float, y: float, pressure: float) -> Motion:
    """Advance by y [mm] with the arm still at the setting `arm` [rad]: the arc slides straight out of the groove.

    pressure: how far forward the pressure die still stands [mm]; it goes home with the arm.
    """
    motion = advance(standing, (0.0, y), 0.0, turned_before=False)
    return replace(motion, phase=Phase.RETURN, arm=(arm, arm), pressure=(pressure, pressure))


def return_arm(standing: Standing, arm: float, y: float, pressure: float) -> Motion:
    """The arm goes home from `arm` [rad] past the tube that stands at an advance of y [mm].

    pressure: how far forward the pressure die stands before it goes home too [mm].
    """
    placed = Body(moved(standing.leading, y), _standing_roles(standing))
    bodies = [placed, _tail(standing.tail_length - y, standing.tangent_u + y)]
    if y > 1e-9:
        bodies.append(_first(y, standing.tangent_u + y, _total(standing.leading)))
    return Motion(
        Phase.RETURN,
        tuple(bodies),
        standing.bend_radius,
        standing.toward,
        _same(_total(standing.leading) + y),
        standing.tail_length - y,
        arm=(arm, 0.0),
        face=_faces(standing, (y, y)),
        pressure=(pressure, 0.0),
        y=(y, y),
        slides_straight=standing.formed_arc,
    )


def laid_in(standing: Standing) -> Motion:
    """A formed tube just laid in: a standing pose, checked against itself only (the tail against what is ahead)."""
    body = Body(standing.leading, _standing_roles(standing))
    return Motion(
        Phase.LOAD,
        (body,),
        standing.bend_radius,
        standing.toward,
        _same(_total(standing.leading)),
        standing.tail_length,
    )
