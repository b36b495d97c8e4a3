"""The motions of one bend, as one-parameter rigid motions over t from 0 to 1.

Each function takes the tube as it stands and returns a `Motion`: the bodies that the tube consists of for the contact
table (tail, forming arc, first straight, …), how each of them moves in the machine frame, and how arm, carriage and
pressure die move meanwhile. Nothing here knows about solids or clearances.

The swing is about the die axis, by `toward` · θ about +Z: a right head (toward = −1) swings clockwise seen from above.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from planner.tolerances import NO_LENGTH
from planner.tube.bodies import (
    FIRST_ROLE,
    FORMED_ROLE,
    FORMED_ROLES,
    FORMING_ROLE,
    GRIPPED_ROLES,
    TAIL_ROLE,
    Body,
    Motion,
    Path,
    Phase,
    Role,
)
from planner.tube.frames import ALONG_FEED, UPWARD, Array, die_axis, turned
from planner.tube.partly_bent import Pieces


@dataclass(frozen=True)
class Standing:
    """The tube as it stands in the machine with the dies not gripping it.

    leading: pieces ahead of the tangent point at y = 0; formed_arc: the first of them is the arc just formed;
    tail_length: tube behind the tangent point at y = 0 [mm]; face: collet's face to tangent point at y = 0, None where
    the collet stands open or there is none [mm]; stands: where its face stands open then, if there is one [mm];
    lowered: how far down the die is [mm].
    """

    leading: Pieces
    formed_arc: bool
    tail_length: float
    tangent_u: float
    face: float | None
    bend_radius: float
    toward: float
    stands: float | None = None
    lowered: float = 0.0

    def opened(self, stands: float | None) -> Standing:
        """Return the tube standing there with the collet open and the carriage standing back [mm]."""
        return replace(self, face=None, stands=stands)


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
        return _roles(FORMED_ROLES if straight[1:] == [True] else FORMED_ROLE, standing.leading.count)
    return _roles(GRIPPED_ROLES if straight[:1] == [True] else (), standing.leading.count)


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
    if reach > NO_LENGTH:
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
        drop=_same(standing.lowered),
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
        drop=_same(standing.lowered),
        y=(y, y),
        rotation=roll,
    )


def _faces(standing: Standing, y: tuple[float, float]) -> tuple[float, float] | None:
    if standing.face is None:
        return None if standing.stands is None else _same(standing.stands)
    return (standing.face - y[0], standing.face - y[1])


def _same(length: float) -> tuple[float, float]:
    return (length, length)


@dataclass(frozen=True)
class InDie:
    """The tube gripped for one bend, arm at home.

    leading: pieces ahead of the tangent point at the start of the bend; angle, setting [rad]; tail_length: tube behind
    the tangent point at the start [mm]; face: collet's face to tangent point at the start [mm], None when released;
    follows: the pressure die travels with the tube; y: advance reading at the start [mm]; rotation [rad]; stands: where
    the collet's face stands open when released [mm].
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
    stands: float | None = None

    def faces(self, feed: float) -> tuple[float, float] | None:
        """Return the collet's face to tangent point before and after a feed [mm]; open it stands where it is."""
        if self.face is None:
            return None if self.stands is None else _same(self.stands)
        return (self.face, self.face - feed)

    def roles(self) -> tuple[Role, ...]:
        """Roles of the leading pieces: first straight, the formed arc at its far end, the rest."""
        gripped = self.leading.count > 0 and self.leading.curvature[0] == 0.0
        return _roles(GRIPPED_ROLES if gripped else (), self.leading.count)

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
    """The clamp and the pressure die close on the standing tube, tail included: the die's slide comes to it."""
    bodies = (Body(grip.leading, grip.roles()), _tail(grip.tail_length, grip.tangent_u))
    face = None if grip.face is None else (grip.face, grip.face)
    return Motion(
        Phase.CLOSE,
        bodies,
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
    return Motion(
        Phase.BEND,
        (leading, forming, _tail(grip.tail_length, grip.tangent_u, -feed)),
        grip.bend_radius,
        grip.toward,
        (_total(grip.leading), _total(grip.leading) + feed),
        grip.tail_length,
        arm=(0.0, grip.setting),
        face=grip.faces(feed),
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
    faces = grip.faces(0.0) if face is None else (face, face + grip.bend_radius * back)
    shorter, longer = _total(grip.leading) + grip.bend_radius * grip.angle, grip.bend_radius * back
    behind = grip.tail_length - feed
    tail = replace(_tail(behind + longer, grip.tangent_u + feed - longer, longer), length_at_start=behind)
    return Motion(
        Phase.OPEN,
        (ahead, forming, tail),
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


def homing(
    standing: Standing,
    arm: tuple[float, float],
    y: tuple[float, float],
    pressure: tuple[float, float] = (0.0, 0.0),
) -> Motion:
    """One leg of the arm's way home: the arm goes, the tube is run forward in the groove, or both evenly together.

    arm: from home [rad]; y: advance from the end of the bend [mm]; pressure: how far forward the pressure die stands
    [mm].
    """
    motion = advance(standing, y, 0.0, turned_before=False)
    bodies = motion.bodies
    if arm[0] != arm[1] and y[0] != y[1]:
        bodies = tuple(_as_it_flows(body, standing.tail_length, y) for body in bodies)
    return replace(motion, phase=Phase.RETURN, bodies=bodies, arm=arm, pressure=pressure)


def _as_it_flows(body: Body, tail: float, y: tuple[float, float]) -> Body:
    """Return straight or tail as it grows or shrinks from one advance to another [mm]; seen from the arm that counts.

    tail: its length at an advance of 0 [mm].
    """
    if body.path is Path.LINE:
        return replace(body, length_at_start=y[0], length_change=y[1] - y[0])
    if body.roles == TAIL_ROLE:
        return replace(body, length_at_start=tail - y[0], length_change=y[0] - y[1])
    return body


def run_carriage(standing: Standing, y: float, face: tuple[float, float], arm: float = 0.0) -> Motion:
    """The carriage runs along the tail with its collet open, the tube standing at an advance of y [mm].

    face: collet's face to tangent point at start and end [mm]; arm: where it stands meanwhile [rad].
    """
    motion = advance(standing, (y, y), 0.0, turned_before=False)
    return replace(motion, phase=Phase.RUN, face=face, arm=(arm, arm))


def run_carriage_back(grip: InDie, face: tuple[float, float]) -> Motion:
    """The carriage runs back along the tail while the dies hold the tube, before the job's last bend."""
    return replace(close_dies(grip), phase=Phase.RUN, face=face)


def lower_die(
    standing: Standing, at: tuple[float, float], drop: tuple[float, float], arm: float = 0.0, pressure: float = 0.0
) -> Motion:
    """The die goes down or up by itself while the tube stands.

    at: advance [mm] and roll [rad] of the tube; drop: how far the die is lowered at start and end [mm]; arm: where it
    stands meanwhile [rad]; pressure: how far forward the pressure die stands [mm].
    """
    y, roll = at
    motion = advance(standing, (y, y), roll, turned_before=roll != 0.0)
    return replace(motion, phase=Phase.DROP, arm=(arm, arm), drop=drop, pressure=(pressure, pressure))


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
