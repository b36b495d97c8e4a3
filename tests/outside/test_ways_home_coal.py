"""The arm's ways home against dense sampling: formulas (7) and (8) in the plane, certified ways with the tests' own tube.

The plane is that of the bend. Seen from the arm the grip section's bottom is the line y = −r, 0 ≤ x ≤ L; the tube's edge
toward the die is sampled point by point, the arm turned back step by step. In space every leg of a way home is sampled with
the replay of `tests/plan/replay`: its own kinematics, coal and exact distances to what is grooved.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from planner.clearance.certify import certify
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.feasibility.homing import Leaving, WayHome, most_asked, nearest_home, ways_home
from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.tooling import Section, Tooling
from planner.tube import motions
from planner.tube.partly_bent import leading_part
from tests.plan.replay.bodies import come_out, standing, tail
from tests.plan.replay.clearances import Clearances
from tests.plan.replay.motions import Body, Motion, Pair
from tests.plan.replay.stock import Array, Stock
from tests.plan.shop import tube

OPENS = {
    ("canal-workshop", 38.1, 76.2): 115.0,
    ("canal-workshop", 25.4, 50.8): 70.0,
    ("canal-workshop", 38.1, 114.3): 95.0,
    ("under-the-loft", 38.1, 76.2): 115.0,
    ("long-bed", 50.8, 101.6): 127.0,
    ("long-bed", 76.2, 152.4): 190.0,
    ("long-bed", 38.1, 114.3): 95.0,
    ("three-axis", 38.1, 76.2): 95.0,
    ("three-axis", 25.4, 50.8): 70.0,
    ("three-axis", 31.8, 63.5): 80.0,
}
"""All tooling of the packaged profiles (name, diameter, radius), and how far its clamp opens here [mm]."""

ANGLES = (10, 30, 45, 60, 90, 105, 120, 135, 150)
SPRINGS_BACK, WALL = 2.0, 1.5
"""Degrees by which the setting is larger; the tube's wall [mm]."""

LEG, TAIL = 400.0, 3000.0
"""Straight after the arc, and behind the die [mm]."""


# The machines and the ways


def opened(name: str, diameter: float, radius: float, opens: float, to_tooling: float | None = None) -> Machine:
    """A packaged profile with this one tooling, nothing about it but the floor; its clamp opens so far [mm]."""
    data = load_machine(name).normalised()
    data["solid"] = []
    data["head"].update(homes_with_tube=True, may_ease_off=True, centreline_height=3000.0)
    sizes = (diameter, radius)
    data["tooling"] = [one for one in data["tooling"] if (one["tube_diameter"], one["bend_radius"]) == sizes]
    data["tooling"][0]["clamp_block"]["opens"] = opens
    if to_tooling is not None:
        data["clearance"]["to_tooling"] = to_tooling
    return machine_from_data(data)


def tenths(way: float) -> float:
    return math.ceil(way * 10.0 - 1e-9) / 10.0


def kind_of(way: WayHome) -> str:
    """How tube and arm go: together, eased off in so many steps, or past the standing tube."""
    if any(leg.arm[0] != leg.arm[1] and leg.y[0] != leg.y[1] for leg in way.legs):
        return "together"
    runs = sum(leg.y[0] != leg.y[1] for leg in way.legs)
    return ("past", "one step", "two steps")[runs]


