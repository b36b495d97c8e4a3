"""Bends on their way through the batches: gripped and bent, the arm home, the tube brought to the next place.

A `Bending` is one bend with the tube as it stands before, in and after it. `Batches` certifies many of them at once,
whatever orders they belong to: first the bends (dies close, bend, re-grip, dies open), then the arm's ways home, then
the moves. Each attempt keeps the clamps with which all of it is clear, and what keeps it from being carried out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from planner.clearance.certify import certify
from planner.clearance.rectangles import Region
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding, Verdicts
from planner.feasibility.bend_check import (
    BendCheck,
    Bending,
    Blocked,
    Doing,
    gripping_motions,
    home_motions,
    leaving_of,
    moves,
    straight_home,
)
from planner.feasibility.detours import MovePlane, detours, varied
from planner.feasibility.homing import WayHome, ways_home
from planner.feasibility.moves import PlainPath, plain_paths
from planner.feasibility.stations import Station
from planner.inputs.machine import Machine
from planner.inputs.tooling import Tooling
from planner.rules.chuck import both_ways
from planner.tolerances import SAME_PLACE
from planner.tube import motions
from planner.tube.bodies import Motion
from planner.tube.motions import Standing

SLIDES = 12
"""Steps in which it is looked how far an arc slides out of the groove before a detour is sought."""

MOST_DETOURS = 8
"""Paths through the plane that are certified for one move."""

HOME_TOGETHER = (0, 1, 4, None)
"""Ways home are certified in these groups, in their order: nearly always the first goes."""

TOGETHER = (0, 1, 6, None)
"""Paths are certified in these groups, in the order of their time: most often the first goes, else one of the next."""

Around = Callable[[Station], Surroundings]
Job = tuple[Bending, Motion]
Answered = tuple[Rows, Verdicts, int]


class Batches:
    """Certifies attempts in batches; `evaluations` of cells and `motions` certified so far.

    short: something that is clear came short of what it needs, within what counts as kept.
    """

    def __init__(self, machine: Machine, around: Around, harder: bool = False) -> None:
        self.machine, self.around = machine, around
        self.evaluations = 0
        self.motions = 0
        self.short = False
        self.harder = harder  # whether what takes long is tried too where nothing else goes

    def certified(self, jobs: Sequence[Job]) -> list[Answered]:
        """Certify motions, batched by tooling (a batch shares its surroundings); answers in the order of the jobs."""
        groups: dict[float, list[int]] = {}
        for number, (attempt, _) in enumerate(jobs):
            groups.setdefault(attempt.station.radius, []).append(number)
        answers: dict[int, Answered] = {}
        for group in groups.values():
            first = jobs[group[0]][0]
            clamps = [jobs[k][0].clamps for k in group]
            rows = rows_of([jobs[k][1] for k in group], self.around(first.station), clamps)
            found = certify(rows)
            self.evaluations += found.evaluations
            self.short |= any(one.witness is not None for one in found.findings.values() if one.answer is Answer.CLEAR)
            answers.update({k: (rows, found, place) for place, k in enumerate(group)})
        self.motions += len(jobs)
        return [answers[k] for k in range(len(jobs))]

    def bend_all(self, bends: Iterable[Bending]) -> list[BendCheck]:
        """Grip, bend, open and bring the arm home, by the first way home that is clear."""
        asked = [bend.checked(gripping=tuple(gripping_motions(bend))) for bend in bends]
        jobs: list[Job] = [(bend, motion) for bend in asked for motion in bend.gripping]
        answers = iter(self.certified(jobs) if jobs else [])
        held: list[Found] = [[(motion, next(answers)) for motion in bend.gripping] for bend in asked]
        bent = self._bring_home([_gripped(bend, found) for bend, found in zip(asked, held, strict=True)])
        shut_out = [bool(bend.fitting) and not bend.returning for bend in bent]
        return [
            self._shut_out(bend, found) if shut else bend
            for bend, found, shut in zip(bent, held, shut_out, strict=True)
        ]

    def _bring_home(self, bent: list[BendCheck]) -> list[BendCheck]:
        """Find the first clear way home of each bend: with its longest clamp, then with the others."""
        ways = [self._ways(bend) for bend in bent]
        for first, last in pairwise(HOME_TOGETHER):
            tried = [[] if bend.returning else some[first:last] for bend, some in zip(bent, ways, strict=True)]
            bent = self._try_home(bent, tried)
        return bent

    def _ways(self, attempt: BendCheck) -> list[WayHome]:
        """Return the ways home with each clamp that fits, the longest clamp's first."""
        tooling, leaving = self.around(attempt.station).tooling, leaving_of(self.machine, attempt)
        found = [way for c in attempt.fitting for way in ways_home(self.machine, tooling, attempt.clamps[c], leaving)]
        return list(dict.fromkeys(found))

    def _try_home(self, bent: list[BendCheck], tried: list[list[WayHome]]) -> list[BendCheck]:
        """Return the bends, each with the first of the ways home tried for it that is clear."""
        made = [[(way, home_motions(bend, way)) for way in ways] for bend, ways in zip(bent, tried, strict=True)]
        answers = self.answers(bent, made)
        found = list(bent)
        for number, bend in enumerate(bent):
            for way, legs in made[number]:
                on_way = [(motion, next(answers)) for motion in legs]
                clear = () if found[number].returning else clear_with(on_way, bend.fitting)
                if clear:
                    found[number] = bend.home_by(way, legs, clear)
        return found

    def answers(
        self, of: Sequence[Bending], made: Sequence[Sequence[tuple[object, tuple[Motion, ...]]]]
    ) -> Iterator[Answered]:
        """Certify what is tried for some bends, all at once; yield the answers in the same order."""
        jobs = [(bend, motion) for bend, some in zip(of, made, strict=True) for _, legs in some for motion in legs]
        return iter(self.certified(jobs) if jobs else [])

    def _shut_out(self, bend: BendCheck, held: Found) -> BendCheck:
        """Note for each clamp what is in the way of an arm that goes straight home past the standing tube."""
        motion = straight_home(bend)
        (answered,) = self.certified([(bend, motion)])
        return bend.stopped(
            tuple(
                Blocked("return", of(answered, c), motion, answered[0]) if c in bend.fitting else _in_the_bend(held, c)
                for c in range(len(bend.clamps))
            )
        )

    def home_through(self, bend: BendCheck, ways: Iterable[WayHome]) -> BendCheck | None:
        """Bring the arm home by the first of some ways that is clear; None if none is.

        They have legs in common: each is certified once, and no more of a way once one of its legs is not clear.
        """
        known: dict[tuple[object, ...], tuple[Motion, Answered]] = {}
        for way in ways:
            clear, made = bend.fitting, home_motions(bend, way)
            for motion, leg in zip(made, way.legs, strict=True):
                key = (leg, motion.pressure, way.by_hand)
                if key not in known:
                    (answered,) = self.certified([(bend, motion)])
                    known[key] = (motion, answered)
                clear = clear_with([known[key]], clear)
                if not clear:
                    break
            if clear:
                return bend.home_by(way, made, clear)
        return None

    def place_all(self, bent: Iterable[BendCheck]) -> list[BendCheck]:
        """Find the fastest plain path that is clear to each bend's start, a few at a time."""
        found = list(bent)
        paths = [self._paths(bend) for bend in found]
        for first, last in pairwise(TOGETHER):
            tried = [ways[first:last] if bend.path is None else [] for bend, ways in zip(found, paths, strict=True)]
            found = self._try_paths(found, tried)
        for number, bend in enumerate(found):
            if bend.path is None and not paths[number]:
                nothing = Finding(0, -1, Answer.CLOSE)
                bend = bend.stopped((Blocked("no path", nothing, bend.gripping[0], None),))
            if bend.path is None and bend.standing_before.formed_arc:
                bend = self._detour(bend)
            found[number] = bend
        return found

    def _detour(self, bend: BendCheck) -> BendCheck:
        """Find a path through the plane of advance and rotation where none of the plain ones is clear."""
        around, machine = self.around(bend.station), self.machine
        farthest = self._slides_to(bend)
        if farthest is None:
            return bend
        # What keeps clear of the shortest clamp is tried with all of them; where that does not pass none does.
        nose = rotates_from(machine, around.tooling)
        ground = ground_of(machine, bend, bend.clamps[bend.fitting[-1]], farthest, nose)
        found = detours(machine, ground, around, bend.shown_before)[:MOST_DETOURS]
        (bend,) = self._try_paths([bend], [found])
        for path in found if self.harder else ():
            if bend.path is None:
                (bend,) = self._try_paths([bend], [list(varied(machine, path, bend.shown_before, (True, True)))])
        return bend

    def _slides_to(self, attempt: BendCheck) -> float | None:
        """Return how far the arc slides straight out of the groove at most [mm], by steps; None where it cannot."""
        standing, begin = attempt.standing_before, attempt.eased_before
        back = self.machine.carriage is None or self.machine.carriage.may_go_back
        goal = attempt.station.advance
        far = max(goal, farthest_forward(self.machine, standing)) if back else goal
        ways = [begin + (far - begin) * share for share in np.linspace(0.0, 1.0, SLIDES + 1)[1:]]
        jobs = [(attempt, motions.advance(standing, (begin, y), 0.0, False)) for y in ways if y > begin + SAME_PLACE]
        clear = [
            job[1].y[1]
            for job, found in zip(jobs, self.certified(jobs) if jobs else [], strict=True)
            if any(of(found, c).answer is Answer.CLEAR for c in attempt.fitting)
        ]
        return max(clear, default=None)

    def _paths(self, attempt: Bending) -> list[PlainPath]:
        least = 0.0
        if attempt.standing_before.formed_arc:
            least = rotates_from(self.machine, self.around(attempt.station).tooling)
        return list(
            plain_paths(
                self.machine,
                attempt.eased_before,
                attempt.station.advance,
                attempt.rolls,
                least,
                farthest_forward(self.machine, attempt.standing_before),
                attempt.shown_before,
            )
        )

    def _try_paths(self, bent: list[BendCheck], tried: list[list[PlainPath]]) -> list[BendCheck]:
        """Return the bends, each with its first clear path; what was in the way of the first tried stays with it."""
        made = [[(path, moves(bend, path)) for path in paths] for bend, paths in zip(bent, tried, strict=True)]
        answers = self.answers(bent, made)
        found = list(bent)
        for number, bend in enumerate(bent):
            for path, legs in made[number]:
                on_way = [(motion, next(answers)) for motion in legs]
                if found[number].path is not None:
                    continue
                clear = clear_with(on_way, bend.fitting)
                if clear:
                    found[number] = bend.placed_by(path, legs, clear)
                elif not found[number].blocked:
                    found[number] = found[number].stopped(in_the_way("move", on_way, bend.fitting))
        return found


