"""Plans carried out again from their documents alone: every clearance, place and reach that they print holds.

The tube, the machine and the contact table of this replay are its own (`tests/plan/replay`), its distances coal's
(https://github.com/coal-library/coal) and exact distances to the profile of what is grooved.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pytest

from planner.planning import plan
from tests.clearance.oracle import Profile
from tests.geometry.distances import grooved
from tests.plan.replay.carrying_out import CarryingOut, Document
from tests.plan.replay.cases import (
    DEFAULT,
    Case,
    about_the_tooling,
    eased_off,
    examples,
    half_turns,
    near_the_carriage,
    over_the_pressure_die,
    random_case,
    random_cases,
    ways_home,
)
from tests.plan.replay.clearances import STATED_GAP, AtPlace, Clearances
from tests.plan.replay.faults import FAULTS, SMALLER, Fault, caught
from tests.plan.replay.finished import differs
from tests.plan.replay.motions import Motion
from tests.plan.replay.swept import wrong_outline, wrong_speed, wrong_swing
from tests.plan.shop import bender, tube

PARTS, CAMPAIGN = 9, 500
FAULTY, FAULTY_CAMPAIGN = 8, 100
"""Plans with each kind of fault."""

HOOKS = 4
"""Plans in which the tube comes near to what the carriage carries, where no campaign is asked for."""

ABOUT = STATED_GAP + 0.1
"""By no more than this the printed clearance lies under one that is reached, where the plan's word on it holds [mm]."""

NEAR_A_GROOVE = 8.0
"""By so much it lies under where tube near a piece's end is held against a die, a bored block or the end of its own tail:
the bound takes a ball where the tube is cut off flat [mm].
"""


@dataclass
class Replayed:
    """A plan carried out again, as far as is asked for."""

    case: Case
    _document: Document = field(init=False, repr=False)

    @property
    def document(self) -> Document:
        """The plan document."""
        return self.case.document

    @cached_property
    def done(self) -> CarryingOut:
        """All its steps carried out."""
        return CarryingOut(self.document).carry_out()

    @cached_property
    def clearances(self) -> Clearances:
        """Its motions held against the machine."""
        return Clearances(self.document, self.done)

    @property
    def places(self) -> Iterator[tuple[Document, AtPlace]]:
        """How near the tube really is where each step says that it is nearest."""
        for motion in self.clearances.motions:
            at = self.clearances.at_place(motion)
            if at is not None:
                yield motion.step, at


@pytest.fixture(scope="session")
def replays(campaign: bool) -> list[Replayed]:
    """The plans to be replayed: the examples, random parts, and those in which one thing of the machine comes near."""
    drawn = random_cases(CAMPAIGN) if campaign else filter(None, map(random_case, DEFAULT))
    heads = ("right", "left") if campaign else ("left",)
    near = (eased_off(), *half_turns(campaign), *over_the_pressure_die(heads), *map(near_the_carriage, range(2)))
    cases = (*examples(campaign), *near, *ways_home(campaign), *about_the_tooling(), *drawn)
    return [Replayed(case) for case in cases]


@pytest.fixture(scope="session")
def faulty(campaign: bool) -> int:
    """How many plans are to be made wrong by each kind of fault."""
    return FAULTY_CAMPAIGN if campaign else FAULTY


@pytest.fixture(scope="session")
def hooks(faulty: int) -> list[Document]:
    """Plans in which the tube comes near to what the carriage carries."""
    return [near_the_carriage(seed).document for seed in range(faulty if faulty == FAULTY_CAMPAIGN else HOOKS)]