@dataclass(frozen=True)
class Bench:
    """One bend made with one clamp on one tooling: what the planner says of its ways home, and what the samples say."""

    machine: Machine
    clamp: float
    angle: float
    """In degrees."""

    @property
    def tooling(self) -> Tooling:
        return self.machine.tooling[0]

    @property
    def bent(self) -> Pair:
        """Angle and setting [rad]."""
        return math.radians(self.angle), math.radians(self.angle + SPRINGS_BACK)

    @property
    def side(self) -> float:
        return -1.0 if self.machine.head.bends_toward == "right" else 1.0

    @property
    def forward(self) -> float:
        """How far the pressure die has gone with the tube [mm]."""
        return self.tooling.bend_radius * self.bent[1] if self.tooling.pressure_die_follows else 0.0

    @property
    def ways(self) -> list[WayHome]:
        """What the planner would try."""
        return ways_home(self.machine, self.tooling, self.clamp, Leaving(*self.bent, LEG, 2000.0, None, tenths))

    def legs(self, way: WayHome) -> Iterator[tuple[Pair, Pair, Pair]]:
        """Arm, advance and place of the pressure die in each leg; that one goes home as the arm first moves."""
        forward = self.forward
        for leg in way.legs:
            left = forward if leg.arm[0] == leg.arm[1] else 0.0
            yield leg.arm, leg.y, (forward, left)
            forward = left

    def answers(self, way: WayHome) -> list[Answer]:
        """What the planner says of each leg."""
        tooling, angle = self.tooling, self.bent[0]
        clr, diameter = tooling.bend_radius, tooling.tube_diameter
        part = tube([LEG, TAIL], [0], [self.angle], radii=np.array([clr]), outside_diameter=diameter)
        end = LEG + clr * angle
        ahead = leading_part(part, {1}, end, 0.0, self.side, 1)
        stands = motions.Standing(ahead, True, TAIL, end, TAIL - 100.0, clr, self.side)
        around = Surroundings.of(self.machine, tooling, diameter / 2.0, 2.0, WALL)
        made = [motions.homing(stands, *leg) for leg in self.legs(way)]
        found = certify(rows_of(made, around, [(self.clamp,)] * len(made)))
        return [found.of(number, 0).answer for number in range(len(made))]

    def free(self, way: WayHome) -> list[bool]:
        """Of each leg, whether no sample is nearer than must be kept."""
        replay, made = self._replay(list(self.legs(way)))
        replay.motions = made
        return [not outcome.short for outcome in replay.outcomes]

    def _replay(self, legs: list[tuple[Pair, Pair, Pair]]) -> tuple[Clearances, list[Motion]]:
        tooling, angle = self.tooling, self.bent[0]
        clr, radius = tooling.bend_radius, tooling.tube_diameter / 2.0
        place = LEG + clr * angle
        stock = Stock(place + TAIL, "A")
        to_die = math.pi if self.side < 0.0 else 0.0
        stock = Stock(stock.cut, "A", (stock.made(1, LEG, clr, angle, to_die),))
        pieces = standing(stock.ahead(place), True)
        made = []
        for number, (arm, y, forward) in enumerate(legs, start=1):
            at = (place + y[0], place + y[1])
            ahead = Body("ahead", pieces, shift=y)
            bodies = (ahead, tail(stock.cut, at), come_out(stock.cut, place, at))
            step = {"number": number, "action": "return", "clearance": None, "nearest": None}
            behind = (stock.cut - at[0], stock.cut - at[1])
            made.append(
                Motion(step, "return", bodies, self.side, self.side * clr, 1, self.clamp, at, behind, arm, None, forward, True)
            )  # fmt: skip
        lra = [[LEG, 0.0, self.angle, clr], [TAIL]]
        document: dict[str, Any] = {
            "machine": self.machine.normalised(),
            "part": {"shape": {"lra": lra}, "tube": {"outside_diameter": 2.0 * radius, "wall": WALL}},
            "short": [],
        }
        done: Any = SimpleNamespace(radius=radius, stock=stock, motions=made)
        return Clearances(document, done), made


@cache
def bench(clamp: float, angle: float, opens: float, to_tooling: float = 2.0) -> Bench:
    """A bend of 38.1 mm on a radius of 76.2 mm: the numbers by hand are of this one."""
    return Bench(opened("canal-workshop", 38.1, 76.2, opens, to_tooling), clamp, angle)


def first(one: Bench, kind: str) -> WayHome:
    return next(way for way in one.ways if kind_of(way) == kind)


def goes(one: Bench, kind: str) -> bool:
    """Whether all the samples of some way of a kind are free; the planner must say the same of each."""
    found = []
    for way in one.ways:
        if kind_of(way) == kind:
            found.append(all(one.free(way)))
            assert found[-1] == all(answer is Answer.CLEAR for answer in one.answers(way)), (one, way)
    return any(found)


# In space


def benches() -> Iterator[Bench]:
    for (name, diameter, radius), opens in OPENS.items():
        machine = opened(name, diameter, radius, opens)
        for clamp, angle in itertools.product(machine.tooling[0].clamp_lengths, ANGLES):
            yield Bench(machine, clamp, angle)


