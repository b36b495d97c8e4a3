"""Random parts on the packaged machines, as packaged and with less room, for every kind of trouble to come up."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.tube import own_gap

PROFILES = ("canal-workshop", "three-axis", "long-bed")
KINDS = ("plain", "tall", "short ends", "one short end", "short straights", "tight", "trimmed", "flat")
MACHINES = {name: load_machine(name) for name in PROFILES}


@dataclass(frozen=True)
class Drawn:
    """A random part and the machine it is to be made on."""

    name: str
    part: Part
    machine: Machine


def drawn(seed: int) -> Drawn | None:
    """A random part, its numbers whole millimetres and degrees; None if it all but runs through itself.

    Its sizes go with the tooling, so that every kind of trouble comes up: floors and solids struck, straights too short to
    grip, ends too short to hold, trim wanted. Every other machine is altered: its travel, its rod, its chuck cut short.
    """
    rng = np.random.default_rng(31_000 + seed)
    machine, kind = MACHINES[PROFILES[seed % 3]], KINDS[(seed // 3) % len(KINDS)]
    tooling = machine.tooling[int(rng.integers(len(machine.tooling)))]
    n = 6 if seed % 10 == 9 else 2 + int(rng.integers(4))
    part = _part(kind, n, machine, tooling, rng)
    change = ("as packaged", "short travel", "short rod", "closed", "narrow chuck", "no easing off")
    what = change[int(rng.integers(1, len(change)))] if rng.random() < 0.5 else change[0]
    machine = _altered(machine, what, part, rng)
    found = Drawn(f"part {seed}, {kind}, on {machine.name}, {what}", part, machine)
    return found if _apart(part, machine) else None


def of_seven_bends(seed: int) -> Drawn | None:
    """A random part of seven bends on a profile as it comes; None as for `drawn`."""
    rng = np.random.default_rng(900 + seed)
    machine, kind = MACHINES[PROFILES[seed % 3]], KINDS[(seed // 3) % len(KINDS)]
    part = _part(kind, 7, machine, machine.tooling[0], rng)
    return Drawn(f"seven bends {seed}, {kind}, on {machine.name}", part, machine) if _apart(part, machine) else None


def hemmed_in(seed: int) -> Drawn | None:
    """A random part of few bends with one long end, on a machine with something in front of it; None as for `drawn`.

    Formed tube comes off and goes on only some way round there, or not at all.
    """
    rng = np.random.default_rng(47_000 + seed)
    machine = MACHINES[PROFILES[seed % 3]]
    tooling = machine.tooling[int(rng.integers(len(machine.tooling)))]
    part = _part("one short end", 1 + int(rng.integers(3)), machine, tooling, rng)
    machine, what = _blocked_in_front(machine, part, rng)
    return Drawn(f"part {seed} on {machine.name}, {what} in front", part, machine) if _apart(part, machine) else None


def coming_round(seed: int) -> Drawn | None:
    """A random part whose legs come round on to rod, section or tail, every other one on the other head; None as for
    `drawn`.

    Frames whose end crosses the feed behind the tail, hairpins of 145° to 180°, kicks of 3° among square bends.
    """
    rng = np.random.default_rng(83_000 + seed)
    machine, kind = MACHINES[PROFILES[seed % 3]], ("frame", "hairpin", "kick")[(seed // 3) % 3]
    if (seed // 9) % 2:
        machine = machine.mirrored()
    number = int(rng.integers(len(machine.tooling)))
    change = ("as packaged", *TIGHTER)[int(rng.integers(1 + len(TIGHTER)))]
    machine = _tightened(machine, number, change, rng)
    tooling = machine.tooling[number]
    assert machine.carriage is not None
    clamp, held = tooling.clamp_lengths[-1], machine.carriage.reach[0] + machine.carriage.grip_length
    if kind == "frame":
        n, side = 3, clamp * rng.uniform(1.05, 2.5)
        inner = np.array([held * rng.uniform(2.0, 3.2), side])
        ends = np.array([side + 2.0 * tooling.bend_radius + rng.uniform(20.0, 200.0), held * rng.uniform(1.02, 1.3)])
        angles, rolls = rng.uniform(80, 96, n), rng.uniform(-5, 5, n)
    else:
        n = 2 + int(rng.integers(3))
        inner, ends = clamp * rng.uniform(1.02, 3.0, n - 1) + 1.0, held * rng.uniform(0.5, 2.0, 2)
        rare = rng.uniform(145, 180, n) if kind == "hairpin" else np.full(n, 3.0)
        angles = np.where(rng.random(n) < 0.5, rare, rng.uniform(30, 120, n))
        angles[int(rng.integers(n))] = rare[0]
        rolls = rng.choice([0, 180, 90, -90, *rng.integers(-179, 180, 4)], n)
    trims = (round(held), round(held)) if rng.random() < 0.5 else (0, 0)
    part = _whole(kind, tooling, [ends[0], *inner, ends[1]], rolls, angles, trims)
    name = f"part {seed}, {kind}, on {machine.name}, {machine.head.bends_toward}, {change}"
    found = Drawn(name, part, machine)
    return found if _apart(part, machine) else None


def _apart(part: Part, machine: Machine) -> bool:
    """Whether the finished part keeps apart from itself so far that the drawing's own gap caps nothing."""
    return own_gap(SetUp(part, machine).views["A"], part.radius) > machine.clearance.to_itself + 2.0


