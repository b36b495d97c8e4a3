"""The planner against every allowed order, tried one by one, and the brute force itself against other kinematics."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.planning import plan
from tests.clearance.oracle import Profile
from tests.plan.brute_force import At, Bend, BruteForce, Found, How, Job, jobs, reclamps
from tests.plan.sampled import (
    BLOCK,
    BOX,
    CLEAR,
    DIE,
    STRUCK,
    Checks,
    End,
    Motion,
    Solid,
    Tube,
    bowed,
    distances,
    own_gap,
    rotation,
    walked,
)
from tests.plan.shop import FINE, bender, head, rod_that_asks_for_a_turn, tube
from tests.plan.workpiece import Document
from tests.simulated import Lra, poses

PROFILES = ("canal-workshop", "three-axis", "long-bed")
KINDS = ("plain", "tall", "short ends", "one short end", "short straights", "tight", "trimmed", "flat")
MACHINES = {name: load_machine(name) for name in PROFILES}
LOW: dict[str, Any] = {"head": {"centreline_height": 1050}}


# Random parts on the packaged machines


@dataclass(frozen=True)
class Drawn:
    """A random part and the machine it is to be made on."""

    name: str
    part: Part
    machine: Machine


@dataclass(frozen=True)
class Compared:
    """What planner and brute force say of it."""

    drawn: Drawn
    brute: BruteForce
    found: Found
    document: Document

    @property
    def words(self) -> str:
        said, lra = self.document, self.document["part"]["shape"]["lra"]
        return f"{self.drawn.name} {lra}: {self.found}, but {said['verdict']}, {said['reclamps']}, {said['proved']}"


def drawn(seed: int) -> Drawn | None:
    """A random part, its numbers whole millimetres and degrees; None if it all but runs through itself.

    Its sizes go with the tooling, so that every kind of trouble comes up: floors and solids struck, straights too short to
    grip, ends too short to hold, trim wanted. Every other machine is altered: its travel, its rod, its chuck cut short.
    """
    rng = np.random.default_rng(31_000 + seed)
    machine, kind = MACHINES[PROFILES[seed % 3]], KINDS[(seed // 3) % len(KINDS)]
    tooling = machine.tooling[int(rng.integers(len(machine.tooling)))]
    n = 6 if seed % 10 == 9 else 2 + int(rng.integers(4))
    part = _part(kind, n, machine, tooling, rng)
    change = ("as packaged", "short travel", "short rod", "closed", "narrow chuck", "no easing off")
    what = change[int(rng.integers(1, len(change)))] if rng.random() < 0.5 else change[0]
    machine = _altered(machine, what, part, rng)
    found = Drawn(f"part {seed}, {kind}, on {machine.name}, {what}", part, machine)
    gap = own_gap(BruteForce(part, machine).views["A"], part.radius)
    return found if gap > machine.clearance.to_itself + 2.0 else None


def _part(kind: str, n: int, machine: Machine, tooling: Tooling, rng: np.random.Generator) -> Part:
    assert machine.carriage is not None
    clamp, held = tooling.clamp_lengths[-1], machine.carriage.reach[0] + machine.carriage.grip_length
    ends = rng.uniform(0.6, 2.2, 2) * held
    inner = clamp * rng.uniform(1.0, 4.0, n - 1) + 3.0
    angles = rng.choice([30, 45, 60, 90, 90, 120, *rng.integers(15, 140, 4)], n)
    rolls = rng.choice([90, -90, 180, *rng.integers(-179, 180, 4)], n)
    trims = (0.0, 0.0)
    if kind == "tall":
        ends = rng.uniform(0.5, 1.15, 2) * machine.head.centreline_height
        rolls = rng.choice([90, -90, 60, -60, 120, -120, 180, *rng.integers(-179, 180, 2)], n)
    elif kind == "short ends":
        ends = rng.uniform(0.1, 0.9, 2) * held
    elif kind == "one short end":
        ends = np.array([rng.uniform(0.3, 0.8), rng.uniform(1.0, 4.0)])[:: 1 if rng.random() < 0.5 else -1] * held
    elif kind == "short straights":
        inner = np.where(rng.random(n - 1) < 0.5, clamp * rng.uniform(0.95, 1.2, n - 1), inner)
    elif kind == "tight":
        angles, inner = rng.integers(80, 150, n), clamp * rng.uniform(1.05, 2.2, n - 1) + 2.0
    elif kind == "trimmed":
        ends, trims = rng.uniform(0.0, 1.0, 2) * held, (float(rng.integers(400)), float(rng.integers(400)))
    elif kind == "flat":
        rolls = rng.choice([0, 180], n)
    return Part(
        name=kind, machine=None, outside_diameter=tooling.tube_diameter, wall=1.5, gauge=None, material="steel",
        yield_strength=None, straights=np.round([ends[0], *inner, ends[1]]),
        rotations=np.radians([0.0, *map(float, rolls[1:])]), angles=np.radians(angles.astype(float)),
        radii=np.full(n, tooling.bend_radius), trim_a=trims[0], trim_b=trims[1],
    )  # fmt: skip


def _altered(machine: Machine, change: str, part: Part, rng: np.random.Generator) -> Machine:
    """The machine with less room, so that re-grips, turns and reloads come up; a rod that just does for one bend or not."""
    data = machine.normalised()
    closest = data["carriage"]["reach"][0]
    if change == "short travel":
        data["carriage"]["reach"][1] = closest + 450.0
    elif change == "short rod":
        behind = [*(part.developed_length - part.bend_starts), *part.bend_ends]
        data["mandrel"]["rod_length"] = float(rng.choice(behind)) + float(rng.choice([-2.0, 2.0]))
    elif change == "closed":
        data["carriage"].update(passes_through=False, finish_released=False)
    elif change == "narrow chuck":
        data["rotation"]["range"] = [-190.0, 190.0]
    elif change == "no easing off":
        data["head"]["may_ease_off"] = False
    return machine_from_data(data)


def parts(count: int) -> Iterator[Drawn]:
    """The first so many random parts that do not run through themselves."""
    seed = 0
    while count:
        found = drawn(seed)
        seed += 1
        if found is not None:
            count -= 1
            yield found


def compared(one: Drawn) -> Compared:
    brute = BruteForce(one.part, one.machine)
    return Compared(one, brute, brute.found(), json.loads(plan(one.part, one.machine).to_json()))


@pytest.fixture(scope="module")
def all_compared(campaign: bool) -> list[Compared]:
    """Random parts, planned and tried in every order."""
    return [compared(one) for one in parts(500 if campaign else 100)]


def job_of(document: Document) -> Job:
    """The job that a plan document tells its reader to do."""
    made: list[Bend] = []
    how: How = "load"
    n = len(document["order"])
    for step in document["steps"]:
        if step["action"] in ("turn", "reload", "re-grip"):
            how = step["action"]
        elif step["action"] == "open collet":
            made[-1] = replace(made[-1], released=True)
        elif step["action"] == "close dies":
            leads: End = step["leads"]
            seen = [b.bend if b.leads == leads else n + 1 - b.bend for b in made]
            bend = step["bend"] if leads == "A" else n + 1 - step["bend"]
            assert sorted([*seen, bend])[-1] == bend
            made.append(Bend(leads, bend, min([*seen, bend]), how))
            how = "link"
    return tuple(made)


def test_no_plan_does_with_fewer_reclamps_or_less_trim_than_every_order_that_is_not_struck(
    all_compared: list[Compared],
) -> None:
    for one in all_compared:
        if one.document["verdict"] == "makeable":
            assert one.document["reclamps"] >= one.found.least, one.words
            if one.document["reclamps"] == one.found.least:
                stock = one.document["stock"]
                assert stock["trim_a"] + stock["trim_b"] >= one.found.trims[0], one.words


def test_what_is_proved_best_is_no_worse_than_an_order_that_is_surely_possible(all_compared: list[Compared]) -> None:
    for one in all_compared:
        proved = one.document["proved"]
        if proved["reclamps"]:
            assert one.document["reclamps"] <= one.found.most, one.words
            if proved["trim"] and one.document["reclamps"] == one.found.most:
                assert one.document["stock"]["trim_a"] + one.document["stock"]["trim_b"] <= one.found.trims[1], (
                    one.words
                )


def test_what_is_not_makeable_is_so_in_every_order(all_compared: list[Compared]) -> None:
    for one in all_compared:
        if one.document["verdict"] == "not makeable":
            assert math.isinf(one.found.most), one.words


def test_the_jobs_of_the_plans_keep_the_rules_and_strike_nothing_where_they_are_sampled(
    all_compared: list[Compared],
) -> None:
    for one in all_compared:
        if one.document["verdict"] == "makeable":
            job, stock = job_of(one.document), one.document["stock"]
            assert reclamps(job) == one.document["reclamps"]
            kept = one.brute.kept(job, -0.2, (stock["trim_a"], stock["trim_b"]))
            assert kept is not None, (one.words, job)
            assert one.brute.judged(job, kept) != STRUCK, (one.words, job)


def test_few_of_the_comparisons_are_left_open(all_compared: list[Compared]) -> None:
    """Of the samples at most one in twenty is unsure, and of the planner's answers at most one in twenty unproved."""
    open_ = [one.words for one in all_compared if one.found.verdict == "unsure"]
    unproved = [
        one.words
        for one in all_compared
        if one.document["verdict"] == "undecided"
        or (one.document["verdict"] == "makeable" and not one.document["proved"]["reclamps"])
    ]
    assert len(open_) <= len(all_compared) / 20, open_
    assert len(unproved) <= len(all_compared) / 20, unproved


