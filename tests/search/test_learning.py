"""What the search learns from a strike is true wherever it is said to hold.

Every proved no-good is looked into again at every number of bends formed ahead that it speaks of, with every pair of trims
and with holds all over the tube: the bend, the arm's way home or the move is certified afresh there, with more ways of
easing off and more paths than the search tries, and must not be clear with any clamp.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from planner import planning
from planner.clearance.verdicts import Answer
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.search.attempts import Attempt, eased_motion, gripping_motions, home_motion, of
from planner.search.checks import Checks, Place
from planner.search.events import Arrival, Event, Hold, NoGood, Trims
from planner.search.exact import Exact
from planner.search.lessons import Struck
from planner.search.passages import loading, pass_all, unloading
from planner.search.search import Search
from planner.tube import motions
from planner.tube.motions import Motion
from planner.tube.partly_bent import Leading, Pieces, leading_part
from tests.plan.shop import bender, head, tube

EVERY = 12.0
"""Steps in which other ways of easing off, other paths and other holds are looked at [mm]."""

TELLING = (228, 263, 269, 335, 377)
"""Seeds whose strikes hold only with so much trim, or only with the collet closed."""


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

    def clamps(self, attempt: Attempt, tried: list[list[Motion]]) -> set[int]:
        """The numbers of the clamps with which all motions of one of the ways tried are clear."""
        certified = self.checks.batches.certified([(attempt, motion) for way in tried for motion in way])
        answers, found = iter(certified), set()
        for way in tried:
            ones = [next(answers) for _ in way]
            every = range(len(attempt.clamps))
            found |= {clamp for clamp in every if all(of(one, clamp).answer is Answer.CLEAR for one in ones)}
        return found

    def bend_goes(self, attempt: Attempt) -> set[int]:
        """The clamps with which the tube can be gripped and bent."""
        return self.clamps(attempt, [gripping_motions(attempt)])

    def return_goes(self, attempt: Attempt, farthest: float) -> set[int]:
        """The clamps with which after the bend the arm comes home too, at once or after easing off by some way."""
        ways = [[home_motion(attempt, 0.0)]]
        if self.search.case.machine.head.may_ease_off:
            eased = np.arange(EVERY, farthest, EVERY)
            ways += [[eased_motion(attempt, y), home_motion(attempt, y)] for y in map(float, eased)]
        held = self.bend_goes(attempt)
        return held & self.clamps(attempt, ways) if held else held

    def move_goes(self, attempt: Attempt, farthest: float) -> set[int]:
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

    def places(self, nogood: NoGood) -> list[Place]:
        """Every place that the no-good speaks of: each first formed bend, each pair of trims, collet closed and open."""
        pattern, problem, found = nogood.pattern, self.search.problem, []
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

    def passes(self, evidence: Struck, trims: Trims) -> bool:
        """Whether a way on to the rod, or off it, is found with other trims."""
        place = replace(evidence.place, trims=trims)
        attempt = self.checks.attempt(place)
        attempt.standing_before = self.checks._standing_before(place)
        attempt.fitting = list(range(len(attempt.clamps)))
        mandrel = self.search.case.machine.mandrel
        assert mandrel is not None
        on = evidence.blocked[0].doing == "load"
        passage = loading(attempt, mandrel.nose) if on else unloading(attempt, mandrel.nose)
        pass_all(self.checks.batches, [passage])
        return passage.path is not None


def held_anywhere(fresh: Afresh, place: Place, attempt: Attempt) -> list[Attempt]:
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


@pytest.fixture(scope="module")
def learned(campaign: bool) -> list[tuple[int, Search]]:
    """Searches through to the proof that there is no better plan."""
    found = []
    for seed in (*range(1000 if campaign else 80), *TELLING):
        part, machine = crowded(seed)
        case, _ = planning._case(part, machine)
        search = Search(case, planning._surroundings(case), Exact())
        search.plan()
        search.best(proved_only=True)
        found.append((seed, search))
    return found


def proved(search: Search) -> list[tuple[NoGood, Struck]]:
    return [(n, n.evidence) for n in search.nogoods if n.grade == "proved" and isinstance(n.evidence, Struck)]


def test_a_proved_no_good_holds_for_every_run_trim_and_hold_that_it_speaks_of(
    learned: list[tuple[int, Search]],
) -> None:
    met: Counter[str] = Counter()
    for seed, search in learned:
        fresh, carriage = Afresh(search), search.case.machine.carriage
        assert carriage is not None
        for nogood, evidence in proved(search):
            doing = evidence.blocked[0].doing
            met[doing] += 1
            met["several runs"] += nogood.pattern.ahead[0] < nogood.pattern.ahead[1]
            if doing in ("load", "unload"):
                assert not any(fresh.passes(evidence, trims) for trims in search.problem.trims
                               if nogood.pattern.fits_trims(trims)), (seed, doing, nogood.pattern)  # fmt: skip
                continue
            for place in fresh.places(nogood):
                attempt = fresh.checks.attempt(place)
                attempt.rolls = fresh.checks._rolls(place)
                met["open"] += place.at.released
                stock = search.case.loaded(place.at.leads, place.trims).stock_behind_zero
                room = stock - carriage.grip_length - carriage.reach[0]
                if doing == "move":
                    goes = bool(fresh.move_goes(attempt, room - attempt.standing_before.tangent_u))
                elif doing == "return":
                    goes = bool(fresh.return_goes(attempt, room - attempt.standing.tangent_u))
                else:
                    goes = any(fresh.bend_goes(one) for one in held_anywhere(fresh, place, attempt))
                assert not goes, (seed, doing, nogood.pattern, place.at.ahead, place.trims)
    assert met["several runs"] >= 20, met
    assert min(met["bend"], met["return"], met["move"], met["open"]) >= 5, met


def assert_same(found: Pieces, wanted: Pieces, where: object) -> None:
    """The same pieces; across a straight it says nothing to which side it curls."""
    assert found.count == wanted.count, where
    for name in ("start", "along", "curvature", "length", "u", "to_end"):
        assert getattr(found, name) == pytest.approx(getattr(wanted, name), abs=1e-9), (name, where)
    curled = wanted.curvature > 0.0
    assert found.inward[:, curled] == pytest.approx(wanted.inward[:, curled], abs=1e-9), where
    across = (found.inward * found.along).sum(axis=0)
    assert across == pytest.approx(np.zeros(found.count), abs=1e-9), where
    assert found.u_sign == wanted.u_sign


@pytest.mark.parametrize("toward", [-1.0, 1.0])
def test_leading_parts_cut_from_one_chain_are_those_walked_piece_by_piece(toward: float) -> None:
    """Every run, before and after each bend and on the way between, in any order of asking; some straights of nothing."""
    checked = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(1, 7))
        straights = [0.0 if rng.random() < 0.25 else float(rng.uniform(5, 300)) for _ in range(n + 1)]
        part = tube(straights, [0.0, *rng.uniform(-180, 180, n - 1)], list(rng.uniform(5, 185, n)))
        for view in (part, part.reversed()):
            leading = Leading(view, toward)
            asked = [
                (float(u), first, last, float(trim), plane)
                for bend in range(1, n + 1)
                for first in range(1, bend + 1)
                for trim in (0.0, rng.uniform(0.5, 200))
                for u, last, plane in (
                    (view.bend_starts[bend - 1], bend - 1, bend),
                    (view.bend_ends[bend - 1], bend, bend),
                    (view.bend_ends[bend - 1] + rng.uniform(0, 50), bend, bend),
                )
            ]
            for k in rng.permutation(len(asked)):
                u, first, last, trim, plane = asked[k]
                formed = set(range(first, last + 1))
                wanted = leading_part(view, formed, u, trim, toward, plane)
                assert_same(leading.at(u, first, last, trim, plane), wanted, (seed, asked[k]))
                checked += 1
    assert checked > 3000