def _part(kind: str, n: int, machine: Machine, tooling: Tooling, rng: np.random.Generator) -> Part:
    assert machine.carriage is not None
    clamp, held = tooling.clamp_lengths[-1], machine.carriage.reach[0] + machine.carriage.grip_length
    ends = rng.uniform(0.6, 2.2, 2) * held
    inner = clamp * rng.uniform(1.0, 4.0, n - 1) + 3.0
    angles = rng.choice([30, 45, 60, 90, 90, 120, *rng.integers(15, 140, 4)], n)
    rolls = rng.choice([90, -90, 180, *rng.integers(-179, 180, 4)], n)
    trims = (0.0, 0.0)
    if kind == "tall":
        ends = rng.uniform(0.5, 1.15, 2) * machine.head.centreline_height
        rolls = rng.choice([90, -90, 60, -60, 120, -120, 180, *rng.integers(-179, 180, 2)], n)
    elif kind == "short ends":
        ends = rng.uniform(0.1, 0.9, 2) * held
    elif kind == "one short end":
        ends = np.array([rng.uniform(0.3, 0.8), rng.uniform(1.0, 4.0)])[:: 1 if rng.random() < 0.5 else -1] * held
    elif kind == "short straights":
        inner = np.where(rng.random(n - 1) < 0.5, clamp * rng.uniform(0.95, 1.2, n - 1), inner)
    elif kind == "tight":
        angles, inner = rng.integers(80, 150, n), clamp * rng.uniform(1.05, 2.2, n - 1) + 2.0
    elif kind == "trimmed":
        ends, trims = rng.uniform(0.0, 1.0, 2) * held, (float(rng.integers(400)), float(rng.integers(400)))
    elif kind == "flat":
        rolls = rng.choice([0, 180], n)
    return _whole(kind, tooling, [ends[0], *inner, ends[1]], rolls, angles, trims)


def _whole(
    kind: str, tooling: Tooling, straights: Sequence[float], rolls: Any, angles: Any, trims: tuple[float, float]
) -> Part:
    """The part, its numbers in whole millimetres and degrees."""
    n, degrees = len(angles), np.round(np.asarray(angles, dtype=float))
    rotations = np.round([0.0, *map(float, rolls[1:])])
    return Part(
        name=kind, machine=None, outside_diameter=tooling.tube_diameter, wall=1.5, gauge=None, material="steel",
        yield_strength=None, straights=np.round(straights),
        rotations=np.radians(rotations), angles=np.radians(degrees),
        radii=np.full(n, tooling.bend_radius), trim_a=float(trims[0]), trim_b=float(trims[1]),
    )  # fmt: skip


TIGHTER = ("clamp", "section", "standing back", "standing arm", "never back", "arm post", "wall", "drawn back")