def test_a_way_home_that_is_certified_is_free_in_every_sample_and_one_that_is_struck_is_not(campaign: bool) -> None:
    every = list(benches())
    assert len(every) == 2 * len(OPENS) * len(ANGLES)
    tally: Counter[tuple[str, Answer]] = Counter()
    for one in every if campaign else every[::13]:
        for way in one.ways:
            if kind_of(way) == "one step" and not campaign:
                continue
            for answer, free in zip(one.answers(way), one.free(way), strict=True):
                tally[kind_of(way), answer] += 1
                assert answer is not Answer.CLEAR or free, (one, way)
                assert answer is not Answer.STRUCK or not free, (one, way)
    assert tally["together", Answer.CLEAR] >= 25
    assert tally["two steps", Answer.CLEAR] >= 60
    assert tally["past", Answer.STRUCK] >= 14
    assert sum(count for (_, answer), count in tally.items() if answer is Answer.CLOSE) <= 2


@pytest.mark.parametrize("kind", ["together", "eased off"])
def test_with_its_short_clamp_every_tooling_comes_home_from_every_angle_both_ways(kind: str) -> None:
    """With the longer one the leg meets the opened clamp, most often at 150° and sometimes at 135°."""
    for one in benches():
        if one.clamp != one.tooling.clamp_lengths[-1]:
            continue
        ways = [way for way in one.ways if (kind_of(way) == "together") == (kind == "together")]
        assert any(all(answer is Answer.CLEAR for answer in one.answers(way)) for way in ways), (one, kind)


def test_past_the_standing_leg_the_arm_never_comes_home_through_a_grip_section() -> None:
    for one in benches():
        assert Answer.STRUCK in one.answers(first(one, "past")), one


# By hand: 38.1 mm on 76.2 mm


def test_by_hand_the_tube_goes_71_3_mm_while_the_arm_goes_35_5_degrees_back_and_then_to_115_mm() -> None:
    """√(57.15² + 115²) − 57.15 = 71.27 mm, over 115 mm: 0.620 rad = 35.5°."""
    one = bench(115.0, 90.0, 115.0)
    home = [leg for leg in first(one, "together").legs if leg.y[0] != leg.y[1]]
    asked = math.hypot(57.15, 115.0) - 57.15
    assert asked == pytest.approx(71.27, abs=0.01)
    assert [leg.y for leg in home] == [(0.0, 71.3), (71.3, 115.0)]
    back = [math.degrees(leg.arm[0] - leg.arm[1]) for leg in home]
    assert back == pytest.approx([math.degrees(asked / 115.0), 90.0 - math.degrees(asked / 115.0)], abs=0.01)
    assert back[0] == pytest.approx(35.5, abs=0.05)


@pytest.mark.parametrize(
    ("clamp", "angle", "kind", "struck", "free"),
    [
        (115.0, 90.0, "together", 66.5, 67.5),
        (115.0, 90.0, "two steps", 80.0, 81.0),
        (115.0, 90.0, "one step", 123.0, 129.0),
        (115.0, 135.0, "together", 111.0, 112.0),
        (115.0, 135.0, "two steps", 109.5, 110.5),
        (76.0, 135.0, "two steps", 62.5, 63.5),
    ],
)
def test_by_hand_how_far_the_clamp_has_to_open(
    clamp: float, angle: float, kind: str, struck: float, free: float
) -> None:
    """It must keep 2 mm to the tube; the openings were found by halving, with samples alone."""
    assert not goes(bench(clamp, angle, struck), kind)
    assert goes(bench(clamp, angle, free), kind)


def test_by_hand_60_mm_of_opening_do_for_nothing_and_95_mm_for_135_degrees_only_with_the_short_clamp() -> None:
    assert not any(goes(bench(115.0, 90.0, 60.0), kind) for kind in ("together", "two steps", "one step"))
    assert not any(goes(bench(115.0, 135.0, 95.0), kind) for kind in ("together", "two steps", "one step"))
    assert all(goes(bench(76.0, 135.0, 95.0), kind) for kind in ("together", "two steps", "one step"))


# In the plane


STEPS = 1501


