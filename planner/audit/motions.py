"""What moves in one step: the tube as bodies, arm, carriage and pressure die, all evenly over t from 0 to 1.

Machine frame throughout. Tail, straight coming out of the die and arc in the die are fed through: as sets they stand
still and only grow or shrink, and they count as long as they ever are in the step unless `lives` says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planner.audit import tube
from planner.audit.tube import Axis, Chain
from planner.inputs.machine import Tooling

Phase = Literal["place", "dies close", "bend", "re-grip", "dies open", "return", "carriage run", "die drops"]
Role = Literal[
    "tail", "forming", "just formed", "after it", "first", "far arc", "earlier"
]  # fmt: skip
Label = int | Literal["tail", "fed", "forming"]
Pair = tuple[float, float]


@dataclass(frozen=True)
class Body:
    """Pieces of tube that move together.

    labels, roles: one a piece; chain: their pose at t = 0, of what is fed through at its longest; axis, turn: about
    what and by how much it turns [rad]; shift: way along the feed [mm]; runs: fed through, a set that stands still;
    lives: its length at t = 0 and the change of it [mm], None where all of it is there all the time.
    """

    labels: tuple[Label, ...]
    roles: tuple[Role, ...]
    chain: Chain
    axis: Axis = "die"
    turn: float = 0.0
    shift: float = 0.0
    runs: bool = False
    lives: Pair | None = None


@dataclass(frozen=True)
class Motion:
    """One step that moves something against the tube.

    tooling: in the machine; clamp: length [mm]; wall: the tube's [mm]; toward: −1 right head, +1 left; radius: of the
    die axis from the feed [mm]; arm: angle from home [rad]; face: collet's face to tangent point, whether it holds or
    stands open, None where there is none [mm];
    pressure: how far the pressure die stands forward [mm]; slides: the arc just formed only slides straight out; arc:
    angle of it [rad], 0 where there is none; arc_radius [mm]; ahead: most tube ahead of the tangent point [mm]; tail:
    tube behind it at t = 0 [mm]; fed: how far it comes forward in a bend [mm]; past: how far past it the arc just
    formed begins at least [mm]; drop: how far the die is lowered [mm]; clear_by: printed clearance [mm].
    """

    step: int
    phase: Phase
    bodies: tuple[Body, ...]
    tooling: Tooling
    clamp: float
    wall: float
    toward: float
    radius: float
    ahead: float
    tail: float
    clear_by: float
    arm: Pair = (0.0, 0.0)
    face: Pair | None = None
    pressure: Pair = (0.0, 0.0)
    slides: bool = False
    arc: float = 0.0
    arc_radius: float = 0.0
    past: float = 0.0
    fed: float = 0.0
    drop: Pair = (0.0, 0.0)

    @property
    def feeds(self) -> bool:
        """Whether the tube goes along the feed as one."""
        return any(body.shift != 0.0 for body in self.bodies)

    @property
    def die_y(self) -> float:
        """Where the die axis stands across the feed [mm]."""
        return self.toward * self.radius


def ahead(chain: Chain, roles: tuple[Role, ...], axis: Axis = "die", turn: float = 0.0, shift: float = 0.0) -> Body:
    """Return the leading part as a body; its pieces are numbered from the tangent point outwards."""
    return Body(tuple(range(chain.count)), roles, chain, axis, turn, shift)


def tail(length: float, u: float, lives: Pair | None = None) -> Body:
    """Return the tail of a length [mm] behind the tangent point; u: there [mm]."""
    return Body(("tail",), ("tail",), tube.straight(length, u, ahead=False), runs=True, lives=lives)


def come_out(first: float, last: float, u: float, lives: Pair | None = None) -> Body:
    """Return the straight that has come out of the die, from x = first to x = last [mm]; u: at the tangent point."""
    return Body(("fed",), ("first",), tube.straight(last - first, u - first, first), runs=True, lives=lives)


def in_the_die(role: Role, radius: float, angle: float, u: float, toward: float, lives: Pair | None = None) -> Body:
    """Return the arc in the die at an angle [rad]; u: at the tangent point then [mm]."""
    return Body(("forming",), (role,), tube.arc_in_die(radius, angle, u, toward), runs=True, lives=lives)


def standing_roles(chain: Chain, just_formed: bool) -> tuple[Role, ...]:
    """Return the roles of the pieces between bends: the arc just formed and the straight after it, or the first.

    The formed arc at the far end of that straight is the far arc: it begins where the grip section ends, or beyond.
    """
    if not just_formed:
        return gripped_roles(chain)
    straight_after = [float(k) == 0.0 for k in chain.curvature[1:2]] == [True]
    return _filled(("just formed", "after it", "far arc") if straight_after else ("just formed",), chain.count)


def gripped_roles(chain: Chain) -> tuple[Role, ...]:
    """Return the roles of the pieces while the first of them, a straight, lies in the dies."""
    held: tuple[Role, ...] = ("first", "far arc") if chain.count and float(chain.curvature[0]) == 0.0 else ()
    return _filled(held, chain.count)


def _filled(first: tuple[Role, ...], count: int) -> tuple[Role, ...]:
    rest: Role = "earlier"
    return (*first, *(rest for _ in range(count)))[:count]
