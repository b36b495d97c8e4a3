"""Parts and benders whose plans are replayed: the examples, and random parts on the packaged profiles as they come and changed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from planner.feasibility.orders import Run
from planner.inputs.files import load_machine, load_part, machine_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan
from tests.plan.forced import forced
from tests.plan.random_parts import drawn
from tests.plan.replay.carrying_out import Document
from tests.plan.shop import DIAMETER, PROFILE, RADIUS, bender, head, rod_that_asks_for_a_turn, tube

DEFAULT = (0, 1, 8, 10, 11, 20, 28, 37, 57)
"""Seeds of random parts that can be made and are planned quickly; turns, reloads and re-grips among them."""

OPENS = 2.5
"""A clamp opens by so many diameters or more: less, and a formed leg does not come past it."""

OPENS_ON_TIGHT = 115.0
"""One of the tightest radius, two diameters, opens by this [mm]."""

LASTS = math.radians(165.0)
"""A pressure die that follows the tube lasts up to this setting [rad]."""

MANY_BENDS = 12
"""A part of more bends than this takes as long as several others."""

EXAMPLES = sorted((Path(__file__).resolve().parents[3] / "examples").glob("*.toml"))


@dataclass(frozen=True)
class Case:
    """A plan as a reader of its JSON sees it; drawn: of a random part."""

    name: str
    document: Document = field(repr=False)
    drawn: bool = False


def planned(name: str, part: Part, machine: Machine) -> Case | None:
    """Plan a part; None where it cannot be made."""
    made = plan(part, machine)
    return Case(name, json.loads(made.to_json())) if made.verdict == "makeable" else None


def real(machine: Machine) -> Machine:
    """A machine whose clamps open far enough for a formed leg to come past, and whose pressure dies last a bend."""
    data = machine.normalised()
    for tooling in data["tooling"]:
        size, clr = tooling["tube_diameter"], tooling["bend_radius"]
        least = OPENS_ON_TIGHT if (size, clr) == (DIAMETER, RADIUS) else OPENS * size
        tooling["clamp_block"]["opens"] = max(tooling["clamp_block"]["opens"], least)
        if tooling["pressure_die_follows"]:
            tooling["pressure_die_length"] = max(tooling["pressure_die_length"], math.ceil(clr * LASTS + size))
    return machine_from_data(data)


def examples(every: bool) -> Iterator[Case]:
    """The examples that can be made, each on its own profile; every: those of very many bends too."""
    for path in EXAMPLES:
        part = load_part(path)
        if part.n_bends > MANY_BENDS and not every:
            continue
        assert part.machine is not None, f"{path.name} names no machine"
        case = planned(path.stem, part, real(load_machine(part.machine)))
        if case is not None:
            yield case


def random_cases(count: int) -> Iterator[Case]:
    """The first so many of the random parts that can be made."""
    seed = 0
    while count:
        case = random_case(seed)
        seed += 1
        if case is not None:
            count -= 1
            yield case


def random_case(seed: int) -> Case | None:
    """A random part on one of the profiles: every other one in a mirror, some with more solids or a rod cut short."""
    found = drawn(seed)
    if found is None:
        return None
    rng = np.random.default_rng(47_000 + seed)
    part, machine, name = found.part, real(found.machine), found.name
    if seed % 2:
        machine, name = machine.mirrored(), f"{name}, in a mirror"
    if seed % 3 == 1:
        machine, name = with_more_solids(machine, rng), f"{name}, more solids"
    if seed % 7 == 0:
        rod = rod_that_asks_for_a_turn(part)
        if rod is not None:
            machine = changed(machine, {"mandrel": {**machine.normalised()["mandrel"], "rod_length": rod}})
            name = f"{name}, a rod that asks for a turn"
    case = planned(name, part, machine)
    return None if case is None else replace(case, drawn=True)


def changed(machine: Machine, tables: dict[str, Any]) -> Machine:
    """A machine with some of its tables replaced."""
    return machine_from_data({**machine.normalised(), **tables})


def with_more_solids(machine: Machine, rng: np.random.Generator) -> Machine:
    """A machine with a few boxes and posts more, most of them where tube comes."""
    data, more = machine.normalised(), []
    for number in range(int(rng.integers(1, 4))):
        name = f"fixture {number + 1}"
        if rng.random() < 0.25:
            low = [float(rng.uniform(-60, -20)), float(rng.uniform(-120, 20)), float(rng.uniform(60, 200))]
            box = {"from": low, "to": [low[0] + 30.0, low[1] + 120.0, low[2] + 60.0]}
            more.append({"name": name, "moves_with": "carriage", "box": box})
            continue
        x, y = float(rng.uniform(-500, 900)), float(rng.uniform(250, 900)) * (1.0 if rng.random() < 0.5 else -1.0)
        top, size = float(rng.uniform(-500, 300)), float(rng.uniform(60, 200))
        if rng.random() < 0.5:
            cylinder = {"centre": [x, y], "radius": size, "z": [-machine.head.centreline_height, top]}
            more.append({"name": name, "moves_with": "frame", "cylinder": cylinder})
        else:
            box = {"from": [x - size, y - size, -machine.head.centreline_height], "to": [x + size, y + size, top]}
            more.append({"name": name, "moves_with": "frame", "box": box})
    return changed(machine, {"solid": [*data["solid"], *more]})


def near_the_carriage(seed: int) -> Case:
    """A hook whose leg swings back until its end stands 12 to 28 mm in front of a box that goes with the carriage.

    The collet holds the very end, so the tail is made as long as the leg reaches back, and so much longer.
    """
    rng = np.random.default_rng(5_300 + seed)
    toward = "left" if seed % 2 else "right"
    side = 1.0 if toward == "left" else -1.0
    ends = sorted((side * 80.0, side * 320.0))
    box = {"from": [-150.0, ends[0], -80.0], "to": [0.0, ends[1], 80.0]}
    opens = {"tooling": {"clamp_block": {"width": 60, "height": 60, "opens": OPENS_ON_TIGHT}}}
    machine = bender(head(toward), opens, {"solid": [{"name": "collet drive", "moves_with": "carriage", "box": box}]})
    leg, angle, gap = float(rng.integers(280, 420)), float(rng.integers(158, 172)), float(rng.uniform(12.0, 28.0))
    swing, back = math.radians(set_to(angle)), math.radians(set_to(angle) - angle)
    reaches = -leg * math.cos(swing) - RADIUS * math.sin(swing) + DIAMETER / 2.0 * math.sin(swing)
    grip = float(PROFILE["carriage"]["grip_length"])
    part = tube([leg, round(reaches + RADIUS * back + grip + gap, 1)], [0.0], [angle], name=f"hook {seed}")
    case = planned(part.name, part, machine)
    assert case is not None, f"hook {seed} can be made"
    return case


def on_the_test_bender(name: str, part: Part, toward: str, *changes: dict[str, Any]) -> Case:
    """A part on the test bender with a head to this side."""
    case = planned(f"{name} on a {toward} head", part, bender(head(toward), *changes))
    assert case is not None, f"a {name} can be made"
    return case


def half_turns(every: bool) -> Iterator[Case]:
    """Legs that run back past the die: a U, drawn off past the arm, on dies with and without a grip section; a serpentine.

    every: the U on either head. Past a clamp that opens this far no leg of a serpentine of half turns gets by; one opening less needs dies without a
    section, which push nothing.
    """
    for toward in ("right", "left") if every else ("right",):
        yield on_the_test_bender("U", tube([600, 900], [0], [180]), toward)
    winding = tube([400, 200, 120, 500], [0, 150, -150], [160, 160, 160])
    yield on_the_test_bender("serpentine", winding, "right")
    plain = {"tooling": {"grip_section": False, "clamp_block": {"width": 60, "height": 60, "opens": 60}}}
    flat = tube([400, 200, 120, 500], [0, 180, 180], [180, 180, 180])
    yield on_the_test_bender("serpentine of half turns", flat, "left", plain)


def ways_home(every: bool) -> Iterator[Case]:
    """The arm's ways home: together with the tube, by hand, past a tube that is drawn off, a die that drops; no rod or carriage.

    every: those of the machine's own on either head, else each on one of them.
    """
    part = tube([400, 160, 190, 400], [0, 70, -130], [90, 40, 120])
    together = {"head": {"homes_with_tube": True}}
    drops = {"head": {"die_drops": 80, "may_ease_off": False}}
    for name, head_to, change in (
        ("part that goes home with the arm", "left", together),
        ("part past a die that drops", "right", drops),
    ):
        for toward in ("right", "left") if every else (head_to,):
            yield on_the_test_bender(name, part, toward, change)
    yield on_the_test_bender("part pushed forward by hand", tube([230, 160, 230], [0, 70], [90, 50]), "right")
    yield on_the_test_bender("U without a rod", tube([600, 900], [0], [180]), "left", {"mandrel": None})
    alone = tube([300, 150, 300], [0, 60], [45, 90])
    yield on_the_test_bender("part without a carriage", alone, "right", {"carriage": None})


def about_the_tooling() -> Iterator[Case]:
    """Mandrels with balls, thicker than their rods; a slide that goes with the pressure die, a section of its own size."""
    part = tube([400, 160, 190, 400], [0, 100, -80], [100, 40, 150])
    thin = {"mandrel": {"nose": None, "rod_diameter": 16}}
    balls = {"tooling": {"mandrel": {"nose": 6, "balls": 2, "ball_reach": 45}}}
    for toward, drawn_back in (("right", False), ("left", True)):
        aside = (40.0, 150.0) if toward == "right" else (-150.0, -40.0)
        box = {"from": [-300, aside[0], -140], "to": [-10, aside[1], -35]}
        slide = {"solid": [{"name": "slide", "moves_with": "pressure die", "box": box}]}
        own = {"tooling": {"grip_section": {"depth": 40, "height": 60, "length": 70}}}
        draws = {"mandrel": {"draws_back": drawn_back}}
        yield on_the_test_bender("part on a long mandrel", part, toward, thin, balls, slide, own, draws)


def over_the_pressure_die(heads: Sequence[str]) -> Iterator[Case]:
    """A tube whose first leg runs back over a tall pressure die that has followed the tube, on these heads."""
    tall = {"tooling": {"pressure_block": {"width": 110, "height": 230, "opens": 40}}}
    for toward in heads:
        part = tube([450, 160, 600], [0, -90 if toward == "right" else 90], [180, 90])
        made = forced(part, bender(head(toward), tall), (Run("B", (1,)), Run("A", (2,))))
        assert isinstance(made, Plan), "a leg over the pressure die can be made"
        yield Case(f"a leg over the pressure die of a {toward} head", json.loads(made.to_json()))


def set_to(angle: float) -> float:
    """The setting for a part's angle on the test bender [deg]."""
    (first, low), (last, high) = PROFILE["springback"]["measured"]
    return float(low + (angle - first) * (high - low) / (last - first))


def eased_off() -> Case:
    """A tube that is advanced off the die after its third bend, for the arm to come home with a post on it."""
    post = {"name": "arm post", "moves_with": "arm", "box": {"from": [100, 90, -300], "to": [140, 130, 300]}}
    machine = bender({"carriage": {"reach": [150, 600]}}, {"solid": [post]})
    part = tube(
        [300, 91.2, 169.1, 110, 300], [0, -60.8, 155.9, 0], [67.3, 106.7, 117.3, 30], name="a hook round a post"
    )
    made = forced(part, machine, (Run("A", (1, 2, 3, 4)),))
    assert isinstance(made, Plan)
    return Case(part.name, json.loads(made.to_json()))
