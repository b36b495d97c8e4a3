"""Proofs that no way round an obstacle helps: one number is walked along, and at every step something is struck.

A point of the tube that is nearer than needed by d still is when the tube, or what it strikes, is shifted by less than
d: distances are 1-Lipschitz. So a strike at one place covers the places within its depth, and a row of strikes that
overlap covers a span without a gap. Three spans are walked so:

- the advance, at one angle between start and goal of a rotation: nothing passes that angle (a wall across the move);
- the advance to which the tube is eased off the die: the arm cannot go home at any;
- the place of the collet on the tube: something on the carriage is struck wherever it holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from planner.clearance.certify import certify
from planner.clearance.deepest import deepest
from planner.clearance.rows import EVERY_CLAMP, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Witness
from planner.search.attempts import Attempt, eased_motion, gripping_motions, home_motion
from planner.search.stations import Station
from planner.tolerances import STRIKE_MARGIN
from planner.tube import motions
from planner.tube.motions import Motion

MOST_STEPS = 150
"""Steps after which a span counts as not covered."""

LEAST_STEP = 0.5
"""A strike that covers no more than this is no progress [mm]."""

OVERLAP = 1e-3
"""By how much neighbouring strikes overlap, far above rounding [mm]."""


@dataclass(frozen=True)
class Wall:
    """Strikes that cover a span: the places walked [mm] and the witness at each."""

    places: tuple[float, ...]
    witnesses: tuple[Witness, ...]


Strike = tuple[float, Witness]
"""How much nearer than needed (less the margin of a strike) [mm], and where."""


def struck(motion: Motion, around: Surroundings, clamps: tuple[float, ...], clamp: int = EVERY_CLAMP) -> Strike | None:
    """Return the strike of one motion that holds whatever the clamp (or with one of them), None if there is none."""
    rows = rows_of([motion], around, [clamps])
    found = certify(rows)
    entries = [found.findings.get((0, key)) for key in {EVERY_CLAMP, clamp}]
    best: Strike | None = None
    for entry in entries:
        if entry is None or entry.answer is not Answer.STRUCK or entry.witness is None:
            continue
        worst = deepest(rows, entry.witness)
        depth = entry.witness.needed - float(rows.spread[entry.witness.row]) - worst.clearance - STRIKE_MARGIN
        if best is None or depth > best[0]:
            best = (depth, entry.witness)
    return best


def walked(strike_at: Callable[[float], Strike | None], low: float, high: float) -> Wall | None:
    """Return the strikes that cover [low, high] [mm], None where a place is not struck or too little is covered."""
    place = low
    places: list[float] = []
    witnesses: list[Witness] = []
    while len(places) < MOST_STEPS:
        found = strike_at(place)
        if found is None or found[0] < LEAST_STEP:
            return None
        places.append(place)
        witnesses.append(found[1])
        if place + found[0] >= high:
            return Wall(tuple(places), tuple(witnesses))
        place = min(place + found[0] - OVERLAP, high)
    return None


def across_move(attempt: Attempt, around: Surroundings, farthest: float) -> tuple[Wall, ...] | None:
    """Return a wall across every way round of a move, None if one of them has none.

    farthest: greatest advance that any hold allows [mm].
    """
    if not attempt.rolls or attempt.rolls == (0.0,):
        return None
    found: list[Wall] = []
    for roll in attempt.rolls:
        wall = next(_walls(attempt, around, roll, farthest), None)
        if wall is None:
            return None
        found.append(wall)
    return tuple(found)


def _walls(attempt: Attempt, around: Surroundings, roll: float, farthest: float) -> Iterator[Wall]:
    """Yield the walls found at the most promising angles of one way round."""
    standing = attempt.standing_before
    for at in dict.fromkeys((attempt.station.advance, 0.0)):
        sweep = motions.rotate(standing, at, (0.0, roll))
        rows = rows_of([sweep], around, [attempt.clamps])
        entry = certify(rows).findings.get((0, EVERY_CLAMP))
        if entry is None or entry.answer is not Answer.STRUCK or entry.witness is None:
            return  # the tube goes round there
        angle = roll * deepest(rows, entry.witness).t
        if abs(angle) < 1e-9 or abs(angle - roll) < 1e-9:
            continue  # the pose at either end: bend or return speak of that

        def pose(y: float, angle: float = angle) -> Strike | None:
            return struck(motions.rotate(standing, y, (angle, angle)), around, attempt.clamps)

        wall = walked(pose, 0.0, farthest)
        if wall is not None:
            yield wall


def against_easing(attempt: Attempt, around: Surroundings, clamp: int, farthest: float) -> Wall | None:
    """Return strikes that cover every advance to which the tube could be eased before the arm goes home.

    Where the tube strikes the standing arm on its way forward, nothing beyond that place has to be covered.
    """

    def home(y: float) -> Strike | None:
        beyond = struck(eased_motion(attempt, y), around, attempt.clamps, clamp) if y > LEAST_STEP else None
        if beyond is not None:
            return (farthest + 1.0, beyond[1])
        return struck(home_motion(attempt, y), around, attempt.clamps, clamp)

    return walked(home, 0.0, farthest)


def wherever_held(attempt: Attempt, around: Surroundings, clamp: int, faces: tuple[float, float]) -> Wall | None:
    """Return strikes of a bend that cover every place of the collet; faces: the least and greatest to tangent point."""
    if faces[0] > faces[1]:
        return None

    def held(face: float) -> Strike | None:
        station: Station = replace(attempt.station, face=face, regrip=None)
        moved = replace(attempt, station=station, grip=replace(attempt.grip, face=face))
        found = [struck(motion, around, attempt.clamps, clamp) for motion in gripping_motions(moved)]
        return max((entry for entry in found if entry is not None), key=lambda entry: entry[0], default=None)

    return walked(held, *faces)
