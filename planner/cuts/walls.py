"""Proofs that no way round an obstacle helps: one number is walked along, and at every step something is struck.

A point of the tube that is nearer than needed by d still is when the tube, or what it strikes, is shifted by less than
d: distances are 1-Lipschitz. So a strike at one place covers the places within its depth, and a row of strikes that
overlap covers a span without a gap. Three spans are walked so:

- the advance, at one angle between start and goal of a rotation: nothing passes that angle (a wall across the move);
- the advance of the tube past an arm at one angle: the arm does not get past that angle on its way home, nor does the
  tube get past one advance where the arm is walked along from there to the setting;
- the place of the collet on the tube: something on the carriage is struck wherever it holds.

Where no one angle parts the start of a move from its goal, blocked cells of the plane of advance and rotation may.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Literal

import numpy as np

from planner.clearance.certify import certify, witness_at
from planner.clearance.deepest import deepest
from planner.clearance.rectangles import Rectangles, Region, bounding
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Witness
from planner.feasibility.bend_check import Bending, Blocked, gripping_motions
from planner.feasibility.bend_checks import Batches
from planner.feasibility.detours import MovePlane, cut_ground
from planner.feasibility.loading import Passage, ground_of
from planner.feasibility.out_of_the_way import goes_down, may_be_down, moves_by_itself
from planner.feasibility.stations import Station
from planner.inputs.machine import Machine
from planner.tolerances import CHUCK_SLACK, LEAST_STEP, OVERLAP, STRIKE_MARGIN
from planner.tube import motions
from planner.tube.bodies import Motion
from planner.tube.frames import Flags
from planner.tube.motions import Standing

MOST_STEPS = 150
"""Steps after which a span counts as not covered."""

MOST_SLIDES = 12
"""Times that the slide out of the groove is looked at again up to the strike met last."""

LOOKED_AT = 7
"""Places of the collet that are looked at first."""


@dataclass(frozen=True)
class Strike:
    """A point of the tube too near something in one motion; depth: nearer than needed less the margin, by so much [mm].

    clamp: length of the clamp that it depends on [mm], None where it is struck whatever the clamp.
    """

    depth: float
    witness: Witness
    motion: Motion
    clamp: float | None


@dataclass(frozen=True)
class Closed:
    """Blocked cells that close in one end of a plane, each with its witness; slides_to: how far the arc slides
    straight out of the groove at most [mm], where that end is a tube that does.
    """

    ground: MovePlane
    cells: Rectangles
    witnesses: tuple[Witness, ...]
    slides_to: float


Kind = Literal["across", "cells", "home", "held", "bare"]


@dataclass(frozen=True)
class Wall:
    """Strikes that cover a span of one number [mm], or cells that close in a place.

    across: every advance at one rotation `roll` [rad]; home: every advance with the arm at one angle `arm` [rad]; held:
    every distance of the collet's face; bare: a bare tube has one way only; cells: `closed`, and the strikes tell how
    far the arc slides straight. clamp: number of the clamp that it speaks of. side: strikes at the last advance of the
    span, with the arm anywhere from `arm` to the setting.
    """

    kind: Kind
    strikes: tuple[Strike, ...]
    span: tuple[float, float] = (0.0, 0.0)
    roll: float = 0.0
    arm: float = 0.0
    closed: Closed | None = None
    clamp: int = EVERY_CLAMP
    side: tuple[Strike, ...] = ()

    @property
    def witnesses(self) -> tuple[Witness, ...]:
        """All that is struck in it."""
        cells = () if self.closed is None else self.closed.witnesses
        return (*cells, *(strike.witness for strike in (*self.strikes, *self.side)))


def struck(
    motion: Motion,
    around: Surroundings,
    clamps: tuple[float, ...],
    clamp: int = EVERY_CLAMP,
    elsewhere: Callable[[Rows, Machine], Flags] | None = None,
) -> Strike | None:
    """Return the strike of one motion that holds whatever the clamp (or with one of them), None if there is none.

    Its witness is the deepest point near the one that was found first. elsewhere: says which rows prove nothing.
    """
    rows = rows_of([motion], around, [clamps])
    if elsewhere is not None:
        rows = rows.take(~elsewhere(rows, around.machine))
    found = certify(rows)
    entries = [found.findings.get((0, key)) for key in {EVERY_CLAMP, clamp}]
    best: Strike | None = None
    for entry in entries:
        if entry is None or entry.answer is not Answer.STRUCK or entry.witness is None:
            continue
        worst = deepest(rows, entry.witness)
        depth = entry.witness.needed - float(rows.spread[entry.witness.row]) - worst.clearance - STRIKE_MARGIN
        if best is None or depth > best.depth:
            witness = witness_at(rows, entry.witness.row, worst.s, worst.t, worst.clearance)
            best = Strike(depth, witness, motion, None if entry.clamp == EVERY_CLAMP else clamps[entry.clamp])
    return best


def walked(strike_at: Callable[[float], Strike | None], low: float, high: float) -> tuple[Strike, ...] | None:
    """Return the strikes that cover [low, high] [mm], None where a place is not struck or too little is covered."""
    place = low
    strikes: list[Strike] = []
    while len(strikes) < MOST_STEPS:
        found = strike_at(place)
        if found is None or found.depth < LEAST_STEP:
            return None
        strikes.append(found)
        if place + found.depth >= high:
            return tuple(strikes)
        place = min(place + found.depth - OVERLAP, high)
    return None


def across_move(attempt: Bending, around: Surroundings, farthest: float) -> tuple[Wall, ...] | None:
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


def parted(attempt: Bending, around: Surroundings, farthest: float, carried: frozenset[str]) -> tuple[Wall, ...] | None:
    """Return a wall of blocked cells between the start of a move and its goal, None where none was found.

    Whatever can be chosen is left open: the rotation may begin wherever the arc can slide to, and the advance goes up
    to `farthest` [mm], which any hold allows. With several clamps the shortest counts: what strikes that block strikes
    the longer ones, which begin at the same place.
    """
    standing, goal = attempt.standing_before, attempt.station.advance
    back = around.machine.carriage is None or around.machine.carriage.may_go_back
    reach = max(goal, farthest) if back else goal
    rolls = rolls_within_range(around.machine, attempt.rolls)
    if rolls is None:
        return None
    clamp = min(attempt.clamps)
    out, met = slides_no_farther(standing, reach, around, clamp)
    starts = (Region((0.0, out), (0.0, 0.0)),)
    goals = tuple(Region((goal, goal), (roll, roll)) for roll in attempt.rolls)
    wall = _of_cells(MovePlane(standing, clamp, (0.0, reach), rolls, 0.0, True, starts, goals), around, carried, starts)
    return None if wall is None else (replace(wall, strikes=met),)


def slides_no_farther(
    standing: Standing, farthest: float, around: Surroundings, clamp: float
) -> tuple[float, tuple[Strike, ...]]:
    """Return an advance beyond which the arc provably cannot slide straight out [mm], and the strike that says so.

    Wherever the collet holds: what the carriage carries is left out. So is what the tube is run forward past on the
    arm's way home: it is then somewhere else.
    """
    clear, far, tried = 0.0, farthest, farthest
    met: Strike | None = None
    for _ in range(MOST_SLIDES):
        if far - clear <= LEAST_STEP:
            break
        slide = replace(motions.advance(standing, (0.0, tried), 0.0, False), face=None)
        rows = rows_of([slide], around, [(clamp,)])
        rows = rows.take(~moves_by_itself(rows, around.machine))
        met_here = [f.witness for f in certify(rows).findings.values() if f.answer is Answer.STRUCK and f.witness]
        nearest = min(met_here, key=lambda w: w.t, default=None)
        if nearest is None:
            clear = tried
        else:
            held = None if rows.clamp[nearest.row] == EVERY_CLAMP else clamp
            far, met = tried * nearest.t, Strike(0.0, nearest, slide, held)
        tried = (clear + far) / 2.0
    return far, () if met is None else (met,)


def passage_wall(passage: Passage, batches: Batches, carried: frozenset[str]) -> tuple[Wall, ...] | None:
    """Return a wall of blocked cells between free hands and a tube's place in the machine, None where none was found.

    A bare tube has one way only, straight along the feed: a strike there needs no cells.
    """
    if not passage.standing.leading.curvature.any():
        elsewhere = carried | goes_down(batches.machine)
        strikes = strikes_of(passage.blocked, passage.attempt)
        met = tuple(strike for strike in strikes if strike.witness.solid not in elsewhere)
        return (Wall("bare", met),) if len(met) == len(passage.attempt.clamps) else None
    clamp, around = min(passage.attempt.clamps), batches.around(passage.attempt.station)
    assert passage.far is not None  # asked only of a tube that goes on a mandrel
    ground = ground_of(passage, clamp)
    ground = replace(ground, y=(0.0, passage.far), rotates_from=0.0)
    if passage.way == "load":
        wall = _of_cells(ground, around, carried, ground.goals)
        return None if wall is None else (wall,)
    out, met = slides_no_farther(passage.standing, passage.far, around, clamp)
    ground = replace(ground, starts=(Region((0.0, out), (0.0, 0.0)),))
    wall = _of_cells(ground, around, carried, ground.starts)
    return None if wall is None else (replace(wall, strikes=met),)


def strikes_of(blocked: Iterable[Blocked], attempt: Bending) -> list[Strike]:
    """Return the strikes among what blocks the clamps of an attempt."""
    found = []
    for entry in blocked:
        witness, clamp = entry.finding.witness, entry.finding.clamp
        if entry.finding.answer is Answer.STRUCK and witness is not None:
            found.append(Strike(0.0, witness, entry.motion, None if clamp == EVERY_CLAMP else attempt.clamps[clamp]))
    return found


def _of_cells(ground: MovePlane, around: Surroundings, carried: frozenset[str], end: tuple[Region, ...]) -> Wall | None:
    """Return the wall about one end of a ground, None where none parts it from the other."""
    rows, found = cut_ground(ground, around, carried, goes_down(around.machine), for_proof=True)
    if not found.parted:
        return None
    rolls = ground.rolls
    at = bounding(found.cells, end, ground.goes_round)
    row, s, clearance = found.cells.witness[:, at]
    t = (found.cells.roll[at] - rolls[0]) / (rolls[1] - rolls[0])
    witnesses = [
        witness_at(rows, int(w), float(a), float(b), float(c)) for w, a, b, c in zip(row, s, t, clearance, strict=True)
    ]
    slides_to = max(region.y[1] for region in end)
    return Wall("cells", (), ground.y, closed=Closed(ground, found.cells.take(at), tuple(witnesses), slides_to))


def rolls_within_range(machine: Machine, rolls: tuple[float, ...]) -> tuple[float, float] | None:
    """Return the rotations from the start of a move that a chuck can make wherever it stands at the start [rad].

    It must stand within its range at the start and, rotated by one of `rolls`, at the goal too.
    """
    limits = machine.rotation.range
    if limits == "continuous":
        return (-math.pi, math.pi)
    if len(rolls) != 1:
        return None
    low, high = limits
    first, last = max(low, low - rolls[0]), min(high, high - rolls[0])
    return (low - last, high - first) if first <= last else None


def _walls(attempt: Bending, around: Surroundings, roll: float, farthest: float) -> Iterator[Wall]:
    """Yield the walls found at the most promising angles of one way round; what the carriage carries proves nothing."""
    standing = attempt.standing_before
    for at in dict.fromkeys((attempt.station.advance, 0.0)):
        sweep = replace(motions.rotate(standing, at, (0.0, roll)), face=None)
        rows = rows_of([sweep], around, [attempt.clamps])
        rows = rows.take(~may_be_down(rows, around.machine))
        entry = certify(rows).findings.get((0, EVERY_CLAMP))
        if entry is None or entry.answer is not Answer.STRUCK or entry.witness is None:
            return  # the tube goes round there
        angle = roll * deepest(rows, entry.witness).t
        if abs(angle) < CHUCK_SLACK or abs(angle - roll) < CHUCK_SLACK:
            continue  # the pose at either end: bend or return speak of that

        def pose(y: float, angle: float = angle) -> Strike | None:
            turned = replace(motions.rotate(standing, y, (angle, angle)), face=None)
            return struck(turned, around, attempt.clamps, elsewhere=may_be_down)

        strikes = walked(pose, 0.0, farthest)
        if strikes is not None:
            yield Wall("across", strikes, (0.0, farthest), angle)


def wherever_held(attempt: Bending, around: Surroundings, clamp: int, faces: tuple[float, float]) -> Wall | None:
    """Return strikes of a bend that cover every place of the collet; faces: the least and greatest to tangent point."""
    if faces[0] > faces[1]:
        return None

    def held(face: float) -> Strike | None:
        station: Station = replace(attempt.station, face=face, regrip=None)
        moved = replace(attempt, station=station, grip=replace(attempt.grip, face=face))
        found = [struck(motion, around, attempt.clamps, clamp) for motion in gripping_motions(moved)]
        return max((entry for entry in found if entry is not None), key=lambda entry: entry.depth, default=None)

    # Walking takes long: first it is looked, from far to near, whether anything is struck all over, and deep enough.
    depths = (0.0 if one is None else one.depth for one in map(held, np.linspace(*faces, LOOKED_AT)[::-1].tolist()))
    seen = list(takewhile(lambda depth: depth >= LEAST_STEP, depths))
    if len(seen) < LOOKED_AT or (faces[1] - faces[0]) / float(np.mean(seen)) > MOST_STEPS:
        return None
    strikes = walked(held, *faces)
    return None if strikes is None else Wall("held", strikes, faces, clamp=clamp)
