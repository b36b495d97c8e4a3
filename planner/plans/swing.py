"""How far tube and arm come round while they move: reach, height and speed of each motion, and the floor swept.

Pieces are sampled, and what lies between two samples is added: everything here is an upper bound of the tube as it is
planned, for people to keep clear of. It says nothing of a tube that whips, slips or is dropped.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from planner.facts import Quantity, fact, metres
from planner.inputs.machine import Machine
from planner.plans.document import KeepClear, Swing
from planner.tolerances import NO_DIRECTION
from planner.tube.bodies import Body, Motion, Path, Phase
from planner.tube.frames import ALONG_FEED, UPWARD, Array, Ints, turned
from planner.wording.say import say

GRID = 64
"""Parts into which a piece is cut to find how far it reaches."""

STEP = 80.0
"""Greatest way of a point between two samples of the swept footprint [mm]."""

SECTORS = 72
"""Directions about the die axis in which the swept footprint is measured."""

RING = 20.0
"""Distances from the die axis are rounded up to multiples of this before they are spread over directions [mm]."""


def reach_about_die(motion: Motion, radius: float) -> float:
    """Return the farthest that the swinging part reaches from the die axis, seen from above [mm], rounded up."""
    return _rounded(_reach(motion.bodies[0], radius, lambda p: np.hypot(p[0] - motion.axis[0], p[1] - motion.axis[1])))


def reach_about_feed(motion: Motion, radius: float) -> float:
    """Return the farthest that the rotating part reaches from the feed's axis [mm], rounded up."""
    return _rounded(_reach(motion.bodies[0], radius, lambda p: np.hypot(p[1], p[2])))


def _rounded(far: float) -> float:
    return math.ceil(far / 10.0) * 10.0


def _reach(body: Body, radius: float, distance: Callable[[Array], Array]) -> float:
    """Return the greatest of a distance over a body's pieces, the tube's radius added [mm]."""
    far = -math.inf
    for points, bulge in _sampled(body):
        far = max(far, float(distance(points).max()) + bulge)
    return far + radius if far > -math.inf else 0.0


def _sampled(body: Body) -> Iterable[tuple[Array, float]]:
    """Yield points (3, GRID + 1) of each piece at t = 0, and how far it bulges between two of them at most [mm].

    That is an eighth of κ times the square of their distance.
    """
    pieces = body.pieces
    for k in range(pieces.count):
        length = float(pieces.length[k])
        points = pieces.points(np.linspace(0.0, length, GRID + 1), k)
        yield points, float(pieces.curvature[k]) * (length / GRID) ** 2 / 8.0


def swing_of(motion: Motion, radius: float, speed: float | None, arm: float) -> Swing:
    """Return how far tube and arm come round in one motion.

    radius: the tube's [mm]; speed: of the axis that moves, [mm/s] along the feed or [rad/s] about an axis; None where
    nothing drives them; arm: how far arm, clamp and section reach from the die axis [mm].
    """
    heights = [_heights(body, radius) for body in motion.bodies if body.pieces.count]
    body = motion.bodies[0]
    turning = body.path is Path.RIGID and body.turn != 0.0
    arm_turns = motion.arm[0] != motion.arm[1]
    if turning and body.about_feed:
        far = reach_about_feed(motion, radius)
    elif turning or arm_turns:
        far = max(reach_about_die(motion, radius) if turning else 0.0, _rounded(arm) if arm_turns else 0.0)
    else:
        far = _rounded(max(_farthest_ahead(body, radius) for body in motion.bodies))
    tip = None if speed is None else speed * (far if turning or arm_turns else 1.0)
    return Swing(
        about="feed" if turning and body.about_feed else "die" if turning or arm_turns else None,
        farthest=far,
        highest=math.ceil(max((high for _, high in heights), default=radius)),
        lowest=math.floor(min((low for low, _ in heights), default=-radius)),
        tip_speed=None if tip is None else math.ceil(tip),
    )


def _farthest_ahead(body: Body, radius: float) -> float:
    shift = max(body.shift, 0.0) if body.path is Path.RIGID else 0.0
    return _reach(body, radius, lambda p: p[0]) + shift if body.pieces.count else radius


def _heights(body: Body, radius: float) -> tuple[float, float]:
    """Return the lowest and the highest point of a body over its motion [mm]; turning about the feed changes them."""
    low, high = math.inf, -math.inf
    for points, bulge in _sampled(body):
        if body.about_feed and body.turn != 0.0:
            rho, angle = np.hypot(points[1], points[2]), np.arctan2(points[2], points[1])
            up = np.where(_passes(angle, body.turn, math.pi / 2.0), rho, -np.inf)
            down = np.where(_passes(angle, body.turn, -math.pi / 2.0), -rho, np.inf)
            ends = np.stack((points[2], rho * np.sin(angle + body.turn)))
            low = min(low, float(np.minimum(ends.min(axis=0), down).min()) - bulge)
            high = max(high, float(np.maximum(ends.max(axis=0), up).max()) + bulge)
        else:
            low, high = min(low, float(points[2].min()) - bulge), max(high, float(points[2].max()) + bulge)
    return low - radius, high + radius