def of(answered: Answered, clamp: int) -> Finding:
    """Return the finding on one motion with one clamp."""
    return answered[1].of(answered[2], clamp)


Found = list[tuple[Motion, Answered]]
"""The motions of a path, each with what was found of it."""


def clear_with(found: Found, clamps: Iterable[int]) -> tuple[int, ...]:
    """Return the numbers of the clamps with which every motion of a path is clear."""
    return tuple(c for c in clamps if all(of(one, c).answer is Answer.CLEAR for _, one in found))


def in_the_way(doing: Doing, found: Found, clamps: Iterable[int]) -> tuple[Blocked, ...]:
    """Return for each clamp what is in the way of a path."""
    return tuple(worst(doing, [(of(one, c), motion, one[0]) for motion, one in found]) for c in clamps)


WORST_FIRST = (Answer.STRUCK, Answer.CLOSE, Answer.CLEAR)


def _gripped(bend: BendCheck, held: Found) -> BendCheck:
    """Return a bend with the clamps with which it is clear, or with what is in the way of each of them."""
    every = range(len(bend.clamps))
    fitting = clear_with(held, every)
    blocked = () if fitting else tuple(_in_the_bend(held, c) for c in every)
    return replace(bend, fitting=fitting, blocked=blocked)


def _in_the_bend(held: Found, clamp: int) -> Blocked:
    """Return what blocks one clamp between the dies' closing and their opening."""
    return worst("bend", [(of(answered, clamp), motion, answered[0]) for motion, answered in held])