def _tightened(machine: Machine, number: int, change: str, rng: np.random.Generator) -> Machine:
    """The machine with less room for the arm's way home and for what waits behind, or with other such ways."""
    data = machine.normalised()
    tooling, (closest, farthest) = data["tooling"][number], data["carriage"]["reach"]
    if change == "clamp":
        tooling["clamp_block"]["opens"] *= float(rng.uniform(0.3, 1.0))
    elif change == "section":
        length = float(rng.uniform(0.3, 1.3)) * tooling["clamp_lengths"][-1]
        tooling["grip_section"] = False if rng.random() < 0.3 else {"length": length}
    elif change == "standing back":
        data["carriage"]["stand_back"] = closest + float(rng.uniform(0.0, 0.3)) * (farthest - closest)
    elif change == "standing arm":
        data["head"].update(may_ease_off=False, homes_with_tube=bool(rng.random() < 0.6))
    elif change == "never back":
        data["carriage"]["may_go_back"] = False
    elif change == "arm post":
        x, y = (
            rng.uniform(60.0, 220.0),
            rng.uniform(90.0, 260.0) * (1.0 if data["head"]["bends_toward"] == "right" else -1.0),
        )
        post = {"from": [x - 25.0, y - 25.0, -250.0], "to": [x + 25.0, y + 25.0, 250.0]}
        data["solid"].append({"name": "arm post", "moves_with": "arm", "box": post})
    elif change == "wall":
        x = float(rng.uniform(150.0, 900.0))
        data["solid"].append(_box("wall", x, -2500.0, -data["head"]["centreline_height"], x + 60.0, 2500.0, 2000.0))
    elif change == "drawn back":
        data["mandrel"]["draws_back"] = not data["mandrel"]["draws_back"]
    return machine_from_data(data)


def _altered(machine: Machine, change: str, part: Part, rng: np.random.Generator) -> Machine:
    """The machine with less room, so that re-grips, turns and reloads come up; a rod that just does for one bend or not."""
    data = machine.normalised()
    closest = data["carriage"]["reach"][0]
    if change == "short travel":
        data["carriage"]["reach"][1] = closest + 450.0
    elif change == "short rod":
        behind = [*(part.developed_length - part.bend_starts), *part.bend_ends]
        data["mandrel"]["rod_length"] = float(rng.choice(behind)) + float(rng.choice([-2.0, 2.0]))
    elif change == "closed":
        data["carriage"].update(passes_through=False, finish_released=False)
    elif change == "narrow chuck":
        data["rotation"]["range"] = [-190.0, 190.0]
    elif change == "no easing off":
        data["head"]["may_ease_off"] = False
    return machine_from_data(data)


def wall_with_opening(
    x: float, right: float, left: float, under: float, over: float, size: float = 3000.0
) -> list[dict[str, Any]]:
    """Solids 50 mm thick that close in the feed at x but for an opening, its edges so far from the feed [mm]."""
    yz = {
        "right": (-size, -size, -right, size),
        "left": (left, -size, size, size),
        "under": (-size, -size, size, -under),
        "over": (-size, over, size, size),
    }
    return [_box(name, x, y0, z0, x + 50.0, y1, z1) for name, (y0, z0, y1, z1) in yz.items()]


def _box(name: str, *corners: float) -> dict[str, Any]:
    box = {"from": list(map(float, corners[:3])), "to": list(map(float, corners[3:]))}
    return {"name": name, "moves_with": "frame", "box": box}


def _blocked_in_front(machine: Machine, part: Part, rng: np.random.Generator) -> tuple[Machine, str]:
    """The machine with something in front of it, and what: about as far ahead as the shorter end reaches in a swing."""
    data, height = machine.normalised(), machine.head.centreline_height
    reach = part.developed_length - float(part.straights[[0, -1]].max()) + float(part.radii[0])
    x, aside, over, under = map(float, reach * rng.uniform([0.7, 0.1, 0.1, 0.1], [1.1, 0.6, 0.6, 0.6]))
    side = 1.0 if rng.random() < 0.5 else -1.0
    what = ("pillar", "bench", "wall", "doorway", "hatch", "hatch")[int(rng.integers(6))]
    if what == "pillar":
        pillar = {"centre": [x, side * aside], "radius": 40.0, "z": [-height, 3000.0]}
        more = [{"name": what, "moves_with": "frame", "cylinder": pillar}]
    elif what == "bench":
        more = [_box(what, x, -reach, -height, 4.0 * reach, reach, -min(under, height - 50.0))]
    elif what == "wall":
        near, far = sorted((side * aside, side * (aside + 60.0)))
        more = [_box(what, x, near, -height, 4.0 * reach, far, 3000.0)]
    else:
        more = wall_with_opening(x, aside, aside, height if what == "doorway" else under, over)
    data["solid"].extend(more)
    return machine_from_data(data), what


def parts(count: int) -> Iterator[Drawn]:
    """The first so many random parts that do not run through themselves; every tenth seed also gives one hemmed in."""
    seeds = itertools.count()
    made = (make(seed) for seed in seeds for make in ((drawn, hemmed_in) if seed % 10 == 9 else (drawn,)))
    return itertools.islice((found for found in made if found is not None), count)
