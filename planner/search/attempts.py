"""Bends on their way through the batches: gripped and bent, the arm home, the tube brought to the next place.

An `Attempt` is one bend with the tube as it stands before, in and after it. `Batches` certifies many of them at once,
whatever orders they belong to: first the bends (dies close, bend, re-grip, dies open, arm home past the standing tube),
then the easing off where the arm cannot pass, then the moves. Each attempt keeps the clamps with which all of it is
clear, and what keeps it from being carried out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from planner.clearance.certify import certify
from planner.clearance.rectangles import Region
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding, Verdicts
from planner.inputs.machine import Machine
from planner.rules.chuck import both_ways
from planner.search.detours import Ground, detours
from planner.search.moves import PlainPath, plain_paths
from planner.search.stations import Station, settable
from planner.tube import motions
from planner.tube.motions import InDie, Motion, Standing

EASE_WAYS = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 120.0)
"""How far the tube is eased off the die where the arm cannot go home past it [mm]."""

EASE_SHARES = (1.0, 0.5, 0.25)
"""And so much of the room there is, as shares."""

SLIDES = 12
"""Steps in which it is looked how far an arc slides out of the groove before a detour is sought."""

MOST_DETOURS = 8
"""Paths through the plane that are certified for one move."""

TOGETHER = (0, 1, 6, None)
"""Paths are certified in these groups, in the order of their time: most often the first goes, else one of the next."""

Doing = Literal["bend", "return", "move", "no path", "load", "unload"]
Around = Callable[[Station], Surroundings]


@dataclass(frozen=True)
class Blocked:
    """What keeps a bend from being carried out with one clamp: what was being done, and the finding.

    rows: of the batch in which it was found; None where there was nothing to certify.
    """

    doing: Doing
    finding: Finding
    motion: Motion
    rows: Rows | None


@dataclass
class Attempt:
    """One bend with the tube before, in and after it, and what is found of it.

    clamps: those that fit, longest first [mm]; room: how far the tube may be eased off before the arm goes home [mm];
    shown_before, shown_after: what the advance readout shows at an advance of 0 from the place before and from the end
    of the bend; rolls: the ways round that the move may go [rad]; eased_before: where the easing after the bend before
    left the tube [mm].
    fitting: numbers of the clamps with which all so far is clear; blocked: for each clamp what was in the way, of the
    first thing that fails with all of them.
    """

    station: Station
    clamps: tuple[float, ...]
    standing_before: Standing
    grip: InDie
    standing: Standing
    room: float
    shown_before: float
    shown_after: float
    rolls: tuple[float, ...]
    eased_before: float = 0.0
    gripping: list[Motion] = field(default_factory=list)
    returning: tuple[Motion, ...] = ()
    eased: float = 0.0
    path: PlainPath | None = None
    placing: tuple[Motion, ...] = ()
    fitting: list[int] = field(default_factory=list)
    sure_of_clamp: bool = True
    blocked: tuple[Blocked, ...] = ()


Job = tuple[Attempt, Motion]
Answered = tuple[Rows, Verdicts, int]


class Batches:
    """Certifies attempts in batches; `evaluations` of cells and `motions` certified so far."""

    def __init__(self, machine: Machine, around: Around) -> None:
        self.machine, self.around = machine, around
        self.evaluations = 0
        self.motions = 0

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
            answers.update({k: (rows, found, place) for place, k in enumerate(group)})
        self.motions += len(jobs)
        return [answers[k] for k in range(len(jobs))]

    def bend_all(self, attempts: Iterable[Attempt]) -> None:
        """Grip, bend, open and bring the arm home, easing the tube off the die where that is needed and allowed."""
        attempts = list(attempts)
        jobs: list[Job] = []
        for attempt in attempts:
            attempt.gripping, attempt.returning = gripping_motions(attempt), (home_motion(attempt, 0.0),)
            jobs.extend((attempt, motion) for motion in (*attempt.gripping, *attempt.returning))
        answers = iter(self.certified(jobs) if jobs else [])
        for attempt in attempts:
            held = [(motion, next(answers)) for motion in attempt.gripping]
            self._judge_bend(attempt, held, next(answers))
        self._ease_off([a for a in attempts if not a.returning and a.fitting])

    def _judge_bend(self, attempt: Attempt, held: list[tuple[Motion, Answered]], home: Answered) -> None:
        """Keep the clamps with which a bend is clear; the return may still be eased off."""
        answers = [[of(answered, c).answer for _, answered in held] for c in range(len(attempt.clamps))]
        clear = [c for c, found in enumerate(answers) if all(answer is Answer.CLEAR for answer in found)]
        if not clear:
            attempt.blocked = tuple(_in_the_bend(held, c) for c in range(len(attempt.clamps)))
            attempt.returning = ()
            return
        longer = answers[: clear[0]]
        attempt.sure_of_clamp = all(Answer.STRUCK in found for found in longer)
        direct = [c for c in clear if of(home, c).answer is Answer.CLEAR]
        attempt.fitting = direct or clear
        if not direct:
            (motion,) = attempt.returning
            attempt.blocked = tuple(
                Blocked("return", of(home, c), motion, home[0]) if c in clear else _in_the_bend(held, c)
                for c in range(len(attempt.clamps))
            )
            attempt.returning = ()

    def _ease_off(self, attempts: list[Attempt]) -> None:
        """Find how far to advance the tube off the die before the arm goes home, where it cannot pass."""
        if not self.machine.head.may_ease_off:
            return
        tried = [(attempt, y) for attempt in attempts for y in self._eased_ways(attempt)]
        jobs: list[Job] = []
        for attempt, y in tried:
            jobs.append((attempt, eased_motion(attempt, y)))
            jobs.append((attempt, home_motion(attempt, y)))
        answers = self.certified(jobs) if jobs else []
        for k, (attempt, y) in enumerate(tried):
            pair = answers[2 * k : 2 * k + 2]
            clear = [c for c in attempt.fitting if all(of(answered, c).answer is Answer.CLEAR for answered in pair)]
            if clear and not attempt.returning:
                attempt.returning, attempt.eased = (jobs[2 * k][1], jobs[2 * k + 1][1]), y
                attempt.fitting, attempt.blocked = clear, ()

    def _eased_ways(self, attempt: Attempt) -> list[float]:
        step, zero = self.machine.advance.resolution, attempt.shown_after
        room = min(attempt.room, farthest_forward(self.machine, attempt.standing))
        ways = dict.fromkeys(settable(share * room, step, zero) for share in EASE_SHARES)
        ways.update(dict.fromkeys(settable(y, step, zero) for y in EASE_WAYS))
        return [y for y in ways if 0.0 < y <= room + 1e-9]

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
        ground = ground_of(machine, attempt, attempt.clamps[attempt.fitting[-1]], farthest)
        found = detours(machine, ground, around, attempt.shown_before)
        self._try_paths([(attempt, found[:MOST_DETOURS])])

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
        return list(
            plain_paths(
                self.machine,
                attempt.eased_before,
                attempt.station.advance,
                attempt.rolls,
                attempt.standing_before.formed_arc,
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
                attempt.sure_of_clamp &= clear[0] == attempt.fitting[0]
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


def gripping_motions(attempt: Attempt) -> list[Motion]:
    """Return the motions from the dies' closing to their opening, the laying in of a formed part before them."""
    st, grip = attempt.station, attempt.grip
    made = [motions.close_dies(replace(grip, face=st.face)), motions.bend(grip)]
    after_swing = None if grip.face is None else grip.face - st.swing_feed
    if st.regrip is not None:
        made.append(motions.regrip(grip, st.regrip))
        after_swing = st.regrip[1]
    made.append(motions.open_dies(grip, after_swing))
    if st.laid_in and attempt.standing_before.leading.count:
        made.insert(0, motions.laid_in(attempt.standing_before))
    return made


