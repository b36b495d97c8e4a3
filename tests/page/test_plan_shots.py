"""The film of a plan against the plan document carried out on the tests' own simulated tube."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from planner import Plan, load_machine, load_part, plan
from planner.page.plan_shots import LAYS_IN, plan_film
from tests.page.walker import Array, places
from tests.plan.planned import KINDS, planned
from tests.plan.workpiece import Workpiece

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))

FINE = ("right", "left", "hand-fed right", "hand-fed left")
"""Kinds whose readouts show every digit, so that the film has to agree to rounding of the document."""


@dataclass
class Watched(Workpiece):
    """The simulated tube, with where it lay before and after every step."""

    stood: list[Array] = field(default_factory=list)

    def _stand(self) -> dict[str, float | None]:
        self.stood.append(self.places.copy())
        return super()._stand()


def farthest_off(made: Plan) -> float:
    """The largest distance between film and simulated tube before or after any step [mm]."""
    document = made.as_dict()
    tube = Watched(document)
    tube.carry_out()
    film = plan_film(made).as_dict()
    off = 0.0
    for k, (shot, step) in enumerate(zip(film["shots"], document["steps"], strict=True)):
        there = [(shot["poses"][-1], tube.stood[2 * k + 1])]
        if step["action"] not in LAYS_IN:  # in free hands until then
            there.append((shot["poses"][0], tube.stood[2 * k]))
        for pose, marks in there:
            off = max(off, float(np.abs(places(film, shot["leads"], pose, tube.marks) - marks).max()))
    return off


def allowed(made: Plan) -> float:
    """What readings rounded to their resolution may shift, and what the words of a laying in leave open [mm]."""
    document = made.as_dict()
    bends, length = len(document["order"]), document["stock"]["cut_length"]
    along = (bends + 1) * document["machine"]["advance"]["resolution"]
    around = math.radians(document["machine"]["rotation"]["resolution"]) * bends * length
    laid_in = (document["turns"] + document["reloads"]) * (0.05 + math.radians(0.05) * length)
    return float(along + around + laid_in)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_film_of_an_example_shows_the_tube_where_its_steps_bring_it(path: Path) -> None:
    part = load_part(path)
    assert part.machine is not None
    made = plan(part, load_machine(part.machine))
    assert len(plan_film(made).shots) == len(made.steps)
    if made.verdict == "makeable":
        assert farthest_off(made) <= allowed(made)


@pytest.mark.parametrize("kind", KINDS)
def test_the_films_of_random_plans_show_the_tube_where_the_steps_bring_it(kind: str) -> None:
    first = 1000 * list(KINDS).index(kind)
    document = next(one.document for seed in range(first, first + 60) if (one := planned(kind, seed)) is not None)
    made = Plan.model_validate(document)
    off = farthest_off(made)
    assert off <= (1e-5 * document["stock"]["cut_length"] if kind in FINE else allowed(made))
