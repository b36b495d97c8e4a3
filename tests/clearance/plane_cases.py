"""Random places in the plane of advance and rotation: the program's `Field` beside the tests' own `Ground` of it."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from planner.clearance.plane import Field
from planner.clearance.rectangles import Region
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.inputs.machine import Machine
from planner.tube import motions
from planner.tube.motions import Standing
from planner.tube.partly_bent import leading_part
from tests.clearance.cases import RADIUS, WALL, Case, Step, part_of
from tests.clearance.flood import Ground, Plane, balls_of, stretches, things_of
from tests.clearance.machines import CLR, box, machine, post
from tests.clearance.oracle import Array, Drawing, Play, disc_points
from tests.clearance.surfaces import Grooved, Surface, rods, surface

FACE = 900.0
"""Collet's face to tangent point at an advance of 0 [mm]."""


@dataclass(frozen=True)
class Trial:
    """A tube between two bends, where it stands and where it is to go.

    formed: angle of each formed bend; at: stock coordinate at the tangent point at y = 0; laid_in: it begins with a
    straight, no arc was just formed.
    """

    drawing: Drawing
    side: float
    formed: dict[int, float]
    plane_of: int
    at: float
    laid_in: bool
    bench: Machine
    clamps: tuple[float, ...]
    plane: Plane
    starts: tuple[Region, ...] = ()
    goals: tuple[Region, ...] = ()

    def field(self) -> Field:
        """What the program is asked: rows of the tube turning at y = 0, needs as over all advances.

        What the carriage carries moves along with the tube and proves nothing; nor does one clamp of several.
        """
        ahead = leading_part(part_of(self.drawing), set(self.formed), self.at, 0.0, self.side, self.plane_of)
        tail = self.drawing.developed - self.at
        standing = Standing(ahead, not self.laid_in, tail, self.at, FACE, CLR, self.side)
        sweep = motions.rotate(standing, 0.0, self.plane.rolls)
        sweep = replace(sweep, leading_length=(self.at + self.plane.y[0], self.at + self.plane.y[1]))
        rows = rows_of([sweep], Surroundings.of(self.bench, self.bench.tooling[0], RADIUS, 2.0, WALL), [self.clamps])
        carried = {solid.name for solid in self.bench.solid if solid.moves_with == "carriage"}
        moving = np.array([rows.names[k] in carried for k in rows.solid])
        proves = ~moving & ((rows.clamp < 0) | (len(self.clamps) == 1))
        return Field(rows, self.plane.y, self.plane.rolls, self.plane.goes_round, np.where(moving, 0.0, 1.0), proves)

    @property
    def on_mandrel(self) -> float:
        """How far past the tangent point tube may lie on the mandrel, and a diameter more [mm]."""
        return max(front for _, front, _ in rods(self.bench, True).values()) + 2.0 * RADIUS

    @cached_property
    def ground(self) -> Ground:
        """The same for the tests."""
        balls = balls_of(self.drawing, self.formed, self.at, self.plane_of, self.side, self.laid_in, self.on_mandrel)
        return Ground(balls, things_of(self.bench, self.side, self.clamps, FACE), self.at)

    def step(self, y: float, roll: float) -> Step:
        """The tests' own moment with the tube at a place; the program's motion is not looked at."""
        play = Play(
            self.drawing, self.formed, self.side, self.plane_of, (self.at + y,) * 2, rotation=(roll, roll),
            face=(FACE - y, FACE - y), stock_end=self.drawing.developed,
        )  # fmt: skip
        return Step("rotate", None, play)  # type: ignore[arg-type]

    def spare(self, y: float, roll: float, fine: bool = False, proving: bool = False) -> tuple[float, str]:
        """The least by which a piece keeps more than it needs at one pose, and from what; by coal and the profiles.

        Arcs are looked at every 6 mm, or every millimetre: never nearer than they are. proving: only what proves it.
        """
        step = self.step(y, roll)
        now, pairs = step.play.moment(0.0), []
        for begin, end, kind, straight in stretches(now.tube, self.at, self.laid_in, self.on_mandrel):
            reach = begin - end
            centres = now.frames(begin - np.linspace(0.0, reach, int(reach / 8.0) + 2))[:, :3, 3]
            for thing in self.ground.things:
                if (proving and not thing.proves) or not np.isfinite(thing.needs[kind]):
                    continue
                needed = thing.needs[kind] + thing.per_metre * (self.at + y) / 1000.0
                far = thing.distance(centres - [y * thing.carried, 0.0, 0.0]).min() - 4.0 - thing.error - RADIUS
                pairs.append((float(far) - needed, needed, thing.name, begin, reach, straight))
        worst = (np.inf, "nothing")
        for least, needed, name, begin, reach, straight in sorted(pairs):
            if least > worst[0]:
                break
            count = 2 if straight else max(3, int(reach / (1.0 if fine else 6.0)) + 1)
            frames = now.frames(np.linspace(begin, begin - reach, count))
            for clamp in self.clamps if name in ("clamp die", "grip section") else (0.0,):
                solid = surface(Case(self.drawing, self.side, [], self.bench, None), step, name, clamp, 0.0)  # type: ignore[arg-type]
                seen = step.play.seen(solid.owner, frames, 0.0)
                worst = min(worst, (_near(solid, seen, reach, straight, fine) - needed, name))
        return worst


