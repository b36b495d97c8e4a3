"""What would make a part possible: every change is planned again, and a millimetre less of it does not do."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.advice.alterations import PartOnMachine, alterations, altered
from planner.advice.changes import RANKS, changes
from planner.advice.costs import NOT_TO_THE_END
from planner.advice.scan import FIRST_STEP, KnownVerdicts, LeastAmount, least
from planner.inputs.files import load_machine, load_part, machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Change, Plan, Single
from planner.wording.say import say
from tests.plan.random_parts import Drawn, drawn, parts
from tests.plan.shop import DIAMETER, RADIUS, bender, tube

ROOT = Path(__file__).resolve().parents[2]

IN_A_CAMPAIGN = 100
"""Random impossible parts that advice is asked for in a campaign."""

BY_DEFAULT = (6, 18, 30)
"""Seeds of those that it is asked for by default: one change helps, or only two together, and each is soon tried."""

MOST_BENDS = 5
"""The most bends that they have then."""

FEWEST_PLANNED = 20
"""So many smaller amounts, at least, must have been planned where the smallest is claimed of random parts."""


@dataclass(frozen=True)
class Advised:
    """A part that is not makeable, and what would make it so."""

    name: str
    part: Part
    machine: Machine
    found: tuple[Change, ...]


def impossible(campaign: bool) -> Iterator[Drawn]:
    """Random parts that planning does not find makeable."""
    if not campaign:
        yield from filter(None, map(drawn, BY_DEFAULT))
        return
    few = (one for one in parts(10_000) if one.part.n_bends <= MOST_BENDS)
    yield from itertools.islice(
        (one for one in few if plan(one.part, one.machine).verdict != "makeable"), IN_A_CAMPAIGN
    )


@pytest.fixture(scope="module")
def advised(campaign: bool) -> list[Advised]:
    """Random impossible parts with their changes."""
    return [Advised(one.name, one.part, one.machine, changes(one.part, one.machine)) for one in impossible(campaign)]


@pytest.fixture(scope="module")
def examples() -> dict[str, Advised]:
    """The impossible examples with their changes, the other packaged machines offered."""
    found = {}
    others = [load_machine(name) for name in ("canal-workshop", "three-axis")]
    for name in ("tiller-bracket", "loft-rail"):
        part = load_part(ROOT / "examples" / f"{name}.toml")
        assert part.machine is not None
        machine = load_machine(part.machine)
        found[name] = Advised(name, part, machine, changes(part, machine, others))
    return found


def planned(change: Change) -> list[Plan]:
    """Plan what a change says it planned, read back from its documents."""
    machine = machine_from_data(change.machine)
    return [plan(part_from_data(part), machine) for part in change.parts]


def made(part: Part, machine: Machine, *singles: tuple[Single | Change, int]) -> Plan:
    """Plan a part with changes made, each of so much."""
    job = PartOnMachine(part, machine)
    for single, amount in singles:
        if amount > 0:
            job = altered(job, single.kind, single.where, amount)
    return plan(job.part, job.machine)


def singles_of(change: Change) -> list[Single | Change]:
    return [change] if change.also is None else [change, change.also]


def of_amount(advised: list[Advised]) -> Iterator[tuple[Advised, Change]]:
    """The changes that have an amount which can be less."""
    for one in advised:
        for change in one.found:
            if change.kind not in ("another machine", "two pieces"):
                yield one, change


def differences(before: Any, after: Any, at: str = "") -> dict[str, tuple[Any, Any]]:
    """Where two documents differ, with what stands there in each."""
    if isinstance(before, dict) and isinstance(after, dict):
        keys = [*before, *(key for key in after if key not in before)]
        pairs = {key: (before.get(key), after.get(key)) for key in keys}
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        pairs = {str(i): pair for i, pair in enumerate(zip(before, after, strict=True))}
    else:
        return {} if before == after else {at: (before, after)}
    found: dict[str, tuple[Any, Any]] = {}
    for key, (one, other) in pairs.items():
        found |= differences(one, other, f"{at}.{key}".lstrip("."))
    return found


def expected(change: Single | Change, part: Part, machine: Machine) -> dict[str, float]:
    """By how much each number of the two documents differs that this change is to touch, by its key."""
    by = change.amount
    if change.kind == "trim":
        return {f"ends.trim_{change.where[-1].lower()}": by}
    if change.kind == "clearance":
        return {"clearance.required": -by}
    if change.kind == "carriage travel":
        return {"carriage.reach.0": -by} if change.where == "closest" else {"carriage.reach.1": by}
    if change.kind == "rod":
        # Whatever stands about the rod's anchored end goes back with it.
        touched = {"mandrel.rod_length": by}
        for i, solid in enumerate(machine.normalised()["solid"]):
            end = -machine.mandrel.rod_length if machine.mandrel is not None else math.nan
            if solid["name"] == "rod anchor" and solid["box"]["from"][0] <= end <= solid["box"]["to"][0]:
                touched |= {f"solid.{i}.box.from.0": -by, f"solid.{i}.box.to.0": -by}
        return touched
    if change.kind == "pressure die":
        sizes = [(tooling.tube_diameter, tooling.bend_radius) for tooling in machine.tooling]
        used = [i for i, (size, radius) in enumerate(sizes) if size == part.outside_diameter and radius in part.radii]
        return {f"tooling.{i}.pressure_die_length": by for i in used}
    if change.kind == "machine raised":
        touched = {"head.centreline_height": by}
        floor = -machine.head.centreline_height
        for i, solid in enumerate(machine.normalised()["solid"]):
            if solid["moves_with"] == "frame" and "box" in solid and solid["box"]["from"][2] <= floor:
                touched[f"solid.{i}.box.from.2"] = -by
            if solid["moves_with"] == "frame" and "cylinder" in solid and solid["cylinder"]["z"][0] <= floor:
                touched[f"solid.{i}.cylinder.z.0"] = -by
        return touched
    assert change.kind == "straight longer"
    return {f"shape.lra.{change.where.split()[1]}.0": by}


def test_every_change_of_random_impossible_parts_makes_them_makeable_as_it_says(advised: list[Advised]) -> None:
    assert sum(bool(one.found) for one in advised) > 0.8 * len(advised)
    for one in advised:
        for change in one.found:
            plans = planned(change)
            assert {made.verdict for made in plans} == {change.verdict} == {"makeable"}, one.name
            assert sum(made.reclamps or 0 for made in plans) == change.reclamps, one.name
            trims = [made.stock.trim_a + made.stock.trim_b for made in plans if made.stock is not None]
            assert math.fsum(trims) == change.trim, one.name
            assert min(made.smallest_clearance or math.inf for made in plans) == change.smallest_clearance, one.name


def test_a_millimetre_less_of_a_change_leaves_random_parts_impossible_or_undecided(advised: list[Advised]) -> None:
    asked = 0
    for one, change in of_amount(advised):
        singles = singles_of(change)
        for less in singles:
            amounts = [(single, int(single.amount) - (single is less)) for single in singles]
            verdict = made(one.part, one.machine, *amounts).verdict
            assert verdict != "makeable", (one.name, change.sentence)
            if less.smallest:
                assert verdict == "not makeable", (one.name, change.sentence)
            asked += 1
    assert asked >= len(advised)


def test_what_is_called_the_smallest_is_more_than_every_whole_millimetre_that_planning_rules_out(
    advised: list[Advised], campaign: bool
) -> None:
    asked = 0
    enough = 3000 if campaign else 60
    for one, change in of_amount(advised):
        if change.also is None and change.smallest and asked + change.amount <= enough:
            for amount in range(1, int(change.amount)):
                verdict = made(one.part, one.machine, (change, amount)).verdict
                assert verdict == "not makeable", (one.name, change.sentence, amount)
                asked += 1
    assert asked >= FEWEST_PLANNED


def test_what_is_not_proposed_does_not_help_as_far_as_it_goes(advised: list[Advised], campaign: bool) -> None:
    asked = 0
    for one in advised if campaign else advised[:5]:
        if any(change.also is not None or change.kind == "two pieces" for change in one.found):
            continue
        proposed = {(change.kind, change.where) for change in one.found}
        job = PartOnMachine(one.part, one.machine)
        for alteration in alterations(job):
            if alteration.nested and (alteration.kind, alteration.where) not in proposed:
                most = alteration.made(job, alteration.most)
                assert plan(most.part, most.machine).verdict != "makeable", (one.name, alteration)
                asked += 1
    assert asked >= 3


def test_nothing_but_what_a_change_says_differs_from_the_part_and_the_machine(advised: list[Advised]) -> None:
    kinds = set()
    for one, change in of_amount(advised):
        before = {**one.machine.normalised(), "part": None, **{k: one.part.normalised()[k] for k in ("shape", "ends")}}
        after = {**change.machine, "part": None, **{k: change.parts[0][k] for k in ("shape", "ends")}}
        found = differences(before, after)
        wanted: dict[str, float] = {}
        for single in singles_of(change):
            kinds.add(single.kind)
            if single.kind == "clamp":
                clamps = [found.pop(key) for key in list(found) if re.fullmatch(r"tooling\.\d+\.clamp_lengths", key)]
                for had, has in clamps:
                    assert has == [*had, min(had) - single.amount]
                    shortest = has[-1]
                grips = [found.pop(key) for key in list(found) if re.fullmatch(r"tooling\.\d+\.shortest_grip", key)]
                assert len(clamps) == 1
                assert all(has == shortest < had for had, has in grips)
            else:
                if single.kind == "carriage travel":  # where it waits is kept, and said
                    had, has = found.pop("carriage.stand_back", (None, None))
                    assert had in (None, has)
                    assert one.machine.carriage is not None
                    assert has in (None, one.machine.carriage.waits_at)
                wanted |= expected(single, one.part, one.machine)
        assert {key: round(has - had, 6) for key, (had, has) in found.items()} == wanted, one.name
    assert len(kinds) >= 3


def test_two_pieces_are_the_part_cut_through_one_straight(advised: list[Advised]) -> None:
    rail, rack = long_rail_and_short_rod()
    (only,) = changes(rail, rack)
    cut = [(one.part, change) for one in advised for change in one.found if change.kind == "two pieces"]
    for whole, change in [*cut, (rail, only)]:
        first, second = (part_from_data(document) for document in change.parts)
        k = int(change.where.split()[1])
        assert (first.n_bends, second.n_bends) == (k, whole.n_bends - k)
        assert first.straights[-1] == change.amount
        assert first.straights[-1] + second.straights[0] == pytest.approx(whole.straights[k], abs=1e-9)
        inner = [*first.straights[:-1], *second.straights[1:]]
        np.testing.assert_allclose(inner, np.delete(whole.straights, k), atol=1e-9)
        np.testing.assert_array_equal([*first.angles, *second.angles], whole.angles)
        np.testing.assert_array_equal(first.rotations, whole.rotations[:k])
        np.testing.assert_array_equal(second.rotations, [0.0, *whole.rotations[k + 1 :]])


def test_the_list_begins_with_what_touches_least(advised: list[Advised], examples: dict[str, Advised]) -> None:
    several = 0
    for one in [*advised, *examples.values()]:
        ranks = [max(RANKS.index(single.kind) for single in singles_of(change)) for change in one.found]
        assert ranks == sorted(ranks), one.name
        several += len(set(ranks)) > 1
        assert len({change.also is None for change in one.found}) <= 1, "pairs only where nothing helps by itself"
        assert len({change.kind == "two pieces" for change in one.found}) <= 1, "in two only where nothing else helps"
    assert several > 0


def test_sentences_have_numbers_with_units(advised: list[Advised], examples: dict[str, Advised]) -> None:
    for one in [*advised, *examples.values()]:
        for change in one.found:
            assert re.search(r"\d mm", change.sentence), change.sentence
            for single in singles_of(change):
                if single.kind != "another machine":
                    assert f"{single.amount:.1f} mm" in change.sentence, change.sentence
            assert f"{change.trim:.1f} mm of trim" in change.sentence
            assert ("proved too little" in change.sentence) == all(s.smallest for s in singles_of(change)) or (
                change.kind in ("another machine", "two pieces")
            )


@pytest.mark.parametrize("name", ["tiller-bracket", "loft-rail"])
def test_each_impossible_example_has_a_verified_change(examples: dict[str, Advised], name: str) -> None:
    one = examples[name]
    assert one.found
    for change in one.found:
        assert [made.verdict for made in planned(change)] == ["makeable"]
        if change.kind != "another machine":
            assert made(one.part, one.machine, (change, int(change.amount) - 1)).verdict != "makeable"


def test_the_tiller_bracket_wants_its_straight_as_long_as_the_shortest_clamp(examples: dict[str, Advised]) -> None:
    one = examples["tiller-bracket"]
    longer = [change for change in one.found if change.kind == "straight longer"]
    assert [(change.where, change.amount, change.smallest) for change in longer] == [("straight 1", 76.0 - 55.0, True)]
    for amount in range(1, 21):
        assert made(one.part, one.machine, (longer[0], amount)).verdict == "not makeable"


def test_the_loft_rail_goes_on_another_machine_or_over_a_pit(examples: dict[str, Advised]) -> None:
    found = [(change.kind, change.where) for change in examples["loft-rail"].found]
    assert ("another machine", load_machine("canal-workshop").name) in found
    assert ("machine raised", "floor") in found


# What must come out is worked out by hand here, from the bender's numbers in `tests/plan/shop.py`.

OVER = RADIUS * math.radians(11.0 + 50.0 * 144.0 / 140.0 - 60.0)
"""What the tube is drawn on by setting a bend of 60° so much further [mm]."""


def davit_and_bender(height: float, required: float = 10.0) -> tuple[Part, Machine]:
    """Either leg hangs straight down while the other bend is made; its flat end is its lowest place."""
    machine = bender({"head": {"centreline_height": height}, "clearance": {"required": required}})
    return tube([900, 250, 900], [0, 90], [90, 90], name="davit"), machine


LOWEST = 900.0 + RADIUS
"""How far below the centreline the davit's leg ends [mm]."""


