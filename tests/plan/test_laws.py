"""Laws between the proved values of two plans: whatever takes room, reach or stock away never makes a part easier.

The value of a part on a machine is the number of re-clamps proved least, infinite where no order goes. A ladder is a part
made more and more difficult in one respect, the easiest rung first; from rung to rung the value must not fall.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice
from typing import Any, NamedTuple

import numpy as np
import pytest

from planner.inputs.files import load_machine, machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from tests.plan.random_parts import drawn
from tests.plan.shop import PROFILE, bender, head, random_tube

Rung = tuple[Part, Machine]
Ladder = list[Rung]


class Bounds(NamedTuple):
    """A value is no less than `least` and no more than `most`; home: only for want of a way home it is not known better."""

    least: float
    most: float
    home: bool = False


Law = Callable[[Rung, np.random.Generator], Ladder]
FEWEST, MOST = 2, 5
"""Bends of the parts."""
EACH_ABOUT_WAYS_HOME, EACH_OF_A_CAMPAIGN = 2, 100
"""Ladders of each law; too few of those about ways home, but in a campaign, to see them change anything."""
CHANGED = 0.1
"""The share of a law's ladders that must change the value at least, or the law is not tried."""
LEFT_OUT, LEFT_OUT_FOR_HOME = 0.01, 0.1
"""The shares of the pairs that may be left out because a value is not proved: for any other reason, for want of a way home."""


# Parts and machines


def on_packaged(seed: int) -> Rung | None:
    """A random part on a packaged machine; None if it has too many bends or runs through itself."""
    found = drawn(seed)
    if found is None or not FEWEST <= found.part.n_bends <= MOST:
        return None
    return found.part, found.machine


def on_bender(seed: int) -> Rung:
    """A random part on the roomy bender, with a low floor, a carriage of some size, short ends and boxes about."""
    rng = np.random.default_rng(52_000 + seed)
    ends = rng.uniform(0.0, 450.0, 2)
    part = random_tube(seed, int(rng.integers(FEWEST, MOST + 1)), (float(ends[0]), float(ends[1])))
    carriage = {"name": "carriage", "moves_with": "carriage", "box": {"from": [-300, -90, -120], "to": [0, 90, 110]}}
    machine = bender(
        head("left" if seed % 2 else "right"),
        {
            "head": {"centreline_height": float(rng.integers(450, 900))},
            "carriage": {"finish_released": bool(rng.random() < 0.5), "reach": [150, float(rng.integers(600, 3000))]},
            "solid": [carriage],
        },
    )
    return part, with_boxes(machine, rng)


def with_boxes(machine: Machine, rng: np.random.Generator) -> Machine:
    """The machine with two to four boxes more, at random on both sides of the tube, ahead and behind."""
    data = machine.normalised()
    for i in range(int(rng.integers(2, 5))):
        aside = float(rng.choice([-1.0, 1.0])) * rng.uniform(250.0, 600.0)
        middle = np.array([rng.uniform(-500.0, 700.0), aside, rng.uniform(-400.0, 400.0)])
        half = rng.uniform(30.0, 150.0, 3)
        box = {"from": (middle - half).tolist(), "to": (middle + half).tolist()}
        data["solid"].append({"name": f"box {i}", "moves_with": "frame", "box": box})
    return machine_from_data(data)


def boxed(rung: Rung, rng: np.random.Generator) -> Rung:
    """The part on its machine with boxes about, if there are none yet."""
    part, machine = rung
    return (part, machine) if machine.name == PROFILE["name"] else (part, with_boxes(machine, rng))