def test_the_random_parts_are_of_every_kind(all_compared: list[Compared]) -> None:
    """From either end straight through, with a turn, a re-grip, a released bend, trim, more than one re-clamp, not at all."""
    found: Counter[str] = Counter()
    for one in all_compared:
        made = one.document
        found[made["verdict"]] += 1
        if made["verdict"] == "makeable":
            found.update(event for event in ("turns", "regrips", "released") if made[event])
            found["straight through from " + made["order"][0]["leads"]] += made["turns"] == 0
            found["trim"] += made["stock"]["cut_length"] > made["stock"]["developed_length"]
            found["several"] += made["reclamps"] > 1
    wanted = {"makeable", "not makeable", "turns", "regrips", "released", "trim", "several"}
    wanted |= {"straight through from A", "straight through from B"}
    assert {what for what in wanted if found[what] < 2} == set(), found


# Sharp cases by hand


def verdicts(part: Part, machine: Machine) -> tuple[tuple[float, float], float]:
    """Re-clamps by the brute force, at least and at most, and by the planner; infinite where it cannot be made."""
    found, made = BruteForce(part, machine).found(), plan(part, machine)
    assert made.verdict != "undecided"
    return (found.least, found.most), made.reclamps if made.reclamps is not None else math.inf


def hanging(leg: float, rotation: float = 90.0) -> Part:
    """Two square bends with legs alike; on a right head the one made first hangs straight down before the second."""
    return tube([leg, 200, leg], [0, rotation], [90, 90])


