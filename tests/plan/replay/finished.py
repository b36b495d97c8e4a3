"""The part that was made, held against the drawing: where its bends lie, how they are turned, how near it comes to itself."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from tests.plan.replay.carrying_out import CarryingOut
from tests.plan.replay.stock import Bend, Stock, wrapped

GAP_SPACING = 3.0
"""Between places of the finished tube that are held against one another [mm]; gaps come out too large by no more than 0.1."""


def rotation_made(first: Bend, second: Bend) -> float:
    """The angle from the plane of a bend to that of the next one nearer B, right-handed about A→B [rad]."""
    return wrapped(second.azimuth - first.azimuth)


def differs(done: CarryingOut) -> list[str]:
    """In what the part made is not the drawing's, beyond what the readouts resolve.

    Every place and plane of a bend is right to half a resolution (rounding is carried), so every straight and rotation to
    a whole one.
    """
    document, found = done.document, []
    along, turned = document["machine"]["advance"]["resolution"], document["machine"]["rotation"]["resolution"]
    rows, bends = document["part"]["shape"]["lra"], sorted(done.stock.bends, key=lambda bend: bend.number)
    if [bend.number for bend in bends] != list(range(1, len(rows))):
        return ["not every bend is made once"]
    ends = [document["stock"]["trim_a"], *(place for bend in bends for place in (bend.low, bend.high))]
    ends.append(done.stock.cut - document["stock"]["trim_b"])
    for number, row in enumerate(rows):
        straight = ends[2 * number + 1] - ends[2 * number]
        if abs(straight - row[0]) > along + 1e-5:
            found.append(f"straight {number} is {straight:.3f} mm, {row[0]} are drawn")
    for first, second in zip(bends, bends[1:], strict=False):
        off = math.degrees(wrapped(rotation_made(first, second) - math.radians(rows[second.number - 1][1])))
        if abs(off) > turned + 1e-5:
            found.append(f"bend {second.number} is turned {off:.3f}° too far")
    return found


def own_gap(document: dict[str, Any], radius: float) -> float:
    """How near the finished tube comes to itself between places with a right angle or more of bend between them [mm]."""
    bends, used, azimuth = [], 0.0, 0.0
    rows = document["part"]["shape"]["lra"]
    for number, row in enumerate(rows[:-1], start=1):
        straight, rotation, angle, clr = row
        azimuth += math.radians(rotation)
        low = used + straight
        used = low + clr * math.radians(angle)
        bends.append(Bend(number, low, used, clr, azimuth))
    cut = used + rows[-1][0]
    points, turned, so_far = [], [], 0.0
    for piece in Stock(cut, "A", tuple(bends)).ahead(cut):
        s = np.linspace(0.0, piece.length, max(2, math.ceil(piece.length / GAP_SPACING) + 1))
        points.append(piece.points(s))
        turned.append(so_far + piece.curvature * s)
        so_far += piece.curvature * piece.length
    place, angle = np.concatenate(points), np.concatenate(turned)
    near = cKDTree(place).query_pairs(2.0 * radius + 50.0, output_type="ndarray")
    apart = np.abs(angle[near[:, 1]] - angle[near[:, 0]]) >= math.pi / 2.0
    gaps = np.linalg.norm(place[near[apart, 1]] - place[near[apart, 0]], axis=1) - 2.0 * radius
    return float(gaps.min(initial=50.0))
