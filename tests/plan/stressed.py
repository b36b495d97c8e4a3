"""Parts that planning takes long over, and what it is asked besides: the time limit has to hold whatever is asked."""

from __future__ import annotations

import multiprocessing
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from planner.advice.answers import Why
from planner.advice.changes import with_changes
from planner.advice.why import why
from planner.inputs.files import load_machine
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.planning import plan
from planner.plans.document import Plan
from tests.plan.random_parts import drawn
from tests.plan.shop import tube

Asked = Literal["plan", "alternatives", "confirm", "cp-sat", "changes", "why"]
ASKED: tuple[Asked, ...] = ("plan", "alternatives", "confirm", "cp-sat", "changes", "why")
MACHINES = {name: load_machine(name) for name in ("canal-workshop", "three-axis", "long-bed")}


@dataclass(frozen=True)
class Stressed:
    """A part, its machine, and what is asked of them."""

    name: str
    part: Part
    machine: Machine
    asked: Asked


def stressed(seed: int) -> Stressed | None:
    """Every other part is a random one of few bends, the others have 8 to 60; None where the tube runs through itself."""
    asked = ASKED[seed // 2 % len(ASKED)]
    if seed % 2:
        few = drawn(500_000 + seed)
        return None if few is None else Stressed(f"{few.name}, {asked}", few.part, few.machine, asked)
    rng = np.random.default_rng(61_000 + seed)
    bends = int(rng.choice([8, 12, 20, 30, 45, 60]))
    machine = MACHINES[str(rng.choice(list(MACHINES)))]
    if rng.random() < 0.7:
        machine = roomy(machine)
    part = wandering(rng, bends, machine)
    return None if part is None else Stressed(f"{bends} bends on {machine.name}, {asked}", part, machine, asked)


def roomy(machine: Machine) -> Machine:
    """The machine with a bed and a rod long enough for sixty bends, and high above the floor."""
    assert machine.carriage is not None
    changed: dict[str, object] = {
        "carriage": machine.carriage.model_copy(update={"reach": (machine.carriage.reach[0], 25_000.0)}),
        "head": machine.head.model_copy(update={"centreline_height": 3_000.0}),
    }
    if machine.mandrel is not None:
        changed["mandrel"] = machine.mandrel.model_copy(update={"rod_length": 26_000.0})
    return machine.model_copy(update=changed)


def wandering(rng: np.random.Generator, bends: int, machine: Machine) -> Part | None:
    """A tube of many bends that keeps apart from itself, with trims to choose from or none."""
    tooling = machine.tooling[0]
    shortest = tooling.clamp_lengths[-1]
    for _ in range(200):
        straights = rng.uniform(1.0, 3.5, bends + 1) * shortest + 3.0
        straights[0] += 150.0
        straights[-1] += 350.0
        rotations = [0.0, *rng.choice([0.0, 90.0, -90.0, 180.0, 45.0, -30.0, 60.0], bends - 1)]
        trims = (float(rng.integers(400)), float(rng.integers(400))) if rng.random() < 0.5 else (0.0, 0.0)
        made = tube(
            list(straights),
            rotations,
            list(rng.uniform(5.0, 50.0, bends)),
            trims,
            outside_diameter=tooling.tube_diameter,
            radii=np.full(bends, tooling.bend_radius),
        )
        if self_gap(made).gap > 25.0:
            return made
    return None


def answered(wanted: Stressed, limit: float | None) -> Plan | Why:
    """What planning answers within a limit [s], asked as it is to be asked."""
    part, machine, asked = wanted.part, wanted.machine, wanted.asked
    if asked == "why":
        return why(part, machine, machines=tuple(MACHINES.values()), time_limit=limit)
    began = time.monotonic()
    made = plan(
        part,
        machine,
        time_limit=limit,
        alternatives=asked == "alternatives",
        confirm=asked == "confirm",
        engine="cp-sat" if asked == "cp-sat" else "exact",
    )
    if asked == "changes":
        left = None if limit is None else limit - (time.monotonic() - began)
        return with_changes(made, part, machine, tuple(MACHINES.values()), left)
    return made


@dataclass(frozen=True)
class Took:
    """How long an answer took [s], how much memory its process had at most [MB], and what it was."""

    seconds: float
    megabytes: float
    verdict: str


def measured(wanted: Stressed, limit: float, patience: float) -> Took:
    """Answer in a process of its own; one that does not end within so long [s] is stopped, its time infinite."""
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe()
    process = context.Process(target=_answer, args=(there, answered, wanted, limit))
    process.start()
    there.close()
    found: Any = None
    if here.poll(patience):
        try:
            found = here.recv()
        except EOFError:
            found = Took(float("inf"), 0.0, "died")
    process.kill()
    process.join()
    return found or Took(float("inf"), 0.0, "stopped")


def _answer(there: Any, work: Callable[[Stressed, float], Plan | Why], wanted: Stressed, limit: float) -> None:
    began = time.monotonic()
    try:
        verdict = work(wanted, limit).verdict
    except Exception as error:  # whatever it is, the test says which part it was
        verdict = f"{type(error).__name__}: {error}"
    seconds = time.monotonic() - began
    there.send(Took(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0, verdict))