def rungs(seed: int) -> Iterator[tuple[str, Rung, np.random.Generator]]:
    """Parts with their machines without end, every other one on a packaged machine, with a generator for each."""
    while True:
        found = on_packaged(seed // 2) if seed % 2 else on_bender(seed // 2)
        if found is not None:
            where = f"packaged {seed // 2}" if seed % 2 else f"bender {seed // 2}"
            yield where, found, np.random.default_rng(53_000 + seed)
        seed += 1


def changed(machine: Machine, table: str, **keys: Any) -> Machine:
    """The machine with keys of one table changed."""
    data = machine.normalised()
    data[table].update(keys)
    return machine_from_data(data)


# Ladders


def larger_clearance(rung: Rung, rng: np.random.Generator) -> Ladder:
    """5 and 15 mm more clearance required than where the value is about to change, if it does within 60 mm."""
    part, machine = boxed(rung, rng)

    def requiring(clearance: float) -> Rung:
        return part, changed(machine, "clearance", required=clearance)

    low, high = machine.clearance.required, machine.clearance.required + 60.0
    least = value(requiring(low))
    if least != value(requiring(high)):
        while high - low > 10.0:
            middle = (low + high) / 2.0
            low, high = (middle, high) if value(requiring(middle)) == least else (low, middle)
    return [requiring(low + more) for more in (0.0, 5.0, 15.0)]


def more_solids(rung: Rung, rng: np.random.Generator) -> Ladder:
    """No solid of the profile, all but one, all; with boxes about a packaged machine too."""
    part, machine = boxed(rung, rng)
    left_out = int(rng.integers(len(machine.solid)))
    all_but_one = tuple(solid for i, solid in enumerate(machine.solid) if i != left_out)
    return [(part, machine.model_copy(update={"solid": solids})) for solids in ((), all_but_one, machine.solid)]


def narrower_reach(rung: Rung, rng: np.random.Generator) -> Ladder:
    """Twice the closest place farther off and the farthest nearer, from a travel that lets the whole tube through."""
    part, machine = rung
    assert machine.carriage is not None
    closest, farthest = machine.carriage.reach
    ladder = [rung]
    for _ in range(2):
        closest += min(float(rng.uniform(0.0, 160.0)), 0.3 * (farthest - closest))
        travel = min(farthest - closest, part.developed_length) * float(rng.uniform(0.02, 0.7))
        farthest = closest + travel
        ladder.append((part, changed(machine, "carriage", reach=[closest, farthest])))
    return ladder


def less_trim(rung: Rung, rng: np.random.Generator) -> Ladder:
    """Up to 400 mm of trim at either end, less at one or both, none."""
    part, machine = rung
    a, b = (float(trim) for trim in rng.integers(0, 400, 2))
    share = float(rng.uniform(0.2, 0.8))
    less = ((a, 0.0), (0.0, b), (share * a, share * b))[int(rng.integers(3))]
    return [(replace(part, trim_a=trims[0], trim_b=trims[1]), machine) for trims in ((a, b), less, (0.0, 0.0))]


def one_clamp_less(rung: Rung, rng: np.random.Generator) -> Ladder:
    """A long clamp with a shorter one, and the long one alone."""
    part, machine = rung
    data = machine.normalised()
    tooling = data["tooling"][machine.tooling.index(machine.tooling_for(part.outside_diameter, float(part.radii[0])))]
    longest = tooling["clamp_lengths"][0]
    longer, shorter = longest * float(rng.uniform(1.3, 3.0)), longest * float(rng.uniform(0.6, 1.0))
    ladder = []
    for clamps in ([longer, shorter], [longer]):
        tooling["clamp_lengths"] = clamps
        ladder.append((part, machine_from_data(data)))
    return ladder


def more_of_a_rod(rung: Rung, rng: np.random.Generator) -> Ladder:
    """No rod; a thin one as long as all the tube, so that its rule never bites; as thick as the mandrel; longer; far longer.

    Every other part is a tray's frame, whose first leg comes to lie across the feed.
    """
    part, machine = tray_frame(rng) if rng.random() < 0.5 else rung
    long = part.developed_length + part.trim_a + part.trim_b + 1.0
    rods = ({"rod_length": long, "rod_diameter": 8.0}, {"rod_length": long},
            {"rod_length": long + float(rng.uniform(100.0, 800.0))}, {"rod_length": long + 8000.0})  # fmt: skip
    without = machine.model_copy(update={"mandrel": None})
    return [(part, without), *((part, changed(machine, "mandrel", **rod)) for rod in rods)]


def tray_frame(rng: np.random.Generator) -> Rung:
    """A rectangle of four bends that is not closed, without stock to spare."""
    a, b, c, d, e = (int(mm) for mm in rng.uniform((250, 260, 1100, 260, 300), (360, 360, 1700, 360, 520)))
    part = part_from_data({
        "name": "tray frame", "units": "mm", "tube": {"outside_diameter": 38.1, "wall": 2, "material": "steel"},
        "shape": {"bend_radius": 76.2, "lra": [[a, 0, 90], [b, 0, 90], [c, 0, 90], [d, 0, 90], [e]]},
        "ends": {"trim_a": 0, "trim_b": 0},
    })  # fmt: skip
    return part, load_machine("canal-workshop")


def more_of_a_mandrel(rung: Rung, rng: np.random.Generator) -> Ladder:
    """Drawn back before the tube is rotated, not drawn back, standing farther past the tangent point."""
    part, machine = rung
    nose, ladder = float(rng.uniform(0.0, 20.0)), list[Rung]()
    for past, back in ((nose, True), (nose, False), (nose + float(rng.uniform(50.0, 160.0)), False)):
        data = changed(machine, "mandrel", draws_back=back).normalised()
        for tooling in data["tooling"]:
            tooling["mandrel"] = {"nose": past}
        ladder.append((part, machine_from_data(data)))
    return ladder


def with_tooling(rung: Rung, **keys: Any) -> Rung:
    """The part on the machine with keys of its tooling changed."""
    part, machine = rung
    data = machine.normalised()
    number = machine.tooling.index(machine.tooling_for(part.outside_diameter, float(part.radii[0])))
    data["tooling"][number].update(keys)
    return part, machine_from_data(data)


def more_section(rung: Rung, rng: np.random.Generator) -> Ladder:
    """No grip section, a short one, one as long as the clamp, a longer one."""
    part, machine = rung
    clamp = machine.tooling_for(part.outside_diameter, float(part.radii[0])).clamp_lengths[-1]
    short, long = clamp * float(rng.uniform(0.3, 0.9)), clamp * float(rng.uniform(1.3, 2.5))
    return [with_tooling(rung, grip_section=made) for made in (False, {"length": short}, {}, {"length": long})]


def less_opening(rung: Rung, rng: np.random.Generator) -> Ladder:
    """A clamp that opens less, its outer face where it was: all that it fills when it is open is filled as well."""
    part, machine = rung
    block = machine.tooling_for(part.outside_diameter, float(part.radii[0])).clamp_block
    outer, ladder = block.width + block.opens, list[Rung]()
    for opens in (block.opens, block.opens * float(rng.uniform(0.5, 0.9)), float(rng.uniform(5.0, 20.0))):
        made = {"width": outer - opens, "height": block.height, "opens": opens}
        ladder.append(with_tooling(rung, clamp_block=made))
    return ladder


def more_rest(rung: Rung, rng: np.random.Generator) -> Ladder:
    """More of the pressure die must be left behind the tangent point; the die as a solid stays as it is."""
    part, machine = rung
    tooling = machine.tooling_for(part.outside_diameter, float(part.radii[0]))
    left = tooling.pressure_die_length - tooling.bend_radius * 1.03 * float(part.angles.max())
    rests = sorted(max(0.0, left + float(more)) for more in rng.uniform(-60.0, 60.0, 2))
    return [with_tooling(rung, pressure_rest=rest, pressure_die_follows=True) for rest in (0.0, *rests)]


def fewer_ways_home(rung: Rung, rng: np.random.Generator) -> Ladder:
    """Home with the tube and past one that is run forward, one of them, neither."""
    part, machine = rung
    one = bool(rng.random() < 0.5)
    ways = ((True, True), (one, not one), (False, False))
    return [(part, changed(machine, "head", homes_with_tube=a, may_ease_off=b)) for a, b in ways]


BY_RULES_AND_STRIKES: tuple[Law, ...] = (larger_clearance, more_solids, narrower_reach, less_trim, one_clamp_less)
ABOUT_WAYS_HOME: tuple[Law, ...] = (
    more_of_a_rod,
    more_of_a_mandrel,
    more_section,
    less_opening,
    more_rest,
    fewer_ways_home,
)
LAWS = BY_RULES_AND_STRIKES + ABOUT_WAYS_HOME
BY_DEFAULT: dict[Law, tuple[int, ...]] = {
    larger_clearance: (0, 2, 3, 4, 6, 7),
    more_solids: (0, 1, 3, 5, 6, 7),
    narrower_reach: (1, 2, 3, 4, 5, 6),
    less_trim: (0, 1, 2, 3, 6, 7),
    one_clamp_less: (0, 1, 2, 3, 5, 6),
}
"""Which ladders of a law are climbed where no campaign is asked for: soon planned, and of each law two or more that change."""


# Values


@dataclass(frozen=True)
class Climbed:
    """A ladder and the value of each rung: no less than, and no more than."""

    name: str
    ladder: Ladder
    values: tuple[Bounds, ...]

    @property
    def pairs(self) -> list[tuple[Bounds, Bounds]]:
        """The values of every two rungs, the easier one's first."""
        return list(combinations(self.values, 2))

    @property
    def falls(self) -> bool:
        return any(easy.least > hard.most for easy, hard in self.pairs)

    @property
    def changes(self) -> bool:
        return len({bounds.most for bounds in self.values}) > 1

    @property
    def words(self) -> str:
        return f"{self.name}: {self.values}, {self.ladder[0][0].normalised()}"


def value(rung: Rung) -> Bounds:
    """The re-clamps that a part is proved to need, and those of its plan, infinite where it has none."""
    made = plan(*rung)
    if made.verdict == "not makeable":
        return Bounds(math.inf, math.inf)
    most = math.inf if made.reclamps is None else float(made.reclamps)
    if made.verdict == "makeable" and made.proved.reclamps:
        return Bounds(most, most)
    unproved = [reason.sentence for reason in made.reasons if reason.grade == "unproved"]
    return Bounds(0.0, most, all("arm cannot go home" in sentence for sentence in unproved))


def climbed(law: Law, numbers: Sequence[int]) -> list[Climbed]:
    """The ladders of a law with these numbers, each from a part of its own."""
    found: list[Climbed] = []
    for number, (where, rung, rng) in enumerate(islice(rungs(10_000 * LAWS.index(law)), max(numbers) + 1)):
        if number in numbers:
            ladder = law(rung, rng)
            found.append(Climbed(f"{law.__name__}, {where}", ladder, tuple(map(value, ladder))))
    return found


@pytest.fixture(scope="module")
def all_climbed(campaign: bool) -> dict[Law, list[Climbed]]:
    """Every law's ladders with their values."""
    if campaign:
        return {law: climbed(law, range(EACH_OF_A_CAMPAIGN)) for law in LAWS}
    return {law: climbed(law, BY_DEFAULT.get(law, range(EACH_ABOUT_WAYS_HOME))) for law in LAWS}


@pytest.mark.parametrize("law", LAWS)
def test_what_is_made_more_difficult_never_needs_fewer_reclamps_nor_becomes_possible(
    law: Law, all_climbed: dict[Law, list[Climbed]]
) -> None:
    assert [one.words for one in all_climbed[law] if one.falls] == []


@pytest.mark.parametrize("law", LAWS)
def test_the_value_really_changes_on_some_of_the_ladders(law: Law, all_climbed: dict[Law, list[Climbed]]) -> None:
    """Or the law could not be seen broken; and on some from possible to impossible, but where a hand can always help."""
    ladders = all_climbed[law]
    if law is more_of_a_rod:  # without a mandrel nothing is proved, so no value is known there
        assert sum(one.values[0].least < one.values[-1].least for one in ladders) >= CHANGED * len(ladders)
        return
    changing = [one for one in ladders if one.changes]
    if law in ABOUT_WAYS_HOME and len(ladders) == EACH_ABOUT_WAYS_HOME:
        return
    assert len(changing) >= max(2.0, CHANGED * len(ladders)), [one.values for one in ladders]
    assert law is fewer_ways_home or any(math.inf in bounds for one in changing for bounds in one.values), [
        one.values for one in ladders
    ]


def test_hardly_a_pair_is_left_out(all_climbed: dict[Law, list[Climbed]]) -> None:
    """Because one of its values is not proved. That there is no way home often is not: few are tried, walls are rare."""
    ladders = [one for law in BY_RULES_AND_STRIKES for one in all_climbed[law]]
    pairs = [pair for one in ladders for pair in one.pairs]
    left_out = [any(b.least < b.most for b in pair) for pair in pairs]
    for_home = [any(b.home for b in pair) for pair in pairs]
    words = [one.words for one in ladders if any(b.least < b.most for b in one.values)]
    assert sum(o and not h for o, h in zip(left_out, for_home, strict=True)) <= LEFT_OUT * len(pairs), words
    assert sum(for_home) <= LEFT_OUT_FOR_HOME * len(pairs), words
