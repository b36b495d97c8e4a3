"""The tube as bodies that move as one, each piece in its role, and how the words of a load say that a bend curls."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from tests.plan.replay.motions import Body, Length, Pair, Role, whole
from tests.plan.replay.stock import Array, Piece

FEED, ASIDE = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])


def tail(cut: float, at: Pair) -> Body:
    """The tube behind the tangent point; cut: length of the stock, at: the place of it that is there [mm]."""
    behind = (cut - at[0], cut - at[1])
    back = Piece(np.zeros(3), -FEED, ASIDE, 0.0, max(behind), 0.0, 1.0)
    return Body("tail", (Length(back, "tail", (0.0, 0.0), behind, runs=True),))


def come_out(cut: float, place: float, at: Pair) -> Body:
    """The straight that has come out of the die since `place` was at the tangent point, as far as there is tube [mm]."""
    gone = (at[0] - place, at[1] - place)
    line = Piece(np.zeros(3), FEED, ASIDE, 0.0, max(gone), 0.0)
    return Body("come out", (Length(line, "first straight", (at[0] - cut, at[1] - cut), gone, runs=True),))


def in_the_die(side: float, role: Role, radius: float, angles: Pair) -> Body:
    """The arc in the die, from the tangent point forward; side: of the feed on which the die stands [mm, rad]."""
    high = (radius * angles[0], radius * angles[1])
    arc = Piece(np.zeros(3), FEED, side * ASIDE, 1.0 / radius, max(high), 0.0)
    return Body("in the die", (Length(arc, role, (0.0, 0.0), high, runs=True),))


def standing(pieces: Sequence[Piece], just_formed: bool) -> tuple[Length, ...]:
    """The pieces ahead of the tangent point between two bends; just_formed: the first of them is the arc made last."""
    first: tuple[Role, ...] = ()
    if just_formed:
        after = len(pieces) > 1 and pieces[1].curvature == 0.0
        first = ("arc just formed", "straight after it", "arc at its far end") if after else ("arc just formed",)
        return _in_roles(pieces, first)
    return gripped(pieces)


def gripped(pieces: Sequence[Piece]) -> tuple[Length, ...]:
    """The pieces ahead of the tangent point as a tube was laid in, or as the dies close on the first of them."""
    straight = bool(pieces) and pieces[0].curvature == 0.0
    return _in_roles(pieces, ("first straight", "arc at its far end") if straight else ())


def _in_roles(pieces: Sequence[Piece], first: tuple[Role, ...]) -> tuple[Length, ...]:
    """All but the first ones are earlier pieces."""
    return tuple(whole(piece, first[k] if k < len(first) else "earlier") for k, piece in enumerate(pieces))


def said_to_curl(words: str, side: float) -> Array:
    """The direction across the feed to which the words of a load say that the bend ahead curls."""
    upright = re.search(r"curling straight (up|down)", words)
    if upright is not None:
        return np.array([0.0, 0.0, 1.0 if upright[1] == "up" else -1.0])
    slope = re.search(r"lies ([\d.]+)° (above|below) level", words)
    up = 0.0 if slope is None else math.radians(float(slope[1])) * (1.0 if slope[2] == "above" else -1.0)
    toward = -side if "the side away from the die" in words else side
    return np.array([0.0, toward * math.cos(up), math.sin(up)])
