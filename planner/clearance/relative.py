"""Bodies and their motions as the owner of a solid sees them: columns of the tables of rows, by equation (2)."""

from __future__ import annotations

import math

import numpy as np

from planner.clearance.columns import (
    ALONG,
    BODY,
    CURVATURE,
    GREATEST_S,
    INWARD,
    LEAST_S,
    PIECE,
    PIECE_COLUMNS,
    START,
    THERE,
    THERE_CHANGE,
    U_SIGN,
    U,
)
from planner.clearance.solids import GOES_DOWN, Owner
from planner.tube.bodies import Body, Motion, Path, Phase, Role
from planner.tube.frames import UPWARD, Array, turned


def block_of(motion: Motion, body: Body, owner: Owner, beyond_right_angle: bool) -> tuple[float, ...] | None:
    """Return the motion of a body seen from an owner: one column of the block table, or None if it never counts."""
    turn, x, z = body.turn, body.shift, 0.0
    with_turn = (0.0, 0.0)
    centre_x, centre_z, centre_y = 0.0, 0.0, 0.0 if body.about_feed else motion.toward * motion.bend_radius
    if body.path is not Path.RIGID:
        turn, x = 0.0, 0.0
    if owner in (Owner.ARM, Owner.SECTION):
        if body.path is not Path.GROWING:
            turn -= motion.toward * (motion.arm[1] - motion.arm[0])
        back = -motion.toward * motion.arm[0]
        with_turn, x = (x * math.cos(back), x * math.sin(back)), 0.0
    elif owner is Owner.CARRIAGE and motion.face is not None and body.path is not Path.LINE:
        centre_x = motion.face[0]  # as `seen_from` shifts the pieces
        x -= motion.face[0] - motion.face[1]
    elif owner is Owner.PRESSURE:
        x -= motion.pressure[1] - motion.pressure[0]
    elif owner is Owner.TAIL:
        x -= motion.y[1] - motion.y[0]
    if owner in GOES_DOWN:
        centre_z, z = motion.drop[0], motion.drop[1] - motion.drop[0]  # the feed lies so far above what is lowered
    y = 0.0
    if turn == 0.0:  # nothing turns: both ways are one
        x, y, with_turn = x + with_turn[0], with_turn[1], (0.0, 0.0)
    still = (turn, x, y, z, *with_turn) == (0.0,) * 6
    first, last = (1.0, 1.0) if still and _longest_at_end(motion, body) else (0.0, 0.0 if still else 1.0)
    if beyond_right_angle:
        if abs(body.turn) <= math.pi / 2.0:
            return None
        first = math.pi / 2.0 / abs(body.turn)
    axis = (1.0, 0.0, 0.0) if body.about_feed else (0.0, 0.0, 1.0)
    return (centre_x, centre_y, centre_z, *axis, turn, x, y, z, first, last, *with_turn, 0.0)


def _longest_at_end(motion: Motion, body: Body) -> bool:
    """Say whether a body that changes its length as a set is longest at the end of the motion.

    The forming arc is while it grows, the straight through the die at the farthest advance, the tail at the least.
    """
    if body.path is Path.LINE:
        return motion.y[1] > motion.y[0]
    if motion.phase is Phase.PLACE and body.roles == (Role.TAIL,):
        return motion.y[1] < motion.y[0]
    return body.length_change > 0.0


def seen_from(motion: Motion, body: Body, owner: Owner) -> Array:
    """Return the pieces of a body as they stand at t = 0 in an owner's frame: columns of the piece table."""
    pieces = body.pieces
    start, along, inward = pieces.start, pieces.along, pieces.inward
    if owner in (Owner.ARM, Owner.SECTION):
        angle = motion.arm[1] if body.path is Path.GROWING and body.length_change > 0.0 else motion.arm[0]
        if angle != 0.0:
            start = turned(start, UPWARD, -motion.toward * angle, motion.axis)
            along = turned(along, UPWARD, -motion.toward * angle)
            inward = turned(inward, UPWARD, -motion.toward * angle)
    elif owner is Owner.CARRIAGE and motion.face is not None:
        face = min(motion.face) if body.path is Path.LINE else motion.face[0]
        start = start + np.array([[face], [0.0], [0.0]])
    if owner in GOES_DOWN and motion.drop[0] != 0.0:
        start = start + np.array([[0.0], [0.0], [motion.drop[0]]])
    table = np.empty((PIECE_COLUMNS, pieces.count))
    table[START], table[ALONG], table[INWARD] = start, along, inward
    table[CURVATURE], table[LEAST_S], table[GREATEST_S] = pieces.curvature, 0.0, pieces.length
    table[THERE], table[THERE_CHANGE] = pieces.length, 0.0
    if body.length_at_start is not None:
        table[THERE], table[THERE_CHANGE] = body.length_at_start, body.length_change
    table[U], table[U_SIGN], table[PIECE] = pieces.u, pieces.u_sign, np.arange(pieces.count)
    table[BODY] = next(number for number, one in enumerate(motion.bodies) if one is body)
    return table