def _passes(angle: Array, turn: float, at: float) -> Array:
    """Return which points that begin at an angle pass another one on their way round [rad]."""
    way = np.mod((at - angle) * math.copysign(1.0, turn), 2.0 * math.pi)
    return np.asarray(way <= abs(turn))


def keep_clear(motions: Iterable[Motion], arms: Iterable[Array], radius: float) -> KeepClear:
    """Return the outline of the floor that is swept in a whole plan, in directions about the die's axis.

    arms: points (3, n) that arm, clamp and section sweep, none of them farther apart than STEP [mm].
    """
    motions = list(motions)
    centre = motions[0].axis
    swept = [
        _rings(points, centre) for motion in motions for body in motion.bodies for points in swept_by(motion, body)
    ]
    swept += [_rings(points, centre) for points in arms]
    far = _spread(np.unique(np.concatenate(swept)), radius + STEP)
    edge = 2.0 * math.pi / SECTORS
    # A corner stands where two sectors meet, far enough out that the straight between two corners cuts neither.
    corners = np.maximum(far, np.roll(far, 1)) / math.cos(edge / 2.0)
    angles = edge * np.arange(SECTORS)
    outline = np.stack((centre[0] + corners * np.cos(angles), centre[1] + corners * np.sin(angles)), axis=1)
    rounded = np.round(outline, 1)
    ahead, behind = float(rounded[:, 0].max()), -float(rounded[:, 0].min())
    left, right = float(rounded[:, 1].max()), -float(rounded[:, 1].min())
    said = fact("keep-clear", ahead=_metres(ahead), behind=_metres(behind), left=_metres(left), right=_metres(right))
    return KeepClear(sentence=say(said), fact=said, outline=tuple((float(x), float(y)) for x, y in rounded))


def _metres(length: float) -> Quantity:
    return metres(math.ceil(max(length, 0.0) / 100.0) * 100.0, 1, "at most")


def _spread(found: Ints, margin: float) -> Array:
    """Return how far the tube reaches in every direction [mm], discs of a radius `margin` laid about what was found.

    found: unique numbers ring · SECTORS + sector of points; within their sector the discs lie anywhere.
    """
    edge = 2.0 * math.pi / SECTORS
    sector, distance = found % SECTORS, (found // SECTORS) * RING
    seen = np.arcsin(np.minimum(margin / np.maximum(distance - RING, NO_DIRECTION), 1.0))
    half = np.where(distance > margin + RING, seen, math.pi)
    far = np.zeros(SECTORS)
    for offset in range(-(SECTORS // 2), SECTORS // 2):
        near = abs(offset) - 1.0  # sectors between the disc's own and this one, whole
        reached = near * edge <= half
        np.maximum.at(far, np.mod(sector[reached] + offset, SECTORS), distance[reached] + margin)
    return far


def _rings(points: Array, centre: Array) -> Ints:
    """Return the unique numbers ring · SECTORS + sector of some points about a centre."""
    x, y = points[0] - centre[0], points[1] - centre[1]
    sector = np.mod(np.floor(np.arctan2(y, x) / (2.0 * math.pi / SECTORS)), SECTORS).astype(np.int64)
    return np.unique(np.ceil(np.hypot(x, y) / RING).astype(np.int64) * SECTORS + sector)


def swept_by(motion: Motion, body: Body) -> Iterable[Array]:
    """Yield points (3, n) of a body's centreline over its motion, none of it farther than STEP from one of them.

    Along the piece and over the motion two samples are no more than STEP apart each, so half of either to the nearest.
    """
    pieces = body.pieces
    if not pieces.count:
        return
    whole = [
        pieces.points(np.linspace(0.0, length, math.ceil(length / STEP) + 1), k)
        for k, length in enumerate(pieces.length)
    ]
    points = np.concatenate(whole, axis=1)
    if body.path is not Path.RIGID:
        yield points
        return
    axis, centre = (ALONG_FEED, np.zeros(3)) if body.about_feed else (UPWARD, motion.axis)
    way = abs(body.turn) * _reach(body, 0.0, lambda p: _about(p, body.about_feed, centre)) + abs(body.shift)
    times = np.linspace(0.0, 1.0, math.ceil(way / STEP) + 1)
    moved = [turned(points, axis, body.turn * float(t), centre) if body.turn != 0.0 else points for t in times]
    yield np.concatenate(
        [p + np.array([[body.shift * t], [0.0], [0.0]]) for p, t in zip(moved, times, strict=True)], axis=1
    )


def _about(points: Array, about_feed: bool, centre: Array) -> Array:
    if about_feed:
        return np.asarray(np.hypot(points[1], points[2]))
    return np.asarray(np.hypot(points[0] - centre[0], points[1] - centre[1]))


def speed_of(machine: Machine, motion: Motion) -> float | None:
    """Return the speed of the axis that moves arm or tube [mm/s along the feed, rad/s], None where none does."""
    speeds = machine.speeds
    if motion.phase is Phase.BEND:
        return speeds.bend
    if motion.arm[0] != motion.arm[1]:
        return speeds.return_
    stands = motion.phase is not Phase.PLACE and motion.y[0] == motion.y[1]
    if stands or motion.phase is Phase.OPEN:  # there the tube springs back
        return None
    return speeds.rotate if motion.rotation[0] != motion.rotation[1] else speeds.advance
