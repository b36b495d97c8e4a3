"""How long a certified motion check takes in a batch; run by hand:

    python -m pytest -o addopts=--import-mode=importlib -s tests/benchmarks/test_clearance_benchmark.py

Printed: time and evaluations a motion, the same motions sampled every 0.25° with coal, where the time goes.
"""

import cProfile
import io
import pstats
import time
from collections import Counter

import coal
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.tube.bodies import Motion
from tests.clearance.cases import RADIUS, WALL, Step, drawing, steps_of
from tests.clearance.machines import box, machine, post
from tests.clearance.oracle import gap
from tests.geometry.shapes import body

BENCH = machine("right", [
    box("bed", "frame", (-4200, -140, -1050), (-120, 140, -110)),
    post("post", "frame", (120, -90), 150, (-1050, -260)),
    box("swing arm", "arm", (-40, -60, -200), (260, 200, -90)),
    box("carriage body", "carriage", (-300, -90, -90), (0, 90, -40)),
    box("guard", "frame", (250, 300, -1050), (700, 340, 300)),
], height=1050.0)  # fmt: skip
AROUND = Surroundings.of(BENCH, BENCH.tooling[0], RADIUS, 2.0, WALL)


def batch(seeds: range) -> list[Step]:
    return [step for seed in seeds for d in [drawing(np.random.default_rng(seed))]
            for step in steps_of(d, -1.0, np.random.default_rng(seed))]  # fmt: skip


def near_misses(steps: list[Step]) -> list[Step]:
    """Those that are clear, and nearer than 30 mm to something."""
    least = smallest_clearances(rows_of([s.motion for s in steps], AROUND, [(76.0,)] * len(steps)))
    return [step for step, found in zip(steps, least, strict=True) if 2.0 < found.bound < 30.0]


def check(motions: list[Motion]) -> tuple[int, Counter[str]]:
    found = certify(rows_of(motions, AROUND, [(76.0,)] * len(motions)), keep_cover=True)
    return found.evaluations, Counter(f.answer.value for f in found.findings.values())


@pytest.mark.parametrize("count", [8, 30, 120], ids=lambda n: f"motions of {n} bends a batch")
def test_certified_motions_in_a_batch(benchmark: BenchmarkFixture, count: int) -> None:
    motions = [step.motion for step in batch(range(1000, 1000 + count))]
    evaluations, answers = benchmark(check, motions)
    milliseconds = benchmark.stats.stats.median * 1e3 / len(motions)
    print(
        f"\n{len(motions)} motions: {milliseconds:.3f} ms and {evaluations / len(motions):.0f} evaluations each, {answers}"
    )


def test_near_misses_in_a_batch(benchmark: BenchmarkFixture) -> None:
    motions = [step.motion for step in near_misses(batch(range(1000, 1060)))]
    evaluations, answers = benchmark(check, motions)
    milliseconds = benchmark.stats.stats.median * 1e3 / len(motions)
    print(
        f"\n{len(motions)} near misses: {milliseconds:.3f} ms, {evaluations / len(motions):.0f} evaluations each, {answers}"
    )


def sampled(step: Step) -> float:
    """The same motion every 0.25° (2 mm of way), arcs as capsules every 5°, solids of the profile and the floor."""
    play = step.play
    turn = sum(abs(b - a) for a, b in (play.arm, play.rotation, play.swing or (0.0, 0.0)))
    count = int(max(np.degrees(turn) / 0.25, abs(play.at[1] - play.at[0]) / 2.0, 1.0))
    solids = [("frame", body("floor", (-1050.0,)))]
    for s in BENCH.solid:
        numbers = (*s.box.from_, *s.box.to) if s.box else (*s.cylinder.centre, s.cylinder.radius, *s.cylinder.z)  # type: ignore[union-attr]
        solids.append((s.moves_with, body("box" if s.box else "cylinder", numbers)))
    least = np.inf
    for t in np.linspace(0.0, 1.0, count):
        now = play.moment(float(t))
        cuts = [now.at]
        for tail_end, length, curvature, _, _ in now.tube.walk[1:]:
            parts = 1 if curvature == 0.0 else max(1, int(np.degrees(length * curvature) / 5.0))
            cuts.extend(
                tail_end - length * (k + 1) / parts
                for k in range(parts)
                if tail_end - length * (k + 1) / parts < now.at
            )
        frames = now.frames(np.array(cuts))
        ends = frames[:, :3, 3]
        for owner, solid in solids:
            poses = play.seen(owner, frames, float(t))
            for k in range(len(cuts) - 1):
                long = float(np.linalg.norm(ends[k + 1] - ends[k]))
                middle = poses[k].copy()
                middle[:3, 3] = (poses[k, :3, 3] + poses[k + 1, :3, 3]) / 2.0
                least = min(least, gap(coal.Capsule(RADIUS, long), middle, solid))
    return least


def test_the_same_motions_sampled_with_coal() -> None:
    steps = batch(range(1000, 1002))
    began = time.perf_counter()
    for step in steps:
        sampled(step)
    coal_time = (time.perf_counter() - began) / len(steps)
    motions = [step.motion for step in batch(range(1000, 1030))]
    began = time.perf_counter()
    check(motions)
    own = (time.perf_counter() - began) / len(motions)
    assert own < coal_time
    print(
        f"\ncoal every 0.25°: {coal_time * 1e3:.1f} ms a motion; certified: {own * 1e3:.3f} ms; {coal_time / own:.0f} times"
    )


def test_where_the_time_goes() -> None:
    motions = [step.motion for step in batch(range(1000, 1030))]
    check(motions)
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(3):
        check(motions)
    profile.disable()
    out = io.StringIO()
    pstats.Stats(profile, stream=out).strip_dirs().sort_stats("tottime").print_stats(14)
    print(out.getvalue())
