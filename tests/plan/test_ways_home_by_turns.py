"""Where no closed form brings the arm home, arm and tube take turns; where that leads nowhere either, it is proved.

The parts are random ones that were once undecided. What is planned for them is replayed from its document alone, with
coal's distances (https://github.com/coal-library/coal), and audited; what is proved is held against ways by chance and
against the brute force, which cuts the plane of arm and advance by itself.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from planner.audit.proof import audit_proof
from planner.cuts.strike_cuts import Struck
from planner.feasibility.bend_check import home_motions
from planner.feasibility.bend_checks import clear_with
from planner.feasibility.homing import HomeLeg, WayHome
from planner.planning import plan
from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document
from tests.plan.brute_force.all_orders import BruteForce
from tests.plan.random_parts import drawn
from tests.plan.replay.carrying_out import CarryingOut
from tests.plan.replay.clearances import Clearances
from tests.plan.workpiece import Document

BY_TURNS = (101068, 102231, 110198)
"""Seeds of parts that go with the tube run forward by less, or by more, than any closed form says."""

CORNERED = (101270, 101273)
"""Seeds of parts where arm and tube cannot leave the corner of the plane in which the bend has left them."""

PAST_HOME = (100217, 102287)
"""Seeds of parts where the arm is kept from the last of its way, home itself."""

CHANCES = 60
"""Ways home by chance that are certified against each wall."""


@cache
def planned(seed: int) -> tuple[Plan, Evidence]:
    one, evidence = drawn(seed), Evidence()
    assert one is not None
    return plan(one.part, one.machine, evidence=evidence), evidence


def written(seed: int) -> Document:
    made, evidence = planned(seed)
    found: Document = json.loads(json.dumps(proof_document(made, evidence)))
    return found


@pytest.mark.parametrize("seed", [*BY_TURNS, *CORNERED, *PAST_HOME])
def test_what_is_found_of_the_plane_of_arm_and_advance_is_confirmed_by_the_auditor(seed: int) -> None:
    made, evidence = planned(seed)
    assert made.verdict == ("makeable" if seed in BY_TURNS else "not makeable")
    assert made.verdict == "not makeable" or (evidence.search is not None and evidence.search.checks.batches.harder)
    audited = audit_proof(written(seed))
    assert audited.confirmed, audited.sentence


@pytest.mark.parametrize("seed", BY_TURNS)
def test_a_way_home_by_turns_is_clear_where_it_is_replayed(seed: int) -> None:
    document = json.loads(planned(seed)[0].to_json())
    assert not Clearances(document, CarryingOut(document).carry_out()).wrong


@pytest.mark.parametrize("seed", CORNERED)
def test_no_way_home_by_chance_leads_out_of_a_corner_that_is_walled_off(seed: int) -> None:
    _, evidence = planned(seed)
    assert evidence.search is not None
    batches, rng, tried = evidence.search.checks.batches, np.random.default_rng(seed), 0
    for nogood in evidence.search.nogoods:
        struck = nogood.evidence
        if not isinstance(struck, Struck):
            continue
        for wall in (wall for wall in struck.walls if wall.side):
            attempt = struck.attempt
            for _ in range(CHANCES):
                way = by_chance(rng, attempt.station.setting, wall.span[1], attempt.off)
                motions = home_motions(attempt, way)
                answers = batches.certified([(attempt, motion) for motion in motions])
                assert not clear_with(list(zip(motions, answers, strict=True)), [wall.clamp]), (seed, way)
                tried += 1
    assert tried >= CHANCES


def by_chance(rng: np.random.Generator, setting: float, shut: float, off: float | None) -> WayHome:
    """A way home, or off past the standing arm, in up to five turns, its advances about where the tube is shut in."""
    by_hand = off is not None
    drawn_off = by_hand and rng.random() < 0.3
    turns = int(rng.integers(1, 6))
    arms = [setting, *sorted(rng.uniform(0.0, setting, turns), reverse=True)]
    farthest = 2.0 * shut if off is None else min(2.0 * shut, off)
    advances = [0.0, *sorted(rng.uniform(0.0, farthest, turns))]
    if drawn_off:
        advances[-1] = float(off or 0.0)
    else:
        arms[-1] = 0.0
    legs = []
    for k in range(turns):
        legs.append(HomeLeg((arms[k], arms[k]), (advances[k], advances[k + 1])))
        if not (drawn_off and k == turns - 1):
            legs.append(HomeLeg((arms[k], arms[k + 1]), (advances[k + 1], advances[k + 1])))
    return WayHome(tuple(legs), by_hand, drawn_off)


def sides(document: Document) -> list[Document]:
    """All walls with a side in a proof."""
    found = [
        entry["wall"] for no_good in document["no_goods"] for entry in no_good.get("clamps", ()) if "wall" in entry
    ]
    return [wall for wall in found if "side" in wall]


def left_out(wall: Document) -> None:
    del wall["side"]


def empty(wall: Document) -> None:
    wall["side"] = []


def without_the_last(wall: Document) -> None:
    wall["side"] = sorted(wall["side"], key=lambda strike: strike["arm"])[:-1]


def farther(wall: Document) -> None:
    wall["side"][0]["advance"] += 4.0


def all_farther(wall: Document) -> None:
    for strike in wall["side"]:
        strike["advance"] += 60.0


def nearer_home(wall: Document) -> None:
    for strike in wall["side"]:
        strike["arm"] *= 0.8


def of_the_pressure_die(wall: Document) -> None:
    wall["side"][0]["solid"] = "pressure die"


def without_its_first_strike(wall: Document) -> None:
    del wall["strikes"][0]


@pytest.mark.parametrize(
    "forge",
    [
        left_out, empty, without_the_last, farther, all_farther, nearer_home, of_the_pressure_die,
        without_its_first_strike,
    ],
)  # fmt: skip
@pytest.mark.parametrize("seed", CORNERED)
def test_a_corner_with_a_gap_is_refused(seed: int, forge: Callable[[Document], None]) -> None:
    document = written(seed)
    assert sides(document)
    for wall in sides(document):
        forge(wall)
    assert not audit_proof(document).confirmed


def test_the_brute_force_finds_no_way_home_either() -> None:
    one = drawn(CORNERED[0])
    assert one is not None
    assert math.isinf(BruteForce(one.part, one.machine).found().most)


def test_a_tube_may_be_rotated_where_the_way_home_has_left_it() -> None:
    """Drawn back, the mandrel lets it; from there it goes no farther straight on, and this part was once undecided."""
    made, _ = planned(101920)
    assert made.verdict == "makeable"
    document = json.loads(made.to_json())
    assert not Clearances(document, CarryingOut(document).carry_out()).wrong
