"""Parts on benders for the questions why: one that must be begun in the middle, and impossible ones."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from planner.advice.notation import Order
from planner.inputs.files import load_machine, load_part, machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.planning import plan
from planner.plans.document import OrderedBend
from planner.plans.evidence import Evidence
from planner.search.decision import Decision
from planner.search.search import Search
from tests.plan.brute_force.orders import Job
from tests.plan.random_parts import Drawn, drawn, hemmed_in
from tests.plan.shop import bender, tube
from tests.search.afresh import crowded

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NUMBER_WITH_UNIT = re.compile(r"\d(?:[\d.,]*\d)?(?: mm\b| s\b| kN m\b|°)")


def begun_in_the_middle() -> tuple[Part, Machine]:
    """A square hoop of three bends: its rod is too short to begin at the near end, and bare tube that reaches past the
    middle bend strikes a column as it swings."""
    part = tube([500, 900, 900, 500], [0, 0, 0], [90, 90, 90], name="hatch hoop")
    column = {"centre": [1500.0, -1500.0], "radius": 60.0, "z": [-4000.0, 3000.0]}
    machine = bender(
        {
            "mandrel": {"rod_length": 2000},
            "solid": [{"name": "column", "moves_with": "frame", "cylinder": column}],
        }
    )
    return part, machine


def hanging_a_hair_too_low() -> tuple[Part, Machine]:
    """Either end hangs straight down before the other bend, 0.05 mm into the floor.

    Lowest point by hand: the flat end of a leg of 900 beyond the centreline radius of 76.2; no clearance is required, so
    that there is none of which a little may be missing.
    """
    height = {"head": {"centreline_height": 900.0 + 76.2 - 0.05}}
    machine = bender(height, {"clearance": {"required": 0.0}})
    return tube([900, 250, 900], [0, 90], [90, 90], name="davit"), machine


def long_bench() -> Machine:
    """The canal-workshop profile, its bed and rod long enough for many bends."""
    data = load_machine("canal-workshop").normalised()
    data["carriage"]["reach"] = [250.0, 15_000.0]
    data["mandrel"]["rod_length"] = 16_000.0
    return machine_from_data(data)


def wandering(seed: int, bends: int) -> Part:
    """A part of many bends that wanders about and does not run through itself."""
    for attempt in range(1000):
        rng = np.random.default_rng([seed, bends, attempt])
        straights = rng.uniform(90.0, 260.0, bends + 1) + np.array([150.0, *[0.0] * (bends - 1), 350.0])
        rotations = [0.0, *rng.choice([0.0, 90.0, -90.0, 180.0, 45.0, -30.0, 60.0], bends - 1)]
        part = tube(list(straights), rotations, list(rng.uniform(10.0, 60.0, bends)), name=f"wandering {seed}")
        if self_gap(part).gap > 5.0:
            return part
    raise AssertionError("no part that does not run through itself")


def searched(part: Part, machine: Machine) -> tuple[Search, Decision, str]:
    """The search of a part with its decision and verdict."""
    evidence = Evidence()
    made = plan(part, machine, evidence=evidence)
    assert evidence.search is not None
    assert evidence.decision is not None
    return evidence.search, evidence.decision, made.verdict


def random_jobs(count: int) -> Iterator[Drawn]:
    """Random parts of every kind: on packaged machines, with something in front of them, in a crowd of solids."""
    made = 0
    for seed in range(10 * count):
        found = hemmed_in(seed // 3) if seed % 3 == 1 else drawn(seed // 3)
        if seed % 3 == 2:
            found = Drawn(f"crowded {seed // 3}", *crowded(seed // 3))
        if found is not None:
            made += 1
            yield found
            if made == count:
                return


def every_order(n: int) -> Iterator[Order]:
    """Every order in which the formed bends stay a run of neighbours that grows behind the end that leads."""

    def grown(low: int, high: int, made: Order) -> Iterator[Order]:
        if high - low + 1 == n:
            yield made
        if high < n:
            yield from grown(low, high + 1, (*made, OrderedBend(bend=high + 1, leads="A")))
        if low > 1:
            yield from grown(low - 1, high, (*made, OrderedBend(bend=low - 1, leads="B")))

    for bend in range(1, n + 1):
        for leads in ("A", "B"):
            yield from grown(bend, bend, (OrderedBend(bend=bend, leads="A" if leads == "A" else "B"),))


def order_of_job(job: Job) -> Order:
    n = len(job)
    return tuple(OrderedBend(bend=b.bend if b.leads == "A" else n + 1 - b.bend, leads=b.leads) for b in job)


def example(name: str) -> tuple[Part, Machine]:
    """An example and the machine that it names."""
    part = load_part(EXAMPLES / f"{name}.toml")
    assert part.machine is not None
    return part, load_machine(part.machine)
