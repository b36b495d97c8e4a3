"""How long the certified check of whole plans takes, and the same motions sampled with coal; run by hand:

    python -m pytest -o addopts=--import-mode=importlib -s tests/benchmarks/test_replay_benchmark.py

Both look at the plans of the same random parts in the same run. The sampled check asks for less: floor, profile's solids,
die hub, rod and tail only, nothing grooved; and it leaves a gap between two samples, which is printed too.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from typing import Any

import coal
import numpy as np
import pytest

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.rows import rows_of
from planner.plans import plan_writer
from tests.geometry.distances import CONVEX
from tests.geometry.shapes import LENGTHWISE
from tests.plan.replay.cases import DEFAULT, random_case
from tests.plan.replay.clearances import Clearances, replayed
from tests.plan.replay.motions import Body, Length, Motion
from tests.plan.replay.sampling import Held, moves, parts

EVERY, WAY, ARC = 0.25, 2.0, math.radians(5.0)
"""A sample every so many degrees or mm of a motion; arcs as capsules of so much [rad]."""

REQUEST = coal.DistanceRequest()
NONE = (0.0, 0.0)

Batch = tuple[list[Any], Any, list[tuple[float, ...]]]


def samples(motion: Motion) -> int:
    """How often a motion is sampled."""
    turned = max(abs(math.degrees(b - a)) for body in motion.bodies for a, b in (body.roll, body.swing))
    turned = max(turned, abs(math.degrees(motion.arm[1] - motion.arm[0])))
    shifted = abs(motion.at[1] - motion.at[0])
    face = 0.0 if motion.face is None else abs(motion.face[1] - motion.face[0])
    return math.ceil(max(turned / EVERY, max(shifted, face) / WAY, 1.0)) + 1


def capsules(length: Length, radius: float) -> list[tuple[Any, Any, Any]]:
    """A piece as capsules, each with its matrix and middle in the body's frame."""
    found = []
    for low, high in parts(length):
        count = max(1, math.ceil((high - low) * length.piece.curvature / ARC))
        for first, last in zip(*(lambda s: (s[:-1], s[1:]))(np.linspace(low, high, count + 1)), strict=True):
            middle = np.array([(first + last) / 2.0])
            along, side = length.piece.tangents(middle)[0], np.cross(length.piece.along, length.piece.inward)
            turn = np.column_stack((along, np.cross(side, along), side)) @ LENGTHWISE
            found.append((coal.Capsule(radius, float(last - first)), turn, length.piece.points(middle)[0]))
    return found


def asked(plan: Clearances, motion: Motion) -> Iterator[tuple[Any, Any, Any, Any]]:
    """What coal is asked about one motion: two shapes and where they are. What stands still against the tube is left out."""
    solids = [solid for solid in plan._solids(motion) if solid.kind in CONVEX and solid.numbers[0] != 0.0]
    tube: list[tuple[Body, list[tuple[Any, Any, Any]], list[Any]]] = []
    for body in motion.bodies:
        for length in body.lengths:
            against = [solid for solid in solids if plan._counts(motion, length, solid)]
            against = [solid for solid in against if moves(Held(motion, body, length, NONE, solid, NONE, 0.0))]
            if against:
                tube.append((body, capsules(length, plan.done.radius), against))
    for t in np.linspace(0.0, 1.0, samples(motion)):
        for body, pieces, against in tube:
            for solid in against:
                seen = plan.looked.seen(motion, body, solid.moves_with, float(t))
                thing, turn, place = body(solid.kind, solid.numbers)
                there = coal.Transform3s(turn, place)
                for capsule, along, middle in pieces:
                    yield capsule, coal.Transform3s(seen.turn @ along, seen.points(middle)), thing, there
        plan.looked.plan_writer.clear()


def sampled(plans: list[Clearances]) -> tuple[float, float, int]:
    """Seconds for all of it, seconds within coal alone, and how often it was asked."""
    whole, within, count = 0.0, 0.0, 0
    result = coal.DistanceResult()
    for plan in plans:
        for motion in plan.motions:
            began = time.perf_counter()
            questions = list(asked(plan, motion))
            ready = time.perf_counter()
            for one, here, other, there in questions:
                coal.distance(one, here, other, there, REQUEST, result)
            done = time.perf_counter()
            whole, within, count = whole + done - began, within + done - ready, count + len(questions)
    return whole, within, count


def widest_gap(plans: list[Clearances]) -> float:
    """How far the tube may come nearer between two samples than at either [mm]: half the way of its fastest point."""
    widest = 0.0
    for plan in plans:
        for motion in plan.motions:
            if motion.phase == "bend":
                (ahead,) = [body for body in motion.bodies if body.name == "ahead"]
                far = max((float(np.linalg.norm(length.piece.points(np.array([length.piece.length]))))
                           for length in ahead.lengths), default=0.0)  # fmt: skip
                widest = max(widest, far * abs(motion.arm[1] - motion.arm[0]) / (samples(motion) - 1) / 2.0)
    return widest


def test_plans_certified_and_sampled_with_coal(monkeypatch: pytest.MonkeyPatch) -> None:
    batches: list[Batch] = []

    def noted(motions: list[Any], around: Any, clamps: list[tuple[float, ...]]) -> Any:
        batches.append((motions, around, clamps))
        return rows_of(motions, around, clamps)

    monkeypatch.setattr(plan_writer, "rows_of", noted)  # what the clearances of the plan printed are asked of
    cases = [case for case in map(random_case, DEFAULT[:8]) if case is not None]
    plans = [replayed(case.document) for case in cases]
    motions = sum(len(plan.motions) for plan in plans)
    certified = sum(len(batch[0]) for batch in batches)
    assert certified >= motions  # a tube laid in is certified where it lies, too

    times = {}
    for check in (certify, smallest_clearances):
        began = time.perf_counter()
        for batch in batches:
            check(rows_of(*batch))
        times[check.__name__] = time.perf_counter() - began
    whole, within, count = sampled(plans)
    print(f"\n{motions} motions of {len(plans)} plans, a plan at a time:")
    for name, seconds in times.items():
        print(f"{name}: {seconds / certified * 1e3:.2f} ms a motion")
    print(
        f"coal every {EVERY}°: {whole / motions * 1e3:.1f} ms a motion, {within / motions * 1e3:.1f} ms of them in coal,"
    )
    print(f"  {count / motions:.0f} questions, gaps of up to {widest_gap(plans):.1f} mm between samples")
    once = times["certify"] * motions / certified
    print(f"coal / certify: {whole / once:.0f} times, of coal alone {within / once:.0f} times")
    assert once < within