@pytest.mark.parametrize(
    "wanted",
    [
        "three profiles, both heads of each",
        "a turn",
        "a reload",
        "a re-grip",
        "released",
        "trim",
        "eased off",
        "eased off by hand",
        "home with the arm",
        "a die that drops",
        "drawn off past the arm",
        "put on rolled",
        "more solids",
        "a slide with the pressure die",
        "a mandrel thicker than its rod",
        "a mandrel that draws back",
        "a section of its own size",
    ],
)
def test_among_the_plans_there_is(wanted: str, replays: list[Replayed]) -> None:
    documents = [replay.document for replay in replays]
    drawn = [replay.document for replay in replays if replay.case.drawn]
    motions = [motion for replay in replays for motion in replay.done.motions]
    found = {
        "three profiles, both heads of each": len(
            {(d["machine"]["name"], d["machine"]["head"]["bends_toward"]) for d in drawn}
        )
        == 6,
        "a turn": any(d["turns"] for d in documents),
        "a reload": any(d["reloads"] for d in documents),
        "a re-grip": any(d["regrips"] for d in documents),
        "released": any(d["released"] for d in documents),
        "trim": any(d["stock"]["trim_a"] + d["stock"]["trim_b"] for d in documents),
        "eased off": any(m.step["action"] == "run forward" and not m.by_hand for m in motions),
        "eased off by hand": any(m.step["action"] == "run forward" and m.by_hand for m in motions),
        "home with the arm": any(m.arm[0] > m.arm[1] and m.at[0] != m.at[1] for m in motions),
        "a die that drops": any(m.phase == "die drops" for m in motions),
        "drawn off past the arm": any(m.step["action"] == "unload" and m.arm[0] > 0.0 for m in motions),
        "put on rolled": any(m.by_hand and m.step["action"] == "rotate" for m in motions),
        "a slide with the pressure die": any(
            s["moves_with"] == "pressure die" for d in documents for s in d["machine"].get("solid", ())
        ),
        "a mandrel thicker than its rod": any(
            (d["machine"].get("mandrel") or {}).get("rod_diameter") for d in documents
        ),
        "a mandrel that draws back": any((d["machine"].get("mandrel") or {}).get("draws_back") for d in documents),
        "a section of its own size": any(t.get("grip_section") for d in documents for t in d["machine"]["tooling"]),
        "more solids": any(s["name"].startswith("fixture") for d in documents for s in d["machine"].get("solid", ())),
    }
    assert found[wanted]


def test_every_step_goes_on_where_the_one_before_it_ended_and_the_part_made_is_the_drawings(
    replays: list[Replayed],
) -> None:
    assert len(replays) >= PARTS + 10
    for replay in replays:
        assert not differs(replay.done), replay.case.name


def test_no_sample_of_any_motion_is_nearer_than_printed_or_than_must_be_kept(replays: list[Replayed]) -> None:
    """What must be kept is held against all, in every step; what a step prints is of all that moves in it."""
    wrong = [f"{replay.case.name}: {line}" for replay in replays for line in replay.clearances.wrong]
    assert not wrong, "\n".join(wrong)
    assert sum(outcome.samples for replay in replays for outcome in replay.clearances.outcomes) >= 50_000


def test_every_step_that_moves_and_is_checked_prints_its_clearance(replays: list[Replayed]) -> None:
    for replay in replays:
        for step in replay.document["steps"]:
            if step["from"] is not None and step["checked"]:
                assert step["clearance"] is not None, (replay.case.name, step["number"])
                assert (step["nearest"] is None) == (step["clearance"] >= 1000.0)


def test_where_the_tube_is_said_to_be_nearest_it_is_about_so_near(replays: list[Replayed]) -> None:
    places = [at for replay in replays for _, at in replay.places if math.isfinite(at.distance)]
    assert len(places) >= 300
    wide = [at for at in places if at.distance > at.printed + ABOUT]
    assert all(at.grooved for at in wide), wide
    assert all(at.distance <= at.printed + NEAR_A_GROOVE for at in wide), wide
    assert len(wide) <= 0.02 * len(places)


def test_where_the_tube_is_said_to_be_nearest_there_is_tube(replays: list[Replayed]) -> None:
    nowhere = [
        f"{replay.case.name}, step {step['number']}, {step['action']}: {step['nearest_at']}"
        for replay in replays
        for step, at in replay.places
        if math.isinf(at.distance)
    ]
    assert not nowhere, "\n".join(nowhere)