def test_a_leg_hangs_as_deep_under_the_floor_as_by_hand() -> None:
    """2000 mm of leg and 76.2 of its bend below a centreline 1050 mm over the floor: 1026.2 deep, 10 required."""
    brute = BruteForce(hanging(2000), bender(LOW))
    assert brute.geometry.bend(At("A", 1, 2, 0.0, 0.0)).least()["all"] == pytest.approx(-1036.2, abs=0.1)
    assert verdicts(hanging(2000), bender(LOW)) == ((math.inf, math.inf), math.inf)
    assert verdicts(hanging(2000, -90), bender(LOW)) == ((0, 0), 0)
    assert verdicts(hanging(2000), bender(LOW, head("left"))) == ((0, 0), 0)


@pytest.mark.parametrize(("height", "reclamps"), [(885.9, math.inf), (887, 0)])
def test_the_verdict_turns_where_the_leg_comes_too_near_to_the_floor(height: float, reclamps: float) -> None:
    """800 mm of leg, 76.2 of its bend and 10 required: 886.2 mm."""
    machine = bender({"head": {"centreline_height": height}})
    assert verdicts(hanging(800), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("straight", "reclamps"), [(166, 0), (169, 1)])
def test_one_hold_serves_two_bends_as_long_as_their_windows_meet(straight: float, reclamps: int) -> None:
    """60° are 79.8 mm of tube, their setting of 62.4° 83.0: within a travel of 330 mm lie 330 − 79.8 − 83.0 = 167.2."""
    machine = bender({"carriage": {"reach": [150, 480]}})
    assert verdicts(tube([400, straight, 400], [0, 45], [60, 60]), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("straight", "reclamps"), [(59.9, math.inf), (60, 0)])