def listed(found: tuple[Change, ...]) -> dict[tuple[str, str], float]:
    """The single changes by kind and place; each must be called the smallest.

    Not so a longer rod: what is no help to a shorter one may strike a longer.
    """
    assert all(change.smallest == (change.kind != "rod") and change.also is None for change in found)
    return {(change.kind, change.where): change.amount for change in found}


def test_the_machine_is_raised_by_what_the_leg_hangs_too_low() -> None:
    found = listed(changes(*davit_and_bender(900.0)))
    assert found["machine raised", "floor"] == math.ceil(LOWEST + 10.0 - 900.0)


def test_the_clearance_is_lowered_by_what_the_leg_hangs_too_low() -> None:
    height = LOWEST + 10.0 - 3.4
    found = listed(changes(*davit_and_bender(height)))
    assert found["clearance", "machine and floor"] == 4.0
    assert found["machine raised", "floor"] == 4.0


def test_what_is_too_close_to_call_is_not_called_impossible() -> None:
    part, machine = davit_and_bender(LOWEST - 0.05)
    machine = machine.model_copy(update={"clearance": machine.clearance.model_copy(update={"required": 0.0})})
    assert plan(part, machine).verdict == "undecided"
    found = {(change.kind, change.where): change for change in changes(part, machine)}
    assert found["machine raised", "floor"].amount == 1.0
    assert not found["machine raised", "floor"].smallest


