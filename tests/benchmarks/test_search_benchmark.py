"""How long the search takes, part by part; figures are printed, none of them decides anything but what must be proved."""

from __future__ import annotations

import statistics
import time
from dataclasses import dataclass

import numpy as np
import pytest

from planner.feasibility.cases import case_of, surroundings_of
from planner.inputs.files import load_machine
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.planning import plan
from planner.search.decision import Decision, decide
from planner.search.search import Search
from planner.sequencing.exact import Exact
from tests.plan.replay.cases import real
from tests.plan.shop import tube

PARTS = 20


def long_bench() -> Machine:
    """The canal-workshop profile, its bed and rod long enough for forty bends, its clamps opening as real ones do."""
    machine = real(load_machine("canal-workshop"))
    assert machine.carriage is not None
    assert machine.mandrel is not None
    return machine.model_copy(
        update={
            "carriage": machine.carriage.model_copy(update={"reach": (250.0, 15_000.0)}),
            "mandrel": machine.mandrel.model_copy(update={"rod_length": 16_000.0}),
        }
    )


def part(seed: int, bends: int) -> Part:
    """A part that wanders: straights long enough for the shortest clamp, rotations and angles of all sizes."""
    for attempt in range(10_000):
        rng = np.random.default_rng([seed, bends, attempt])
        straights = rng.uniform(90.0, 260.0, bends + 1)
        straights[0] += 150.0
        straights[-1] += 350.0
        rotations = [0.0, *rng.choice([0.0, 90.0, -90.0, 180.0, 45.0, -30.0, 60.0], bends - 1)]
        made = tube(list(straights), rotations, list(rng.uniform(10.0, 60.0, bends)))
        if self_gap(made).gap > 5.0:
            return made
    raise AssertionError("no part that does not run through itself")


@dataclass(frozen=True)
class Measured:
    """One part: seconds for the whole plan, its outcome, and what the search did."""

    seconds: float
    geometry: float
    decision: Decision
    search: Search

    @property
    def proved(self) -> bool:
        """Whether all of it is proved: there is no plan, or none is better."""
        if self.decision.plan is None:
            return self.decision.undecided is None
        return all(self.decision.proved)


def measured(wanted: Part, machine: Machine) -> Measured:
    began = time.perf_counter()
    plan(wanted, machine)
    seconds = time.perf_counter() - began
    case = case_of(wanted, machine)
    search = Search.of(case, surroundings_of(case), Exact())
    spent = [0.0]
    certified = search.checks.batches.certified

    def timed(jobs: list) -> list:  # type: ignore[type-arg]
        start = time.perf_counter()
        found = certified(jobs)
        spent[0] += time.perf_counter() - start
        return found

    search.checks.batches.certified = timed  # type: ignore[method-assign]
    start = time.perf_counter()
    decision = decide(search)
    return Measured(seconds, spent[0] / max(time.perf_counter() - start, 1e-9), decision, search)


@pytest.mark.parametrize("bends", [10, 20, 40])
def test_search_times(bends: int) -> None:
    machine = long_bench()
    plan(part(0, 5), machine)
    every = [measured(part(seed, bends), machine) for seed in range(PARTS)]
    seconds = [one.seconds for one in every]
    checks = [len(one.search.checks.bent) for one in every]
    possible = bends * (bends + 1)
    plans = [one.decision.plan for one in every]
    print(
        f"\n{bends} bends: median {statistics.median(seconds):.2f} s, longest {max(seconds):.2f} s;"
        f" makeable {sum(p is not None for p in plans)} of {PARTS}, all proved {sum(one.proved for one in every)};"
        f" geometry {100 * statistics.median(one.geometry for one in every):.0f} %;"
        f" bends checked {statistics.median(checks):.0f} of {possible};"
        f" no-goods {statistics.median(len(one.search.nogoods) for one in every):.0f};"
        f" proposals {statistics.median(one.search.progress.proposals for one in every):.0f}"
    )
    undecided = [n for n, one in enumerate(every) if one.decision.plan is None and one.decision.undecided is not None]
    print(f"undecided: {undecided}")
    # Of 60 parts one: no way home past a bend of more than 150° with formed tube ahead was found, nor a wall.
    assert len(undecided) <= 1