def _pressure(attempt: Attempt) -> float:
    return attempt.station.swing_feed if attempt.grip.follows else 0.0


def home_motion(attempt: Attempt, y: float) -> Motion:
    """Return the arm going home past the tube at an advance of y [mm]."""
    return motions.return_arm(attempt.standing, attempt.station.setting, y, _pressure(attempt))


def eased_motion(attempt: Attempt, y: float) -> Motion:
    """Return the tube eased off the die by y [mm], the arm still at the setting."""
    return motions.ease_off(attempt.standing, attempt.station.setting, y, _pressure(attempt))


def ground_of(machine: Machine, attempt: Attempt, clamp: float, slides_to: float) -> Ground:
    """Return the plane in which a move's detour is sought.

    slides_to: how far the arc slides straight out of the groove [mm]. On a chuck that does not turn for ever the tube
    stays between the rotations at start and goal: both are within its range wherever the chuck stands.
    """
    standing, goal = attempt.standing_before, attempt.station.advance
    back = machine.carriage is None or machine.carriage.may_go_back
    reach = max(goal, farthest_forward(machine, standing)) if back else goal
    nose = machine.mandrel.nose if machine.mandrel is not None else 0.0
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


def moves(attempt: Attempt, path: PlainPath) -> tuple[Motion, ...]:
    """Return the motions of a path to a bend; the carriage goes along."""
    return legs_of(attempt.standing_before, path)


def legs_of(standing: Standing, path: PlainPath) -> tuple[Motion, ...]:
    """Return the motions of a path, one a leg."""
    made = []
    for leg in path.legs:
        if leg.kind == "rotate":
            made.append(motions.rotate(standing, leg.at, (leg.start, leg.end)))
        else:
            made.append(motions.advance(standing, (leg.start, leg.end), leg.at, leg.turned_before))
    return tuple(made)