@dataclass(frozen=True)
class Flat:
    """Leg and arc in the plane of the bend, the die's axis at the origin, the feed along +x, y up against the swing.

    below: from the axis to the groove's bottom; the tube's edge toward the die is an arc of this radius, and a leg.
    """

    below: float
    angle: float
    length: float

    def edge(self) -> tuple[Array, Array]:
        """Points of the tube's edge toward the die as it stands at the end of the bend, from the leg's end on."""
        arc = np.linspace(self.angle, 0.0, STEPS)
        leg = np.linspace(30.0 * self.length, 0.0, STEPS)
        on_leg = (
            self.below * math.sin(self.angle) + leg * math.cos(self.angle),
            self.below * math.cos(self.angle) - leg * math.sin(self.angle),
        )
        x = np.concatenate((on_leg[0], self.below * np.sin(arc)))
        y = np.concatenate((on_leg[1], self.below * np.cos(arc)))
        return x, y

    def asked(self, arm: float) -> float:
        """How far the tube must have been run forward for the section's bottom to be free of it, the arm standing there.

        Every point of the bottom pushes what stands at its own height, on until it is past it.
        """
        along = np.linspace(0.0, self.length, STEPS)
        x = self.below * math.sin(arm) + along * math.cos(arm)
        y = self.below * math.cos(arm) - along * math.sin(arm)
        edge_x, edge_y = self.edge()
        inside = y >= edge_y[0]
        return float((x - np.interp(y, edge_y, edge_x))[inside].max(initial=0.0))


FLAT = [
    (Section(length, 57.0, 90.0), below, math.radians(angle))
    for length, below in ((115.0, 57.15), (76.0, 57.15), (230.0, 114.3), (100.0, 95.25), (50.0, 38.1))
    for angle in ANGLES
]


def test_what_the_leg_asks_for_is_7_and_what_the_arc_asks_for_goes_on_to_the_whole_section() -> None:
    """The arc, with B = L cos ψ + a sin ψ: the section's far corner meets its edge at B − √(B² − L²)."""
    on_leg = on_arc = 0
    for section, below, angle in FLAT:
        length, flat = section.length, Flat(below, angle, section.length)
        for back in np.linspace(0.0, angle, 13)[1:]:
            by_leg = (length * math.sin(back) - below * (1.0 - math.cos(back))) / math.sin(angle)
            told, arm = flat.asked(angle - back), angle - back
            if length * math.cos(back) - below * math.sin(back) > by_leg * math.cos(angle):
                on_leg += 1
                assert told == pytest.approx(max(by_leg, 0.0), abs=0.01), (section, below, angle, back)
            else:
                on_arc += 1
                reach = length * math.cos(arm) + below * math.sin(arm)
                by_arc = reach - math.sqrt(max(reach * reach - length * length, 0.0))
                assert told == pytest.approx(by_arc, abs=0.05), (section, below, angle, back)
        assert flat.asked(0.0) == pytest.approx(length, abs=0.01)
    assert min(on_leg, on_arc) >= 100


def test_y1_is_the_most_that_the_leg_asks_for_and_the_way_ends_where_all_is_free() -> None:
    for section, below, angle in FLAT:
        asked, flat = most_asked(section, below, angle), Flat(below, angle, section.length)
        every = [flat.asked(float(arm)) for arm in np.linspace(0.0, angle, 181)]
        assert max(every) == pytest.approx(max(section.length, asked), abs=0.02)
        backs = np.linspace(0.0, angle, 20001)
        legs = (section.length * np.sin(backs) - below * (1.0 - np.cos(backs))) / math.sin(angle)
        assert asked == pytest.approx(float(legs.max()), abs=1e-4)


def test_with_the_tube_at_y1_the_arm_comes_free_to_psi2_and_no_farther() -> None:
    """ψ₂ is rounded up to 0.1°."""
    stopped = 0
    for section, below, angle in FLAT:
        asked, flat = most_asked(section, below, angle), Flat(below, angle, section.length)
        near = nearest_home(section, below, asked)
        every = [flat.asked(float(arm)) for arm in np.linspace(min(near, angle), angle, 91)]
        assert max(every) <= asked + 0.02, (section, below, angle)
        if near > 0.0 and asked < section.length - 0.1:
            stopped += 1
            assert flat.asked(near - math.radians(0.15)) > asked, (section, below, angle)
    assert stopped >= 30


def test_from_half_a_turn_on_no_way_forward_frees_the_leg() -> None:
    section = Section(115.0, 57.0, 90.0)
    growing = [most_asked(section, 57.15, math.radians(angle)) for angle in (150.0, 170.0, 178.0, 179.9)]
    assert growing == sorted(growing)
    assert growing[-1] > 20_000.0
    assert most_asked(section, 57.15, math.pi) == math.inf