def _near(solid: Surface, frames: Array, length: float, straight: bool, fine: bool) -> float:
    """How near a stretch of tube is: a straight by its first frame and its length, an arc by its cross-sections.

    fine: to grooved solids straights too every millimetre, and the nearest sections all round.
    """
    if not (isinstance(solid, Grooved) and fine):
        return float(solid.to_straight(frames[0], length) if straight else solid.to_sections(frames))
    if straight:
        s = np.linspace(0.0, length, max(2, int(length)))
        frames = np.repeat(frames[:1], s.size, axis=0)
        frames[:, :3, 3] += s[:, None] * frames[0, :3, 0]
    by_section = solid.distances(disc_points(frames, RADIUS, 24)).min(axis=1)
    return min(float(solid.to_sections(frames[k : k + 1])) for k in np.argsort(by_section)[:4])


def drawn(rng: np.random.Generator) -> tuple[Drawing, int]:
    """A part of one to four bends and the bend that is made last."""
    n = int(rng.integers(1, 5))
    straights = np.array([rng.uniform(60.0, 450.0), *rng.uniform(80.0, 250.0, n - 1), rng.uniform(300.0, 600.0)])
    rotations = np.concatenate(([0.0], rng.choice([0.0, np.pi, *rng.uniform(-3.1, 3.1, 6)], n - 1)))
    angles = np.where(rng.random(n) < 0.3, np.pi / 2.0, np.radians(rng.uniform(15.0, 170.0, n)))
    return Drawing(
        straights.round(6), np.radians(np.degrees(rotations).round(6)), np.radians(np.degrees(angles).round(6)), CLR
    ), int(rng.integers(1, n + 1))


def trial(seed: int) -> Trial:
    """A random tube among random things; the start and the goal are poses that are clear, with some room."""
    rng = np.random.default_rng(31_000 + seed)
    head = "left" if seed % 2 else "right"
    d, bend = drawn(rng)
    before = {j: float(d.angles[j - 1]) for j in range(1, bend) if rng.random() < 0.85}
    laid_in = bool(before) and rng.random() < 0.25
    formed = before if laid_in else {**before, bend: float(d.angles[bend - 1])}
    at = float(d.starts[bend - 1]) + (0.0 if laid_in else CLR * float(d.angles[bend - 1]))
    low = float(rng.choice([0.0, rng.uniform(50.0, 200.0)]))
    y = (low, low + rng.uniform(120.0, 400.0))
    goes_round = bool(rng.random() < 0.5)
    first = float(rng.choice([-np.pi, rng.uniform(-6.0, 0.0)]))
    rolls = (first, first + (2.0 * np.pi if goes_round else rng.uniform(3.0, 6.3)))
    bare = Trial(
        d, 1.0 if seed % 2 else -1.0, formed, bend, at, laid_in, machine(head), (76.0,), Plane(y, rolls, goes_round)
    )
    far = bare.ground.balls.far
    height = float(rng.uniform(0.4, 1.1)) * far + RADIUS + 10.0 if rng.random() < 0.6 else 3000.0
    keep = {"per_metre": float(rng.choice([0.0, 0.0, 6.0]))}
    clamps = (115.0, 76.0) if rng.random() < 0.2 else (76.0,)
    bench = machine(head, solids_about(bare, far, rng), clearance=keep, height=height)
    whole = replace(bare, bench=bench, clamps=clamps)
    starts, goals = ends(whole, rng)
    return replace(whole, starts=starts, goals=goals)