def test_the_shortest_clamp_must_find_room_between_two_bends(straight: float, reclamps: float) -> None:
    part = tube([400, straight, 400], [0, 45], [60, 60])
    assert verdicts(part, bender()) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("turns_to", "reclamps"), [(95, 1), (101, 0)])
def test_a_rotation_that_a_chuck_cannot_make_takes_another_load(turns_to: float, reclamps: int) -> None:
    """100° the one way, 260° the other. Taken off and put back, the tube lies as the next bend wants it."""
    machine = bender({"rotation": {"range": [-turns_to, turns_to]}})
    assert verdicts(tube([400, 200, 400], [0, 100], [60, 60]), machine) == ((reclamps, reclamps), reclamps)


@pytest.mark.parametrize(("rod", "reclamps"), [(479, math.inf), (480.5, 0)])
def test_the_tube_behind_the_die_must_go_over_the_rod(rod: float, reclamps: float) -> None:
    """400 mm and 60° on a radius of 76.2: 479.8 mm."""
    machine = bender({"mandrel": {"rod_length": rod}})
    assert verdicts(tube([400, 400], [0], [60]), machine) == ((reclamps, reclamps), reclamps)


def test_a_rod_too_short_for_the_tube_straight_through_asks_for_a_turn() -> None:
    part = tube([500, 300, 300, 500], [0, 50, -70], [60, 45, 70])
    rod = rod_that_asks_for_a_turn(part)
    assert verdicts(part, bender({"mandrel": {"rod_length": rod}})) == ((1, 1), 1)
    assert verdicts(part, bender()) == ((0, 0), 0)


def test_as_much_trim_is_asked_for_as_the_collet_needs() -> None:
    """90° are set to 93.3: the tube is drawn 4.39 mm past the bend's end; 150 + 40 + 4.39 − 100 mm are missing."""
    part = tube([100, 100], [0], [90], trims=(200.0, 200.0))
    found, made = BruteForce(part, bender()).found(), plan(part, bender())
    assert (found.least, found.most, found.trims) == (0, 0, (95.0, 95.0))
    assert made.stock is not None
    assert (made.reclamps, made.stock.trim_a + made.stock.trim_b) == (0, 95.0)


@pytest.mark.parametrize(("released", "reclamps"), [(False, math.inf), (True, 1)])
def test_a_leg_that_comes_back_to_the_carriage_does_not_strike_it_once_the_collet_is_open(
    released: bool, reclamps: float
) -> None:
    """A U with 900 mm of leg reaches 824 mm behind the die, where the collet holds 400 mm of the other leg's end."""
    carriage = {"name": "carriage", "moves_with": "carriage", "box": {"from": [-300, -300, -150], "to": [0, 300, 110]}}
    machine = bender({"carriage": {"grip_length": 400, "finish_released": released}, "solid": [carriage]})
    assert verdicts(tube([900, 100, 900], [0, 0], [90, 90]), machine) == ((reclamps, reclamps), reclamps)


# The brute force itself