def test_trim_and_the_collet_make_up_for_a_tail_that_is_too_short() -> None:
    missing = math.ceil(150.0 + 40.0 + OVER - 100.0)
    found = listed(changes(tube([100, 200, 100], [0, 0], [60, 60]), bender()))
    assert found == {
        ("trim", "end A"): missing,
        ("trim", "end B"): missing,
        ("carriage travel", "closest"): missing,
    }


def test_a_pair_is_proposed_where_both_ends_are_too_short() -> None:
    found = changes(tube([20, 200, 20], [0, 0], [60, 60]), bender())
    (pair,) = [change for change in found if change.kind == "trim"]
    assert pair.also is not None
    amounts = {pair.where: pair.amount, pair.also.where: pair.also.amount}
    assert sorted(amounts.values()) == [50.0 - 20.0, math.ceil(150.0 + 40.0 + OVER - 20.0)]
    assert set(amounts) == {"end A", "end B"}
    assert pair.smallest
    assert pair.also.smallest


def test_the_rod_is_made_as_long_as_the_tube_behind_the_bend() -> None:
    found = listed(changes(tube([300, 300], [0], [60]), bender({"mandrel": {"rod_length": 300}})))
    assert found == {("rod", "rod"): math.ceil(300.0 + RADIUS * math.radians(60.0) - 300.0)}