def worst(doing: Doing, found: list[tuple[Finding, Motion, Rows]]) -> Blocked:
    """Return the first of the worst findings."""
    finding, motion, rows = min(found, key=lambda entry: WORST_FIRST.index(entry[0].answer))
    return Blocked(doing, finding, motion, rows)


def rotates_from(machine: Machine, tooling: Tooling) -> float:
    """Return the least advance at which a tube may be rotated once an arc was formed [mm]: it must be off the mandrel.

    A mandrel that is drawn back before the tube is rotated asks for nothing.
    """
    tip = machine.mandrel_of(tooling)
    return 0.0 if tip is None or machine.mandrel is None or machine.mandrel.draws_back else tip.reach


def ground_of(machine: Machine, attempt: Bending, clamp: float, slides_to: float, nose: float) -> MovePlane:
    """Return the plane in which a move's detour is sought.

    nose: the least advance at which the tube may be rotated; slides_to: how far the arc slides straight out of the
    groove [mm]. On a chuck that does not turn for ever the tube stays between the rotations at start and goal: both are
    within its range wherever the chuck stands.
    """
    standing, goal = attempt.standing_before, attempt.station.advance
    back = machine.carriage is None or machine.carriage.may_go_back
    reach = max(goal, farthest_forward(machine, standing)) if back else goal
    rolls = (-math.pi, math.pi)
    if machine.rotation.range != "continuous":
        rolls = (min(0.0, *attempt.rolls), max(0.0, *attempt.rolls))
    return MovePlane(
        standing,
        clamp,
        (min(nose, goal), reach),
        rolls,
        nose,
        True,
        (Region((attempt.eased_before, slides_to), (0.0, 0.0)),),
        tuple(Region((goal, goal), (roll, roll)) for roll in attempt.rolls),
    )


def farthest_forward(machine: Machine, standing: Standing) -> float:
    """Return the greatest advance that the carriage can make from a standing pose [mm]."""
    if machine.carriage is None or standing.face is None:
        return standing.tail_length
    return standing.face - machine.carriage.reach[0]


def rolls_allowed(machine: Machine, station: Station, formed_arc: bool) -> tuple[float, ...]:
    """Return the ways round that the chuck allows [rad]: both where it is continuous."""
    if station.laid_in or not formed_arc:
        return (0.0,)
    if machine.rotation.range != "continuous":
        return (station.roll,)
    return both_ways(station.roll)