def test_every_way_of_making_two_bends_is_tried_and_no_other() -> None:
    tried = {(tuple((b.leads, b.bend, b.ahead) for b in job), job[1].how) for job in jobs(2, True, False)}
    through = {(((end, 1, 1), (end, 2, 1)), how) for end in "AB" for how in ("link", "re-grip", "reload")}
    turned = {((("B", 2, 2), ("A", 2, 1)), "turn"), ((("A", 2, 2), ("B", 2, 1)), "turn")}
    assert tried == through | turned


@pytest.mark.parametrize("n", [1, 3, 5])
def test_the_formed_bends_are_always_a_run_of_neighbours_ahead(n: int) -> None:
    found = list(jobs(n, True, True))
    assert len(found) == len(set(found)) == 4**n
    for job in found:
        formed: set[int] = set()
        for at in job:
            seen = formed if at.leads == "A" else {n + 1 - bend for bend in formed}
            assert seen == set(range(at.ahead, at.bend))
            formed.add(at.bend if at.leads == "A" else n + 1 - at.bend)


@pytest.mark.parametrize("toward", ["right", "left"])
def test_the_tube_stands_where_the_other_kinematics_of_the_tests_have_it(toward: str) -> None:
    """In the die, swung, and rolled before the next bend, from either end."""
    rng = np.random.default_rng(3)
    for part in (
        tube([200, 90, 150, 110, 250], [0, *rng.uniform(-179, 179, 3)], [*rng.uniform(20, 140, 4)]) for _ in "abc"
    ):
        brute = BruteForce(part, bender(FINE, head(toward)))
        side = brute.geometry.side
        for leads, ahead, bend in ((end, a, b) for end in brute.views for b in range(1, 5) for a in range(1, b + 1)):
            view, at = brute.views[leads], At(leads, ahead, bend, 30.0, 0.0)
            lra = Lra(*map(np.array, (view.straights, view.rotations, view.angles, [view.radius] * 4)))
            start, end, swing = view.starts[bend - 1], view.ends[bend - 1], float(rng.uniform(0.1, 2.0))
            formed = range(ahead, bend)
            in_die, standing = brute.geometry.in_die(at), brute.geometry.standing(at)
            axis, roll = side * view.radius, float(rng.uniform(-3.0, 3.0))
            for mine, where in (
                (in_die, (formed, start, 0.0, None)),
                (
                    in_die.moved(swing=side * swing, axis_y=axis),
                    (formed, start + axis * side * swing, 0.0, (bend, swing)),
                ),
                (standing.moved(shift=70.0, roll=roll), ([*formed, bend], end + 70.0, roll, None)),
            ):
                points, half, _ = mine.points(25.0)
                places = (end if mine.length[0] == standing.length[0] else start) - np.cumsum(2.0 * half) + half
                bends, tangent, rolled, die = where
                wanted = poses(lra, bends, tangent, rolled, side, places, die, bend)
                assert np.abs(points - wanted).max() < 1e-6


def test_distances_to_grooved_tooling_are_those_to_the_nearest_point_of_its_profile() -> None:
    rng = np.random.default_rng(4)
    profile = Profile(60.0, 45.0, 19.05)
    a, z, inside = rng.uniform(-60.0, 110.0, 4000), rng.uniform(-90.0, 90.0, 4000), np.full(4000, -50.0)
    for side in (-1.0, 1.0):
        numbers = np.array([-100.0, 0.0, side, 12.0, 60.0, 45.0, 19.05, 0.0])
        found = distances(BLOCK, numbers, np.stack((inside, side * (a + 12.0), z), axis=1))
        wanted = profile.signed(a, z)
        near = np.abs(wanted) < 45.0  # the block's ends are 50 mm away
        assert np.abs(found - wanted)[near].max() < 0.02
    die = Profile(200.0, 45.0, 19.05, solid_at_width=True)
    around, a = rng.uniform(0.0, 6.0, 4000), rng.uniform(-70.0, 70.0, 4000)
    at = np.stack(((76.2 - a) * np.sin(around), 76.2 - (76.2 - a) * np.cos(around), z), axis=1)
    assert np.abs(distances(DIE, np.array([76.2, 76.2, 45.0, 19.05, 0, 0, 0, 0]), at) - die.signed(a, z)).max() < 0.02


