"""Proofs that the arm cannot go home past a tube: strikes that keep it from all but where it stands.

However arm and tube take turns, or go together, the arm passes every angle on its way home, at some advance of the
tube. Where at one angle each advance has a strike, deep enough to reach to the next, it does not. A strike against
something that stands whatever the arm does ends the span: the tube comes no farther. So does one of the straight that
has come out of the die, which only grows. And so do strikes at one advance that reach from that angle of the arm to
the setting, one after the other: then the tube cannot leave the corner in which the bend has left it. A strike by d is
one still when the arm turns by d/ρ, where ρ is the distance of the tube's surface there from the die axis. Samples
propose; each strike that they lead to is evaluated for itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from planner.clearance.bounds import bounds
from planner.clearance.certify import witness_at
from planner.clearance.poses import Cells
from planner.clearance.rows import EVERY_CLAMP, rows_of
from planner.clearance.surroundings import Surroundings
from planner.cuts.re_evaluate import rows_like
from planner.cuts.walls import MOST_STEPS, Strike, Wall
from planner.feasibility.bend_check import Bending
from planner.feasibility.home_plane import Passing, Sampled
from planner.tolerances import LEAST_DEPTH, NO_LENGTH, OVERLAP, OVERLAP_TURN, STRIKE_MARGIN
from planner.tube import motions
from planner.tube.frames import Array

SHARES = (0.5, 0.0, 0.35, 0.65, 0.25, 0.75, 0.15, 0.85)
"""Angles of the arm that are looked at, as shares of the setting: most often one about the middle is shut."""

CORNERS = (0.7, 0.0, 0.5, 0.85, 0.6, 0.35, 0.15)
"""The same where the tube may be in a corner of the plane."""

ACROSS, TRIED = 6, 25
"""Angles between there and the setting, and advances, at which it is looked for an advance that is shut."""

COARSE, FINE, FINEST = 25.0, 5.0, 3.0
"""Distances of samples along the tube and of its advance [mm], first to see whether a wall may be there."""

MOST_EXACT, MOST_WALKED = 16, 40
"""Places of a gap that are looked into on their own, and strikes at one advance: more of either lead nowhere."""


@dataclass(frozen=True)
class _Hit:
    """A strike that samples propose: the tube's advance [mm], row and s of the point; first, last: advances between
    which it holds [mm]; stands: against something that stands whatever the arm does.
    """

    y: float
    row: int
    s: float
    first: float
    last: float
    stands: bool = False


class _Line:
    """Strikes with the arm at one angle that follow one another from an advance of 0 on.

    ends: what stands whatever the arm does ends the line; fed: so does what has come out of the die.
    """

    def __init__(self, passing: Passing, ends: bool, fed: bool) -> None:
        self.passing, self.ends, self.fed = passing, ends, fed

    def covering(self, looked: float, until: float) -> tuple[list[_Hit], float]:
        """Return strikes that cover the advances from 0 on, and how far they do [mm].

        looked: up to where it is looked by steps, farther only where the strikes from there lead.
        """
        known, place, chosen, exact = self._hits(self.passing.sampled(FINE, looked)), 0.0, list[_Hit](), 0
        while place < until or not chosen:
            best = max((hit for hit in known if hit.first <= place), key=lambda hit: hit.last, default=None)
            if (best is None or best.last <= place + FINE / 2.0) and place <= self.passing.farthest:
                exact += 1
                known += self._hits(self.passing.exactly_at(place, FINEST))
                best = max((hit for hit in known if hit.first <= place), key=lambda hit: hit.last, default=None)
            if best is None or best.last <= place + LEAST_DEPTH or exact > MOST_EXACT or len(chosen) >= MOST_STEPS:
                return chosen, place if chosen else -math.inf
            chosen.append(best)
            place = best.last - OVERLAP
        return chosen, place

    def _hits(self, sampled: Sampled) -> list[_Hit]:
        depth = sampled.depth
        ends = (self.ends & ~sampled.turns & ~sampled.fed) | (self.fed & sampled.fed)
        return [
            *self._best(sampled, np.where((sampled.fed | ends)[:, None], -np.inf, depth)),
            *self._best(sampled, np.where(ends[:, None], depth, -np.inf), math.inf),
        ]

    def _best(self, sampled: Sampled, depth: Array, last: float | None = None) -> Iterable[_Hit]:
        """Return the deepest points of each advance where they strike; last: how far they hold, if not as deep."""
        if not depth.size:
            return
        for column, k in enumerate(depth.argmax(axis=0).tolist()):
            by, y = float(depth[k, column]), float(sampled.advances[column])
            if by < LEAST_DEPTH:
                continue
            back = 0.0 if sampled.fed[k] else by / (1.0 + self.passing.sag)  # going back less has to be kept
            stands = last is not None and not bool(sampled.turns[k])
            yield _Hit(y, int(sampled.row[k]), float(sampled.s[k]), y - back, y + by if last is None else last, stands)

    def strikes(self, hits: list[_Hit]) -> tuple[Strike, ...] | None:
        """Return the strikes, each evaluated, None where one of them is none."""
        found = [_strike(self.passing, hit.y, hit.row, hit.s, hit.stands) for hit in hits]
        strikes = tuple(strike for strike in found if strike is not None)
        return strikes if len(strikes) == len(found) else None


def against_home(attempt: Bending, around: Surroundings, clamp: int, farthest: float, stays_in: bool) -> Wall | None:
    """Return strikes that keep the arm from passing one angle wherever the tube is up to `farthest` [mm], None if none
    do.

    farthest: 0 where the machine cannot run the tube forward before the arm is home: then it only stands where it is.
    clamp: the number of the clamp that is in the machine; stays_in: the tube stays in for its next bend. One that is
    taken off is drawn off past the standing arm unless something that stands is in its way.
    """
    if farthest < 0.0:
        return None
    for share in SHARES:
        passing = Passing(attempt, around, clamp, attempt.station.setting * share, farthest)
        rough = passing.sampled(COARSE, farthest)
        ends = rough.ends(stays_in)
        if not stays_in and math.isinf(ends):
            return None  # nothing that stands keeps it from being drawn off past the arm
        if (rough.deepest[rough.advances < ends] <= 0.0).any():
            continue
        line = _Line(passing, ends=True, fed=stays_in)
        until = farthest if stays_in else math.inf
        hits, covered = line.covering(min(ends + COARSE, farthest), until)
        if covered < until:
            continue
        strikes = line.strikes(hits)
        if strikes is not None:
            return Wall("home", strikes, (0.0, farthest), arm=passing.arm, clamp=clamp)
    return None


def corners_of(attempt: Bending) -> tuple[tuple[int, float], ...]:
    """Return where it is looked for a corner with every clamp: its number and an angle of the arm [rad]."""
    shares = [share * attempt.station.setting for share in CORNERS]
    return tuple((clamp, arm) for clamp in range(len(attempt.clamps)) for arm in shares)


def cornered(attempt: Bending, around: Surroundings, clamp: int, farthest: float, arms: Iterable[float]) -> Wall | None:
    """Return strikes about the corner of the plane in which the bend has left arm and tube, None if none were found.

    arms: angles of the arm that are looked at [rad].
    """
    if farthest <= 0.0:
        return None
    for arm in arms:
        passing = Passing(attempt, around, clamp, arm, farthest)
        rough = passing.sampled(COARSE, farthest)
        open_ = np.flatnonzero(rough.formed <= 0.0)
        wall = _corner(passing, float(rough.advances[open_[0]]) if open_.size else farthest)
        if wall is not None:
            return wall
    return None


def _corner(passing: Passing, looked: float) -> Wall | None:
    """Return the wall at one angle of the arm and, from there to the setting, at one advance; None if none was found.

    looked: the advance up to which it is looked by steps [mm].
    """
    attempt, around, clamp, farthest = passing.attempt, passing.around, passing.clamp, passing.farthest
    line = _Line(passing, ends=False, fed=False)
    hits, covered = line.covering(looked, farthest)
    if covered <= 0.0:
        return None
    few = np.linspace(0.0, covered, TRIED)
    arms = np.linspace(passing.arm, attempt.station.setting, ACROSS + 1)
    between = [Passing(attempt, around, clamp, float(arm), farthest).at(few, COARSE / 2.0) for arm in arms]
    least = np.minimum.reduce([one.formed for one in between])
    y = float(few[int(least.argmax())])
    side = _walked(passing, y) if least.max() > LEAST_DEPTH else None
    strikes = line.strikes([hit for hit in hits if hit.first <= y])
    if side is None or strikes is None:
        return None
    return Wall("home", strikes, (0.0, y), arm=passing.arm, clamp=clamp, side=side)


def _walked(begin: Passing, y: float) -> tuple[Strike, ...] | None:
    """Return strikes with the tube at one advance [mm] that reach from an angle of the arm to the setting."""
    attempt, arm, strikes = begin.attempt, begin.arm, list[Strike]()
    while len(strikes) < MOST_WALKED:
        passing = Passing(attempt, begin.around, begin.clamp, arm, begin.farthest)
        sampled = passing.at(np.array([y]), FINEST)
        reach, axis = _reaching(sampled, passing)
        if reach.max(initial=-math.inf) <= 2.0 * OVERLAP_TURN:
            sampled = passing.exactly_at(y, FINEST)
            reach, axis = _reaching(sampled, passing)
        if reach.max(initial=-math.inf) <= 2.0 * OVERLAP_TURN:
            return None
        k = int(reach.argmax())
        strike = _strike(passing, y, int(sampled.row[k]), float(sampled.s[k]))
        if strike is None:
            return None
        strikes.append(strike)
        arm += strike.depth / float(axis[k]) - OVERLAP_TURN
        if arm >= attempt.station.setting:
            return tuple(strikes)
    return None


def _reaching(sampled: Sampled, passing: Passing) -> tuple[Array, Array]:
    """Return how far the arm may turn with each point still striking (N,) [rad], and its distance from the die axis
    [mm], next to nothing where what it strikes stands.
    """
    axis = np.where(sampled.turns, sampled.axis[:, 0] + passing.rows.radius, NO_LENGTH)
    depth = np.where(sampled.fed, -np.inf, sampled.depth[:, 0])
    return np.where(depth >= LEAST_DEPTH, depth / axis, -math.inf), axis


def _strike(passing: Passing, y: float, row: int, s: float, stands: bool = False) -> Strike | None:
    """Return the strike of a sampled point with the tube at an advance [mm], None if it is none there.

    stands: against something that stands whatever the arm does.
    """
    clamps, around = passing.attempt.clamps, passing.around
    motion = motions.advance(passing.standing, (y, y), 0.0, False) if stands else passing.motion((y, y))
    rows = rows_of([motion], around, [clamps])
    witness = witness_at(passing.rows, row, s, 0.0, 0.0)
    clamp = int(passing.rows.clamp[row])
    for like in rows_like(rows, clamp, passing.rows, witness):
        cells = Cells(*(np.array([x]) for x in (like, s, 0.0, 0.0, 0.0)))
        clearance = float(bounds(rows, cells).upper[0])
        depth = float(rows.needed[like] - rows.spread[like]) - STRIKE_MARGIN - clearance
        if depth > 0.0:
            found = witness_at(rows, like, s, 0.0, clearance)
            return Strike(depth, found, motion, None if clamp == EVERY_CLAMP else clamps[clamp])
    return None
