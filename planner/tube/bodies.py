"""Bodies of tube that move together, and a motion as one-parameter rigid motions of them over t from 0 to 1.

Phases and roles are those of the contact table. Nothing here knows about solids or clearances.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from planner.tube.frames import Array, die_axis
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
    RUN = "carriage run"
    DROP = "die drops"


class Role(Enum):
    """What a piece of tube is at the moment (the left column of the contact table)."""

    TAIL = "tail"
    FORMING = "forming arc"
    FORMED = "arc just formed"
    AFTER = "straight after the arc just formed"
    FIRST = "first straight ahead"
    FAR_ARC = "formed arc at the far end of the straight in the die"
    EARLIER = "leading part beyond"


TAIL_ROLE, FIRST_ROLE = (Role.TAIL,), (Role.FIRST,)
FORMING_ROLE, FORMED_ROLE = (Role.FORMING,), (Role.FORMED,)
GRIPPED_ROLES, FORMED_ROLES = (Role.FIRST, Role.FAR_ARC), (Role.FORMED, Role.AFTER, Role.FAR_ARC)


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


@dataclass(frozen=True, eq=False)
class Motion:
    """One motion of the machine with the tube in it.

    arm: angle of the bend arm from home at start and end [rad], never negative; face: collet's face to tangent point
    at start and end [mm], whether the collet holds the tube or stands open, None on a hand-fed bender; pressure: how
    far the pressure die stands forward of its home at start and end [mm]; drop: how far the die is lowered at start and
    end [mm]; y, rotation: position for the readouts [mm], [rad];
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
    drop: tuple[float, float] = (0.0, 0.0)
    y: tuple[float, float] = (0.0, 0.0)
    rotation: tuple[float, float] = (0.0, 0.0)
    slides_straight: bool = False

    @property
    def axis(self) -> Array:
        """A point on the die axis [mm]."""
        return die_axis(self.bend_radius, self.toward)
