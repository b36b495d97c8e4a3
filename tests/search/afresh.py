"""Parts with things in the way, and what was learned of them looked into afresh, apart from what a search has kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planner.clearance.verdicts import Answer
from planner.feasibility.bend_check import Bending, gripping_motions, home_motions, straight_home
from planner.feasibility.bend_checks import of
from planner.feasibility.checks import Checks
from planner.feasibility.homing import HomeLeg, WayHome
from planner.feasibility.loading import loading, pass_all, unloading
from planner.feasibility.places import Place
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.search.search import Search
from planner.sequencing.events import Arrival, Event, Hold, Pattern, Trims
from planner.tube import motions
from planner.tube.bodies import Motion
from tests.plan.shop import bender, head, tube

EVERY = 12.0
"""Steps in which other ways of easing off, other paths and other holds are looked at [mm]."""


def crowded(seed: int) -> tuple[Part, Machine]:
    """A winding part, short ends with trim allowed among them, and a bender with things in the way."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 7))
    ends = [float(rng.choice([rng.uniform(10, 120), rng.uniform(150, 420)])) for _ in range(2)]
    straights = [ends[0], *rng.uniform(85, 240, n - 1), ends[1]]
    part = tube(
        straights,
        [0.0, *rng.choice([0.0, 180.0, 90.0, -90.0, rng.uniform(-170, 170)], n - 1)],
        list(rng.uniform(20, float(rng.choice([120, 175])), n)),
        (float(rng.integers(0, 2)) * 300.0, float(rng.integers(0, 2)) * 300.0),
    )
    solids: list[dict[str, Any]] = []
    for k, moves_with in enumerate(rng.choice(["frame", "frame", "arm", "carriage"], int(rng.integers(1, 4)))):
        x = rng.uniform(-250, -40) if moves_with == "carriage" else rng.uniform(-200, 500)
        y, z = rng.uniform(-500, 500), rng.uniform(-450, 450)
        size = rng.uniform(30, 160, 3)
        low = [float(x - size[0]), float(y - size[1]), float(z - size[2])]
        high = [float(x + size[0]), float(y + size[1]), float(z + size[2])]
        if moves_with == "carriage":
            high[0] = min(high[0], 0.0)
        solids.append({"name": f"thing {k}", "moves_with": str(moves_with), "box": {"from": low, "to": high}})
    if rng.random() < 0.4:
        y, z = float(rng.uniform(60, 250)) * float(rng.choice([-1, 1])), float(rng.uniform(-250, 150))
        box = {"from": [-150, min(y, 4 * y), z - 80], "to": [2500, max(y, 4 * y), z + 80]}
        solids.append({"name": "rail", "moves_with": "frame", "box": box})
    if rng.random() < 0.4:
        y = float(rng.uniform(30, 120)) * float(rng.choice([-1, 1]))
        box = {"from": [-600, min(y, 5 * y), -80], "to": [-20, max(y, 5 * y), 80]}
        solids.append({"name": "carriage body", "moves_with": "carriage", "box": box})
    return part, bender(
        head("right" if rng.random() < 0.5 else "left"),
        {
            "head": {"centreline_height": float(rng.uniform(500, 1400)), "may_ease_off": bool(rng.random() < 0.7)},
            "carriage": {
                "reach": [150, 150 + float(rng.uniform(500, 2500))],
                "finish_released": bool(rng.random() < 0.5),
            },
            "clearance": {"per_metre": float(rng.choice([0.0, 8.0]))},
            "rotation": {"range": [-300, 300] if rng.random() < 0.3 else "continuous"},
            "solid": solids,
        },
    )


