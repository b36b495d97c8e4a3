"""Random shop cases in whole millimetres, so that an enumeration at 1 mm misses nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.rules.broken import End
from planner.rules.grip import Loaded
from planner.tube.partly_bent import seen_from
from tests.plan.shop import RADIUS, bender, tube


@dataclass(frozen=True)
class Numbers:
    """A part loaded with one end leading, as plain numbers counted from that end [mm].

    starts, ends: tangent points; swings: where the tangent point stands when the swing ends; stock: the tail's end.
    """

    starts: list[int]
    ends: list[int]
    swings: list[int]
    stock: int
    closest: int
    farthest: int
    grip: int


def whole_millimetres(
    seed: int, passes_through: bool = True, released: bool = False
) -> tuple[Part, Machine, list[float]]:
    """A part whose straights, arcs and settings are whole millimetres of tube, a machine, and the settings [rad]."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 6))
    arcs, opened = rng.integers(20, 160, n), rng.integers(0, 9, n)
    straights = [float(x) for x in (rng.integers(0, 200), *rng.integers(60, 260, n - 1), rng.integers(0, 400))]
    rotations = [0.0, *rng.uniform(-170, 170, n - 1)]
    trims = (float(rng.integers(0, 120)), float(rng.integers(0, 200)))
    part = tube(straights, rotations, list(np.degrees(arcs / RADIUS)), trims)
    closest = int(rng.integers(40, 200))
    carriage: dict[str, Any] = {
        "reach": [closest, closest + int(rng.integers(120, 900))],
        "grip_length": int(rng.integers(20, 80)),
        "passes_through": passes_through,
        "finish_released": released,
    }
    machine = bender({"carriage": carriage}, dies_on_the_edge(seed, arcs + opened))
    return part, machine, [float(x) / RADIUS for x in arcs + opened]


def dies_on_the_edge(seed: int, feeds: NDArray[np.int64]) -> dict[str, Any]:
    """Tooling whose pressure die just lasts the longest feed [mm], or does not, or stands; sections long, short or none."""
    rng = np.random.default_rng([seed, 1])
    rest = int(rng.integers(20, 60))
    spare = int(rng.choice([200, int(rng.integers(-1, 6))], p=[0.6, 0.4]))
    dies: dict[str, Any] = {
        "pressure_rest": rest,
        "pressure_die_length": int(feeds.max()) + rest + spare,
        "pressure_die_follows": bool(rng.random() < 0.9),
    }
    if rng.random() < 0.5:
        dies["grip_section"] = False if rng.random() < 0.3 else {"length": int(rng.integers(50, 90))}
    return {"tooling": dies}


def clamped(tooling: Tooling, straight: float) -> bool:
    """Whether a straight between two bends holds one of the clamps and the die's straight groove with it [mm]."""
    section = tooling.grip_section
    if section is False:
        return min(tooling.clamp_lengths) <= straight
    if section is None or section.length is None:  # as long as the clamp that is fitted
        return min(tooling.clamp_lengths) <= straight
    return max(section.length, min(tooling.clamp_lengths)) <= straight


def lasts(tooling: Tooling, feed: float) -> bool:
    """Whether enough of the pressure die is left behind the die when so much tube has been drawn [mm]."""
    assert tooling.pressure_rest is not None  # the tests say it
    return not tooling.pressure_die_follows or tooling.pressure_die_length - feed >= tooling.pressure_rest


def loaded(part: Part, leads: End, trims: tuple[float, float]) -> Loaded:
    """The part with an end leading; trims at A and B [mm]."""
    lead, tail = trims if leads == "A" else trims[::-1]
    return Loaded(seen_from(part, leads), leads, lead, tail)


def numbers(part: Part, machine: Machine, settings: list[float], leads: End, trim_tail: float) -> Numbers:
    """The same from the rows of the drawing, bend by bend from the leading end."""
    straights = [round(float(x)) for x in part.straights]
    arcs = [round(float(r * a)) for r, a in zip(part.radii, part.angles, strict=True)]
    feeds = [round(s * RADIUS) for s in settings]
    if leads == "B":
        straights, arcs, feeds = straights[::-1], arcs[::-1], feeds[::-1]
    starts, ends, swings, at = [], [], [], 0
    for straight, arc, feed in zip(straights, arcs, feeds, strict=False):
        at += straight
        starts.append(at)
        swings.append(at + max(feed, arc))
        at += arc
        ends.append(at)
    carriage = machine.carriage
    assert carriage is not None
    closest, farthest = (round(x) for x in carriage.reach)
    return Numbers(
        starts, ends, swings, at + straights[-1] + round(trim_tail), closest, farthest, round(carriage.grip_length)
    )
