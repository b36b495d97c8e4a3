"""Bends on their way through the batches: gripped and bent, the arm home, the tube brought to the next place.

An `Attempt` is one bend with the tube as it stands before, in and after it. `Batches` certifies many of them at once,
whatever orders they belong to: first the bends (dies close, bend, re-grip, dies open), then the arm's ways home, then
the moves. Each attempt keeps the clamps with which all of it is clear, and what keeps it from being carried out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from itertools import pairwise

import numpy as np

from planner.clearance.certify import certify
from planner.clearance.rectangles import Region
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding, Verdicts
from planner.feasibility.bend_check import (
    Attempt,
    Blocked,
    Doing,
    gripping_motions,
    home_motions,
    leaving_of,
    moves,
    straight_home,
)
from planner.feasibility.detours import Ground, detours, varied
from planner.feasibility.homing import WayHome, ways_home
from planner.feasibility.moves import PlainPath, plain_paths
from planner.feasibility.stations import Station
from planner.inputs.machine import Machine
from planner.inputs.tooling import Tooling
from planner.rules.chuck import both_ways
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
Job = tuple[Attempt, Motion]
Answered = tuple[Rows, Verdicts, int]


class Batches:
    """Certifies attempts in batches; `evaluations` of cells and `motions` certified so far.

    short: something that is clear came short of what it needs, within what counts as kept.
    """

    def __init__(self, machine: Machine, around: Around) -> None:
        self.machine, self.around = machine, around
        self.evaluations = 0
        self.motions = 0
        self.short = False
        self.harder = False  # whether what takes long is tried too where nothing else goes

    def certified(self, jobs: list[Job]) -> list[Answered]:
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

    def bend_all(self, attempts: Iterable[Attempt]) -> None:
        """Grip, bend, open and bring the arm home, by the first way home that is clear."""
        attempts = list(attempts)
        jobs: list[Job] = []
        for attempt in attempts:
            attempt.gripping = gripping_motions(attempt)
            jobs.extend((attempt, motion) for motion in attempt.gripping)
        answers = iter(self.certified(jobs) if jobs else [])
        in_the_way = {id(a): self._judge_bend(a, [(m, next(answers)) for m in a.gripping]) for a in attempts}
        fitting = [attempt for attempt in attempts if attempt.fitting]
        self._bring_home(fitting)
        for attempt in fitting:
            if not attempt.returning:
                self._shut_out(attempt, in_the_way[id(attempt)])

    def _judge_bend(self, attempt: Attempt, held: Found) -> tuple[Blocked, ...]:
        """Keep the clamps with which a bend is clear; return what is in the way of each of them, where anything is."""
        every = range(len(attempt.clamps))
        answers = [[of(answered, c).answer for _, answered in held] for c in every]
        attempt.fitting = [c for c, found in enumerate(answers) if all(answer is Answer.CLEAR for answer in found)]
        in_the_way = tuple(_in_the_bend(held, c) for c in every)
        if not attempt.fitting:
            attempt.blocked = in_the_way
        return in_the_way

    def _bring_home(self, attempts: list[Attempt]) -> None:
        """Find the first clear way home of each attempt: with its longest clamp, then with the others."""
        ways = {id(attempt): self._ways(attempt) for attempt in attempts}
        for first, last in pairwise(HOME_TOGETHER):
            self._try_home([(attempt, ways[id(attempt)][first:last]) for attempt in attempts if not attempt.returning])

    def _ways(self, attempt: Attempt) -> list[WayHome]:
        """Return the ways home with each clamp that fits, the longest clamp's first."""
        tooling, leaving = self.around(attempt.station).tooling, leaving_of(self.machine, attempt)
        found = [way for c in attempt.fitting for way in ways_home(self.machine, tooling, attempt.clamps[c], leaving)]
        return list(dict.fromkeys(found))

    def _try_home(self, tried: list[tuple[Attempt, list[WayHome]]]) -> None:
        made = [(attempt, way, home_motions(attempt, way)) for attempt, ways in tried for way in ways]
        jobs = [(attempt, motion) for attempt, _, motions_ in made for motion in motions_]
        answers = iter(self.certified(jobs) if jobs else [])
        for attempt, way, motions_ in made:
            found = [(motion, next(answers)) for motion in motions_]
            if attempt.returning:
                continue
            clear = clear_with(found, attempt.fitting)
            if clear:
                attempt.home, attempt.returning, attempt.fitting, attempt.blocked = way, motions_, clear, ()

    def _shut_out(self, attempt: Attempt, in_the_bend: tuple[Blocked, ...]) -> None:
        """Note for each clamp what is in the way of an arm that goes straight home past the standing tube."""
        motion = straight_home(attempt)
        (answered,) = self.certified([(attempt, motion)])
        attempt.blocked = tuple(
            Blocked("return", of(answered, c), motion, answered[0]) if c in attempt.fitting else in_the_bend[c]
            for c in range(len(attempt.clamps))
        )

    def home_through(self, attempt: Attempt, ways: Iterable[WayHome]) -> bool:
        """Bring the arm home by the first of some ways that is clear; say whether one is.

        They have legs in common: each is certified once, and no more of a way once one of its legs is not clear.
        """
        known: dict[tuple[object, ...], tuple[Motion, Answered]] = {}
        for way in ways:
            clear, made = attempt.fitting, home_motions(attempt, way)
            for motion, leg in zip(made, way.legs, strict=True):
                key = (leg, motion.pressure, way.by_hand)
                if key not in known:
                    (answered,) = self.certified([(attempt, motion)])
                    known[key] = (motion, answered)
                clear = clear_with([known[key]], clear)
                if not clear:
                    break
            if clear:
                attempt.home, attempt.returning, attempt.fitting, attempt.blocked = way, made, clear, ()
                return True
        return False

    def place_all(self, attempts: Iterable[Attempt]) -> None:
        """Find the fastest plain path that is clear to each bend's start, a few at a time."""
        paths = [(attempt, self._paths(attempt)) for attempt in attempts]
        for first, last in pairwise(TOGETHER):
            self._try_paths([(attempt, ways[first:last]) for attempt, ways in paths if attempt.path is None])
        for attempt, ways in paths:
            if attempt.path is None and not ways:
                nothing = Finding(0, -1, Answer.CLOSE)
                attempt.blocked = (Blocked("no path", nothing, attempt.gripping[0], None),)
            if attempt.path is None and attempt.standing_before.formed_arc:
                self._detour(attempt)

    def _detour(self, attempt: Attempt) -> None:
        """Find a path through the plane of advance and rotation where none of the plain ones is clear."""
        around, machine = self.around(attempt.station), self.machine
        farthest = self._slides_to(attempt)
        if farthest is None:
            return
        # What keeps clear of the shortest clamp is tried with all of them; where that does not pass none does.
        nose = rotates_from(machine, around.tooling)
        ground = ground_of(machine, attempt, attempt.clamps[attempt.fitting[-1]], farthest, nose)
        found = detours(machine, ground, around, attempt.shown_before)[:MOST_DETOURS]
        self._try_paths([(attempt, found)])
        for path in found if self.harder else ():
            if attempt.path is None:
                self._try_paths([(attempt, list(varied(machine, path, attempt.shown_before, (True, True))))])

    def _slides_to(self, attempt: Attempt) -> float | None:
        """Return how far the arc slides straight out of the groove at most [mm], by steps; None where it cannot."""
        standing, begin = attempt.standing_before, attempt.eased_before
        back = self.machine.carriage is None or self.machine.carriage.may_go_back
        goal = attempt.station.advance
        far = max(goal, farthest_forward(self.machine, standing)) if back else goal
        ways = [begin + (far - begin) * share for share in np.linspace(0.0, 1.0, SLIDES + 1)[1:]]
        jobs = [(attempt, motions.advance(standing, (begin, y), 0.0, False)) for y in ways if y > begin + 1e-6]
        clear = [
            job[1].y[1]
            for job, found in zip(jobs, self.certified(jobs) if jobs else [], strict=True)
            if any(of(found, c).answer is Answer.CLEAR for c in attempt.fitting)
        ]
        return max(clear, default=None)

    def _paths(self, attempt: Attempt) -> list[PlainPath]:
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

    def _try_paths(self, tried: list[tuple[Attempt, list[PlainPath]]]) -> None:
        """Give each attempt its first clear path; what was in the way of the first one tried stays with it."""
        made = [(attempt, path, moves(attempt, path)) for attempt, paths in tried for path in paths]
        jobs = [(attempt, motion) for attempt, _, motions_ in made for motion in motions_]
        answers = iter(self.certified(jobs) if jobs else [])
        for attempt, path, motions_ in made:
            found = [(motion, next(answers)) for motion in motions_]
            if attempt.path is not None:
                continue
            clear = clear_with(found, attempt.fitting)
            if clear:
                attempt.path, attempt.placing, attempt.fitting = path, motions_, clear
                attempt.blocked = ()
            elif not attempt.blocked:
                attempt.blocked = in_the_way("move", found, attempt.fitting)


def of(answered: Answered, clamp: int) -> Finding:
    """Return the finding on one motion with one clamp."""
    return answered[1].of(answered[2], clamp)


Found = list[tuple[Motion, Answered]]
"""The motions of a path, each with what was found of it."""


def clear_with(found: Found, clamps: list[int]) -> list[int]:
    """Return the numbers of the clamps with which every motion of a path is clear."""
    return [c for c in clamps if all(of(one, c).answer is Answer.CLEAR for _, one in found)]


def in_the_way(doing: Doing, found: Found, clamps: list[int]) -> tuple[Blocked, ...]:
    """Return for each clamp what is in the way of a path."""
    return tuple(worst(doing, [(of(one, c), motion, one[0]) for motion, one in found]) for c in clamps)


WORST_FIRST = (Answer.STRUCK, Answer.CLOSE, Answer.CLEAR)


def _in_the_bend(held: list[tuple[Motion, Answered]], clamp: int) -> Blocked:
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


def ground_of(machine: Machine, attempt: Attempt, clamp: float, slides_to: float, nose: float) -> Ground:
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
    return Ground(
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