def test_the_carriage_travels_as_far_as_the_bend_draws_the_tube() -> None:
    drawn = RADIUS * math.radians(60.0) + OVER
    found = listed(changes(tube([300, 300], [0], [60]), bender({"carriage": {"reach": [150, 200]}})))
    missing = math.ceil(drawn - 50.0)
    assert found == {("carriage travel", "closest"): missing, ("carriage travel", "farthest"): missing}


def test_more_travel_is_not_taken_to_help_where_a_wall_stands_behind_the_tail() -> None:
    """Once the carriage reaches the end of the whole tube, that tube is loaded with its end at the tangent point, and
    laying it in farther forward is not tried."""
    wall = {"name": "wall", "moves_with": "frame", "box": {"from": [-900, -500, -500], "to": [-420, 500, 500]}}
    part, machine = tube([300, 300], [0], [60]), bender({"carriage": {"reach": [150, 200]}, "solid": [wall]})
    stock, collet = 600.0 + RADIUS * math.radians(60.0), 40.0
    flush = math.ceil(stock - collet - 200.0)
    travel = {alteration.where: alteration for alteration in alterations(PartOnMachine(part, machine))}
    assert plan(part, travel["farthest"].made(PartOnMachine(part, machine), flush - 1).machine).verdict == "makeable"
    assert plan(part, travel["farthest"].made(PartOnMachine(part, machine), flush).machine).verdict == "undecided"
    found = listed(changes(part, machine))
    missing = math.ceil(RADIUS * math.radians(60.0) + OVER - 50.0)
    assert found["carriage travel", "farthest"] == missing