def on_a_grid(leg: Tube, solid: Solid, motion: Motion, radius: float) -> float:
    """The least distance of a flat-ended tube's cross-sections to a box over a motion, on a plain grid [mm]."""
    rim, least = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)[:, None], math.inf
    axis, numbers = np.array([motion.x, motion.y, 0.0]), np.array([*solid.numbers, 0.0, 0.0])
    for i in range(len(leg.length)):
        s = np.linspace(0.0, leg.length[i], max(3, int(leg.length[i] / 4.0)))[:, None]
        middle = bowed(leg.start[i], leg.along[i], leg.inward[i], leg.curvature[i], s)
        aside = np.cos(s * leg.curvature[i]) * leg.inward[i] - np.sin(s * leg.curvature[i]) * leg.along[i]
        across = np.broadcast_to(np.cross(leg.along[i], leg.inward[i]), aside.shape)
        disc = aside[:, None] * np.cos(rim) + across[:, None] * np.sin(rim)
        shares = [middle[:, None] + radius * share * disc for share in (1.0, 0.6, 0.0)]
        x = np.concatenate(shares, axis=1).reshape(-1, 3)
        for t in np.linspace(0.0, 1.0, 250):
            moved = (x - axis) @ rotation("z", motion.turn * t).T + axis + [motion.way * t, 0.0, 0.0]
            least = min(least, float(distances(BOX, numbers, moved).min()))
    return least


def test_the_search_for_the_least_gap_finds_what_a_plain_grid_of_cross_sections_finds() -> None:
    """Legs that swing past a block and go on along the feed. The grid may miss 2.5 mm, the search 0.25 by its rims of 24
    points; where they overlap the two measure depth in different ways.
    """
    rng = np.random.default_rng(5)
    apart = 0
    for _ in range(8):
        part = tube([rng.uniform(60, 500), 120, 300], [0, rng.uniform(-170, 170)], [*rng.uniform(30, 130, 2)])
        leg = BruteForce(part, bender(FINE)).geometry.in_die(At("A", 1, 2, 0.0, 0.0))
        motion = Motion("z", rng.uniform(-2.5, 2.5), rng.uniform(-150.0, 150.0), 10.0, -76.2)
        low = rng.uniform(-250.0, 100.0, 3)
        solid, checks = Solid(BOX, (*low, *(low + rng.uniform(20.0, 200.0, 3)))), Checks(19.05)
        checks.add("box", leg, [solid], 4.0, motion)
        found, grid = checks.least()["box"] + 4.0, on_a_grid(leg, solid, motion, 19.05)
        assert (found > 0.0) == (grid > 0.0)
        if grid > 0.0:
            apart += 1
            assert -0.25 <= grid - found <= 2.5
    assert 2 <= apart <= 7


def test_what_lies_in_the_groove_never_presses_into_the_die_while_it_slides_out() -> None:
    """So the brute force need not look: arcs up to 150° with the straight behind, at every advance."""
    die = np.array([-76.2, 76.2, 45.0, 19.05, 0, 0, 0, 0])
    for angle in np.radians(np.arange(5.0, 151.0, 5.0)):
        points, _, _ = walked([("arc", 76.2, float(angle)), ("straight", 400.0, 0.0)], -1.0).points(1.0)
        for y in np.arange(0.0, 300.0, 5.0):
            assert distances(DIE, die, points + [y, 0.0, 0.0]).min() - 19.05 > -1e-6


@pytest.mark.parametrize("name", PROFILES)
def test_straight_tube_on_the_feed_is_clear_of_every_packaged_machine(name: str) -> None:
    """So the brute force need not look at it bend by bend."""
    for tooling in MACHINES[name].tooling:
        part = tube(
            [900, 900], [0], [90], outside_diameter=tooling.tube_diameter, radii=np.array([tooling.bend_radius])
        )
        found = BruteForce(part, MACHINES[name]).geometry.feed_line(MACHINES[name].head.largest_angle)
        assert set(found.values()) == {CLEAR}, found