def solids_about(bare: Trial, far: float, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Plates that the farthest point of the tube may not pass, and boxes and posts near the tube at some pose."""
    solids: list[dict[str, Any]] = []
    for k in range(int(rng.integers(1, 4))):
        near, thick = rng.uniform(0.3, 0.95) * far + 30.0, rng.uniform(20.0, 300.0)
        low, high = np.array([-300.0, -1500.0, -1500.0]), np.array([2500.0, 1500.0, 1500.0])
        axis, sign = int(rng.integers(1, 3)), rng.choice([-1.0, 1.0])
        low[axis], high[axis] = sorted((sign * near, sign * (near + thick)))
        solids.append(box(f"plate {k}", "frame", low.round(3), high.round(3)))
    for k in range(int(rng.integers(1, 4))):
        owner = ("frame", "frame", "arm", "arm", "carriage")[int(rng.integers(5))]
        y, roll = rng.uniform(*bare.plane.y), rng.uniform(*bare.plane.rolls)
        u = rng.uniform(0.0, 0.8 * bare.at)
        x = bare.step(y, roll).play.moment(0.0).frames(np.array([u]))[0, :3, 3]
        x = x + [FACE - y if owner == "carriage" else 0.0, 0.0, 0.0]
        away = rng.normal(size=3)
        x = x + away / np.linalg.norm(away) * (RADIUS + rng.uniform(-5.0, 50.0))
        size = 10.0 ** rng.uniform(1.0, 2.8, 3)
        low = np.where(rng.random(3) < 0.4, x - size / 2.0, np.where(away > 0.0, x, x - size)).round(3)
        if rng.random() < 0.4:
            r = float(size[0] / 2.0)
            solids.append(post(f"{owner} {k}", owner, low[:2] + r, r, (low[2], low[2] + size[2])))
        else:
            solids.append(box(f"{owner} {k}", owner, low, low + size))
    return solids


def ends(whole: Trial, rng: np.random.Generator) -> tuple[tuple[Region, ...], tuple[Region, ...]]:
    """Start and goal: clear poses far apart, points or spans of advances at one rotation."""
    y, roll = rng.uniform(*whole.plane.y, 200), rng.uniform(*whole.plane.rolls, 200)
    clear = np.flatnonzero(whole.ground.sure(y, roll, 3.0, 0.01).clear)
    if clear.size < 2:
        clear = np.arange(2)
    one = int(clear[0])
    apart = np.abs(roll[clear] - roll[one])
    two = int(clear[np.argsort(-apart)[int(rng.integers(0, max(1, clear.size // 3)))]])
    regions = []
    for k in (one, two):
        span = (float(y[k]), float(y[k]))
        if rng.random() < 0.3:
            span = (span[0], min(span[0] + 60.0, whole.plane.y[1]))
        regions.append(Region(span, (float(roll[k]), float(roll[k]))))
    return (regions[0],), (regions[1],)


def leg(
    height: float, solids: list[dict[str, Any]], start: float, goal: float, rolls: tuple[float, float],
    goes_round: bool = True, y: tuple[float, float] = (160.0, 400.0), at_y: float = 250.0, per_metre: float = 0.0,
) -> Trial:  # fmt: skip
    """A leg of 900 mm that lies level at a roll of 0 on a right head, hangs down at +90° and stands up at −90°."""
    drawing = Drawing(np.array([900.0, 400.0]), np.zeros(1), np.array([np.pi / 2.0]), CLR)
    plane = Plane(y, rolls, goes_round)
    ends = [(Region((at_y, at_y), (roll, roll)),) for roll in np.radians([start, goal])]
    bench = machine("right", solids, clearance={"per_metre": per_metre}, height=height)
    at = 900.0 + CLR * np.pi / 2.0
    return Trial(drawing, -1.0, {1: np.pi / 2.0}, 1, at, False, bench, (76.0,), plane, *ends)