def wrong_of_motions(replays: list[Replayed], check: Callable[[CarryingOut, Motion], list[str]]) -> list[str]:
    """What a check finds wrong with the motions of all plans."""
    return [
        f"{replay.case.name}: {line}"
        for replay in replays
        for motion in replay.done.motions
        for line in check(replay.done, motion)
    ]


def test_the_tube_comes_round_no_farther_than_said_and_not_much_less(replays: list[Replayed]) -> None:
    assert not (wrong := wrong_of_motions(replays, wrong_swing)), "\n".join(wrong)


def test_the_tip_moves_as_fast_as_said_where_an_axis_of_the_machine_moves_it(replays: list[Replayed]) -> None:
    assert not (wrong := wrong_of_motions(replays, wrong_speed)), "\n".join(wrong)


def test_all_the_tube_stays_within_the_outline_to_keep_clear_of_which_is_not_much_larger(
    replays: list[Replayed],
) -> None:
    wrong = [f"{replay.case.name}: {line}" for replay in replays for line in wrong_outline(replay.done)]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("name", SMALLER)
def test_it_is_seen_when_less_is_said_to_be_swept_in_that(name: str, replays: list[Replayed], faulty: int) -> None:
    assert len(replays) >= faulty
    for replay in replays[:faulty]:
        done = CarryingOut(SMALLER[name](replay.document)).carry_out()
        wrong = [line for motion in done.motions for line in (*wrong_swing(done, motion), *wrong_speed(done, motion))]
        assert wrong or wrong_outline(done), replay.case.name


def room_for(
    fault: Fault, documents: list[Document], wanted: int
) -> Iterator[tuple[Document, frozenset[int], Document]]:
    """So many faulty documents as are wanted, the steps in which the fault shows, and what they were made from."""
    found, seed = 0, 0
    while found < wanted:
        document = documents[seed % len(documents)]
        faulty = fault(document, seed)
        seed += 1
        assert seed <= 10 * wanted, "too few of the plans leave room for the fault"
        if faulty is not None:
            found += 1
            yield (*faulty, document)


@pytest.mark.parametrize("name", FAULTS)
def test_a_plan_is_caught_in_which(name: str, replays: list[Replayed], hooks: list[Document], faulty: int) -> None:
    forward = name == "the collet holds further forward"
    documents = hooks if forward else [replay.document for replay in replays]
    missed = []
    for made, steps, right in room_for(FAULTS[name], documents, len(hooks) if forward else faulty):
        assert not caught(right, steps), "it is caught without the fault"
        if not caught(made, steps):
            missed.append((right["part"]["name"], sorted(steps)))
    assert not missed


def test_what_moves_with_the_pressure_die_does_not_pass_through_the_tail_as_the_dies_close() -> None:
    """Closed the slide stands 26 mm on the die's side of the tube, opened 41 mm on the other: both are clear of it."""
    box = {"from": [-300, -60, -10], "to": [-250, -45, 10]}
    slide = {"name": "slide", "moves_with": "pressure die", "box": box}
    opens = {"pressure_block": {"width": 60, "height": 60, "opens": 120}}
    made = plan(tube([400, 600], [0], [90]), bender({"solid": [slide], "tooling": opens}))
    assert made.verdict != "makeable"


def test_the_distance_to_a_groove_is_that_to_the_nearest_of_very_many_points_of_its_outline() -> None:
    rng = np.random.default_rng(3)
    deep, z = rng.uniform(-60.0, 70.0, 2000), rng.uniform(-80.0, 80.0, 2000)
    for width, axis in ((76.2, True), (60.0, False)):  # no surface at a die's axis
        outline = Profile(width, 45.0, 19.05, solid_at_width=axis)
        found = grooved(deep, z, np.inf if axis else width, 45.0, 19.05)
        assert np.abs(found - outline.signed(deep, z)).max() <= 0.01