def test_a_part_of_a_millimetre_of_trim_that_is_allowed_may_be_what_helps() -> None:
    """With half a millimetre allowed besides whole ones the tail is long enough and the rod too; with 94 mm it is not."""
    needed = 150.0 + 40.0 + OVER - 100.0
    assert 93.0 < needed < 93.5
    rod = RADIUS * math.radians(60.0) + 100.0 + 93.7
    part = tube([100, 100], [0], [60], trims=(0.0, 0.5))
    machine = bender({"mandrel": {"rod_length": rod}})
    for amount, verdict in ((92, "not makeable"), (93, "makeable"), (94, "not makeable")):
        job = altered(PartOnMachine(part, machine), "trim", "end B", amount)
        assert plan(job.part, job.machine).verdict == verdict
    assert listed(changes(part, machine))["trim", "end B"] == 93.0


def test_a_clamp_or_a_straight_makes_up_for_a_straight_that_no_clamp_fits() -> None:
    found = listed(changes(tube([300, 50, 300], [0, 90], [60, 60]), bender()))
    assert found == {("clamp", "clamp die"): 60.0 - 50.0, ("straight longer", "straight 1"): 60.0 - 50.0}


def test_a_change_of_few_millimetres_is_asked_about_as_far_as_it_goes() -> None:
    """No rule speaks of the floor, and the first step of a scan is longer than all that this one may be lowered."""
    for missing, smallest in ((6.5, True), (6.2, True)):  # less than 0.15 mm missing is taken as kept
        job = PartOnMachine(*davit_and_bender(LOWEST + 10.0 - missing))
        (raised,) = [alteration for alteration in alterations(job) if alteration.kind == "machine raised"]
        few = replace(raised, most=FIRST_STEP - 5, nested=False)
        assert least(KnownVerdicts(), few, job) == LeastAmount(7, smallest)