@dataclass
class Afresh:
    """A case checked anew, apart from what the search has kept."""

    search: Search

    def __post_init__(self) -> None:
        self.checks = Checks(self.search.case, self.search.problem, self.search.around)

    def clamps(self, attempt: Bending, tried: list[list[Motion]]) -> set[int]:
        """The numbers of the clamps with which all motions of one of the ways tried are clear."""
        certified = self.checks.batches.certified([(attempt, motion) for way in tried for motion in way])
        answers, found = iter(certified), set()
        for way in tried:
            ones = [next(answers) for _ in way]
            every = range(len(attempt.clamps))
            found |= {clamp for clamp in every if all(of(one, clamp).answer is Answer.CLEAR for one in ones)}
        return found

    def bend_goes(self, attempt: Bending) -> set[int]:
        """The clamps with which the tube can be gripped and bent."""
        return self.clamps(attempt, [gripping_motions(attempt)])

    def return_goes(self, attempt: Bending, farthest: float) -> set[int]:
        """The clamps with which after the bend the arm comes home too, at once or after easing off by some way."""
        ways, out = [[straight_home(attempt)]], attempt.station.setting
        if self.search.case.machine.head.may_ease_off:
            for y in map(float, np.arange(EVERY, farthest, EVERY)):
                eased = WayHome((HomeLeg((out, out), (0.0, y)), HomeLeg((out, 0.0), (y, y))))
                ways.append(list(home_motions(attempt, eased)))
        held = self.bend_goes(attempt)
        return held & self.clamps(attempt, ways) if held else held

    def move_goes(self, attempt: Bending, farthest: float) -> set[int]:
        """The clamps with which a path is clear that rotates at one advance anywhere."""
        standing, goal = attempt.standing_before, attempt.station.advance
        if attempt.rolls == (0.0,):
            return self.clamps(attempt, [[motions.advance(standing, (0.0, goal), 0.0, False)]])
        ways = []
        for roll in attempt.rolls:
            for y in map(float, np.arange(0.0, farthest, EVERY)):
                ways.append(
                    [
                        motions.advance(standing, (0.0, y), 0.0, False),
                        motions.rotate(standing, y, (0.0, roll)),
                        motions.advance(standing, (y, goal), roll, True),
                    ]
                )
        return self.clamps(attempt, ways)

    def places(self, pattern: Pattern) -> list[Place]:
        """Every place that a no-good speaks of: each first formed bend, each pair of trims, collet closed and open."""
        problem, found = self.search.problem, []
        for ahead in range(pattern.ahead[0], pattern.ahead[1] + 1):
            for trims in problem.trims:
                if not pattern.fits_trims(trims):
                    continue
                event = pattern.event
                if event is Event.BEND:
                    event = Event.LOAD if ahead == pattern.bend else Event.LINK
                since = pattern.bend if event is not Event.LINK else ahead
                at = Arrival(event, pattern.leads, pattern.bend, ahead, Hold(since, "load"), pattern.way or 0)
                before = None
                if event is Event.LINK:
                    before = replace(at, bend=at.bend - 1, event=Event.LINK if ahead < at.bend - 1 else Event.LOAD)
                may_open = problem.may_release and ahead == 1 and pattern.bend == problem.n
                for released in (False, True) if may_open else (False,):
                    if pattern.released in (None, released):
                        found.append(Place(before, replace(at, released=released), None, trims))
        return found

    def passes(self, at: Place, doing: str, trims: Trims) -> bool:
        """Whether a way on to the rod ("load"), or off it ("unload"), is found at a place with other trims."""
        place = replace(at, trims=trims)
        bend = self.checks.attempt(place)
        attempt = bend.checked(fitting=tuple(range(len(bend.clamps))))
        mandrel = self.search.case.machine.mandrel
        assert mandrel is not None
        machine, tooling = self.search.case.machine, self.search.around(attempt.station).tooling
        passage = (loading if doing == "load" else unloading)(machine, tooling, attempt)
        (passed,) = pass_all(self.checks.batches, [passage])
        return passed.path is not None

    def goes(self, doing: str, place: Place) -> bool:
        """Whether a bend, the arm's way home after it or the move to it goes at a place, wherever the collet holds."""
        carriage = self.search.case.machine.carriage
        assert carriage is not None
        attempt = replace(self.checks.attempt(place), rolls=self.checks._rolls(place))
        stock = self.search.case.loaded(place.at.leads, place.trims).stock_behind_zero
        room = stock - carriage.grip_length - carriage.reach[0]
        if doing == "move":
            return bool(self.move_goes(attempt, room - attempt.standing_before.tangent_u))
        if doing == "return":
            return bool(self.return_goes(attempt, room - attempt.standing.tangent_u))
        return any(self.bend_goes(one) for one in held_anywhere(self, place, attempt))


def held_anywhere(fresh: Afresh, place: Place, attempt: Bending) -> list[Bending]:
    """The attempt with the collet wherever it could hold; once where nothing is carried, or the collet is open."""
    carriage = fresh.search.case.machine.carriage
    if carriage is None or not fresh.checks.carried or place.at.released:
        return [attempt]
    low, high = fresh.checks.faces(place)
    stock = fresh.search.case.loaded(place.at.leads, place.trims).stock_behind_zero
    high = min(high, stock - carriage.grip_length - attempt.station.start)
    return [
        replace(attempt, station=replace(attempt.station, face=face), grip=replace(attempt.grip, face=face))
        for face in map(float, np.linspace(low, high, max(int((high - low) / EVERY / 4.0), 2)))
        if low <= high
    ]
