"""The film of a plan against the plan document carried out on the tests' own simulated tube."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from planner import Plan, load_machine, load_part, plan
from planner.page.plan_shots import LAYS_IN, plan_film
from tests.page.benches import BENCHES, CarriedOut, makeable
from tests.page.walker import places
from tests.plan.shop import RADIUS, tube
from tests.plan.test_passes import with_both_dies

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))

ARM, FACE, PRESSURE, DROP = 2, 3, 4, 7
"""Places in a pose."""


def fine(made: Plan) -> bool:
    """Whether the readouts show every digit, so that the film has to agree to rounding of the document."""
    return bool(made.machine["advance"]["resolution"] < 1e-3)


def farthest_off(made: Plan) -> float:
    """The largest distance between film and simulated tube before or after any step [mm]."""
    document = made.as_dict()
    tube = CarriedOut(document)
    tube.carry_out()
    film = plan_film(made).as_dict()
    off = 0.0
    for k, (shot, step) in enumerate(zip(film["shots"], document["steps"], strict=True)):
        there = [(shot["poses"][-1], tube.stood[2 * k + 1])]
        if step["action"] not in LAYS_IN:  # in free hands until then
            there.append((shot["poses"][0], tube.stood[2 * k]))
        for pose, marks in there:
            if marks is not None:
                off = max(off, float(np.abs(places(film, shot["leads"], pose, tube.marks) - marks).max()))
    return off


def allowed(made: Plan) -> float:
    """What readings rounded to their resolution may shift, and what the words of a laying in leave open [mm]."""
    document = made.as_dict()
    bends, length = len(document["order"]), document["stock"]["cut_length"]
    laid_in = (document["turns"] + document["reloads"]) * (0.05 + math.radians(0.05) * length)
    if fine(made):
        return float(1e-5 * length + laid_in)
    along = (bends + 1) * document["machine"]["advance"]["resolution"]
    around = math.radians(document["machine"]["rotation"]["resolution"]) * bends * length
    return float(along + around + laid_in)


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    """A plan on every bench."""
    return {bench: makeable(bench)[0] for bench in BENCHES}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_film_of_an_example_shows_the_tube_where_its_steps_bring_it(path: Path) -> None:
    part = load_part(path)
    assert part.machine is not None
    made = plan(part, load_machine(part.machine))
    assert len(plan_film(made).shots) == len(made.steps)
    if made.verdict == "makeable":
        assert farthest_off(made) <= allowed(made)


@pytest.mark.parametrize("bench", BENCHES)
def test_the_films_of_random_plans_show_the_tube_where_the_steps_bring_it(plans: dict[str, Plan], bench: str) -> None:
    made = plans[bench]
    assert farthest_off(made) <= allowed(made)


def test_carriage_and_arm_stand_where_the_steps_bring_them(plans: dict[str, Plan]) -> None:
    for bench, made in plans.items():
        tube = CarriedOut(made.as_dict())
        tube.carry_out()
        near = 1e-5 if fine(made) else len(made.order) * made.machine["advance"]["resolution"]
        for k, (shot, step) in enumerate(zip(plan_film(made).shots, made.steps, strict=True)):
            for pose, place in ((shot.poses[0], 2 * k), (shot.poses[-1], 2 * k + 1)):
                face = tube.faced[place]
                assert pose[FACE] == (-1.0 if face is None else pytest.approx(face, abs=near)), (bench, step.number)
                assert pose[ARM] == pytest.approx(tube.armed[place], abs=1e-6), (bench, step.number)


def test_the_collet_stands_open_from_the_load_to_its_hold_and_once_it_is_opened(plans: dict[str, Plan]) -> None:
    for bench, made in plans.items():
        hand_fed, opened = made.machine.get("carriage") is None, False
        for shot, step in zip(plan_film(made).shots, made.steps, strict=True):
            opened = not hand_fed and (opened or step.action in (*LAYS_IN, "open collet"))
            assert shot.released is opened or not shot.shown, (bench, step.number, step.action)
            opened = opened and step.action != "carriage forward"


def test_the_ways_home_of_every_kind_are_filmed(plans: dict[str, Plan]) -> None:
    seen = Counter[str]()
    for made in plans.values():
        forward = 0.0
        for shot, step in zip(plan_film(made).shots, made.steps, strict=True):
            first, last = np.array(shot.poses[0]), np.array(shot.poses[-1])
            gone = np.abs(last - first) > 1e-9
            if step.action in ("run forward", "return") and step.to is not None:
                by_hand = "by hand " if shot.released and made.machine.get("carriage") else ""
                how = "together" if gone[ARM] and gone[0] else step.action
                seen[f"{by_hand}{how}{' in part' if gone[ARM] and last[ARM] > 0.0 else ''}"] += 1
                assert gone[FACE] == (bool(gone[0]) and not shot.released and bool(made.machine.get("carriage")))
                assert first[PRESSURE] == pytest.approx(forward)  # it goes home as the arm first moves
                assert last[PRESSURE] == (0.0 if gone[ARM] else pytest.approx(forward))
            if step.action == "unload" and step.to is not None and step.to.arm > 0.0:
                seen["drawn off"] += 1
            forward = float(last[PRESSURE])
    wanted = {"drawn off", "run forward", "return", "return in part", "together", "together in part"}
    wanted |= {f"by hand {how}" for how in ("run forward", "return", "return in part")}
    assert wanted <= set(seen), seen


def test_a_die_that_drops_is_down_from_the_end_of_a_bend_until_the_next_one(plans: dict[str, Plan]) -> None:
    made, seen = plans["die drops"], Counter[str]()
    down = 0.0
    for shot, step in zip(plan_film(made).shots, made.steps, strict=True):
        assert shot.poses[0][DROP] == down
        down = {"die down": step.amount or 0.0, "die up": 0.0, "close dies": 0.0}.get(step.action, down)
        assert shot.poses[-1][DROP] == down
        assert down == (70.0 if step.action == "return" else 0.0 if step.action == "bend" else down)
        seen[step.action] += 1
    assert seen["die down"] == len(made.order) == seen["die up"] + 1
    assert seen["run forward"] == 0


def test_a_mandrel_that_draws_back_is_back_while_the_tube_goes_by_itself(plans: dict[str, Plan]) -> None:
    for bench, made in plans.items():
        draws_back = (made.machine.get("mandrel") or {}).get("draws_back", False)
        for shot, step in zip(plan_film(made).shots, made.steps, strict=True):
            if step.action in ("advance", "rotate", "load", "turn", "reload", "unload"):
                assert shot.drawn_back is draws_back, (bench, step.number)
            if step.action in ("close dies", "bend", "open dies", "return", "run forward"):
                assert not shot.drawn_back, (bench, step.number)


def test_of_two_radii_each_pass_is_filmed_with_its_own_dies() -> None:
    """The second set comes in with the step that fits it, once the tube is off."""
    part = tube([600, 200, 600], [0, 90], [60, 60], radii=np.array([RADIUS, 114.3]))
    made = plan(part, with_both_dies())
    changed = next(step.number for step in made.steps if step.action == "change dies")
    film = plan_film(made)
    assert {shot.tooling for shot in film.shots if shot.step < changed} == {film.shots[0].tooling}
    assert {shot.tooling for shot in film.shots if shot.step >= changed} == {1 - film.shots[0].tooling}