def test_a_way_that_took_the_clamp_that_is_made_shorter_is_sought_anew() -> None:
    """Of random parts: a shorter clamp helped, and the plan with it was tried with a clamp that was no longer there."""
    part = part_from_data({
        "name": "short straights", "units": "mm",
        "tube": {"outside_diameter": 25.4, "wall": 1.5, "material": "steel"},
        "shape": {"bend_radius": 50.8, "lra": [[669, 0, 30], [147, -126, 90], [184, -71, 60], [50, 180, 45],
                                               [72, -55, 16], [720]]},
        "ends": {"trim_a": 0, "trim_b": 0},
    })  # fmt: skip
    found = [change for change in changes(part, load_machine("canal-workshop")) if change.kind == "clamp"]
    assert [change.verdict for change in found] == ["makeable"]


def test_no_clamp_shorter_than_the_tube_is_thick_is_proposed() -> None:
    found = listed(changes(tube([300, math.floor(DIAMETER), 300], [0, 90], [60, 60]), bender()))
    assert set(found) == {("straight longer", "straight 1")}


def long_rail_and_short_rod() -> tuple[Part, Machine]:
    """Whichever end leads, some 4 m of tube go over a rod of 400 mm; in two pieces the short ends do."""
    return tube([3900, 300, 3900], [0, 0], [60, 60], name="long rail"), bender({"mandrel": {"rod_length": 400}})


def test_where_nothing_else_helps_the_part_is_made_in_two_pieces() -> None:
    (only,) = changes(*long_rail_and_short_rod())
    assert (only.kind, only.where, only.amount) == ("two pieces", "straight 1", 150.0)
    assert only.trim == 2.0 * math.ceil(150.0 + 40.0 + OVER - 150.0)
    assert "150.0 mm from bend 1" in only.sentence


def test_a_bender_without_tooling_for_the_tube_leaves_only_another_machine() -> None:
    part = tube([300, 150, 300], [0, 90], [60, 60])
    foreign = bender({"name": "other tooling", "tooling": {"bend_radius": 100}})
    (only,) = changes(part, foreign, [foreign, bender()])
    assert (only.kind, only.where) == ("another machine", "test bender")


def test_nothing_is_proposed_for_what_can_be_made_or_what_no_change_helps() -> None:
    assert changes(tube([300, 150, 300], [0, 90], [60, 60]), bender(), [bender({"name": "other"})]) == ()
    assert changes(tube([300, 300], [0], [170]), bender({"head": {"largest_angle": 150}})) == ()


def test_the_same_question_gives_the_same_answer_and_what_was_verified_by_the_time_limit_is_returned() -> None:
    part, machine = davit_and_bender(900.0)
    told: list[str] = []
    assert changes(part, machine, time_limit=0.0, report=told.append) == ()
    assert told[-1] == say(NOT_TO_THE_END)
    whole = changes(part, machine)
    assert changes(part, machine, time_limit=600.0) == whole
