"""Random bends with every motion of their cycle: the program's `Motion` beside the tests' own `Play` of it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tube import motions
from planner.tube.motions import InDie, Motion, Standing
from planner.tube.partly_bent import leading_part
from tests.clearance.machines import CLR, DIAMETER, box, machine, post
from tests.clearance.oracle import Array, Drawing, Play

RADIUS = DIAMETER / 2.0


def part_of(drawing: Drawing) -> Part:
    """The program's part, counted from the leading end."""
    return Part(
        name="random", machine=None, outside_diameter=DIAMETER, wall=1.65, gauge=None, material="stainless 304",
        yield_strength=None, straights=drawing.straights, rotations=drawing.rotations, angles=drawing.angles,
        radii=np.full(len(drawing.angles), drawing.clr), trim_a=0.0, trim_b=0.0,
    )  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One motion, twice."""

    name: str
    motion: Motion
    play: Play


@dataclass(frozen=True)
class Case:
    """One bend of a random part: its steps, and the machine with random solids near the tube."""

    drawing: Drawing
    side: float
    steps: list[Step]
    machine: Machine
    around: Surroundings

    def rows(self, clamp: float = 76.0) -> Rows:
        """Rows of every pair of a step and a solid, each numbered like a motion of its own.

        Number = step · (solids' names) + name; the names are in the order of `names`.
        """
        rows = rows_of([step.motion for step in self.steps], self.around, [(clamp,)] * len(self.steps))
        names = self.names(rows)
        which = np.array([names.index(rows.names[k]) for k in rows.solid], dtype=np.int64)
        number = rows.motion * len(names) + which
        return replace(
            rows, motion=number, clamp=np.full(rows.count, -1, dtype=np.int64), n_motions=len(self.steps) * len(names)
        )

    @staticmethod
    def names(rows: Rows) -> list[str]:
        return list(dict.fromkeys(rows.names))


def drawing(rng: np.random.Generator) -> Drawing:
    n = int(rng.integers(1, 6))
    ends = (rng.uniform(70.0, 500.0), rng.uniform(300.0, 900.0))
    straights = np.array([ends[0], *rng.uniform(80.0, 260.0, n - 1), ends[1]])
    rotations = np.concatenate(([0.0], rng.choice([0.0, np.pi, *rng.uniform(-3.1, 3.1, 6)], n - 1)))
    angles = np.where(rng.random(n) < 0.25, np.pi / 2.0, np.radians(rng.uniform(10.0, 170.0, n)))
    # Rounded as the program rounds its parts (9 decimals), so that both start from the same numbers.
    return Drawing(
        straights.round(6), np.radians(np.degrees(rotations).round(6)), np.radians(np.degrees(angles).round(6)), CLR
    )


def steps_of(d: Drawing, side: float, rng: np.random.Generator) -> list[Step]:
    """Close, bend, re-grip, open, return; ease off and return; advance, rotate, advance or go back."""
    part = part_of(d)
    bend = int(rng.integers(1, len(d.angles) + 1))
    before = {j: float(d.angles[j - 1]) for j in range(1, bend) if rng.random() < 0.85}
    angle, start = float(d.angles[bend - 1]), float(d.starts[bend - 1])
    setting = angle * (1.0 + rng.uniform(0.0, 0.05))
    end, feed, face = start + d.clr * angle, d.clr * setting, rng.uniform(600.0, 1200.0)
    stock_end = d.developed + 200.0
    follows = bool(rng.random() < 0.5)
    ahead = leading_part(part, set(before), start, 0.0, side, bend)
    grip = InDie(ahead, d.clr, side, angle, setting, start, stock_end - start, face, follows)
    released, forward = face - feed, feed if follows else 0.0
    opened = released + rng.uniform(-100.0, 300.0)

    def play(**changes: Any) -> Play:
        plain: dict[str, Any] = {
            "drawing": d, "formed": {**before, bend: angle}, "side": side, "plane_of": bend, "at": (end, end),
            "stock_end": stock_end,
        }  # fmt: skip
        return Play(**{**plain, **changes})

    def bending(swing: tuple[float, float], **changes: Any) -> Play:
        at = (start + d.clr * swing[0], start + d.clr * swing[1])
        return play(formed=before, swing=swing, bend=bend, at=at, **changes)

    after = leading_part(part, {*before, bend}, end, 0.0, side, bend)
    standing = Standing(after, True, stock_end - end, end, opened + d.clr * (setting - angle), d.clr, side)
    back = opened + d.clr * (setting - angle)
    y, roll_ = rng.uniform(20.0, 300.0), float(rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 3.1))
    y2 = y * rng.uniform(0.3, 1.6)
    return [
        Step("dies close", motions.close_dies(grip), bending((0.0, 0.0), face=(face, face))),
        Step("bend", motions.bend(grip), bending(
            (0.0, setting), arm=(0.0, setting), face=(face, released), forward=(0.0, forward))),
        Step("re-grip", motions.regrip(grip, (released, opened)), bending(
            (setting, setting), arm=(setting, setting), face=(released, opened), forward=(forward, forward))),
        Step("dies open", motions.open_dies(grip, opened), bending(
            (setting, angle), arm=(setting, setting), face=(opened, back), forward=(forward, forward))),
        Step("return", motions.return_arm(standing, setting, 0.0, forward), play(
            arm=(setting, 0.0), face=(back, back), forward=(forward, 0.0))),
        Step("ease off", motions.ease_off(standing, setting, y), play(
            arm=(setting, setting), at=(end, end + y), face=(back, back - y))),
        Step("eased return", motions.return_arm(standing, setting, y, forward), play(
            arm=(setting, 0.0), at=(end + y, end + y), face=(back - y, back - y), forward=(forward, 0.0))),
        Step("advance", motions.advance(standing, (0.0, y), 0.0, False), play(
            at=(end, end + y), face=(back, back - y))),
        Step("rotate", motions.rotate(standing, y, (0.0, roll_)), play(
            at=(end + y, end + y), face=(back - y, back - y), rotation=(0.0, roll_))),
        Step("advance, rotated", motions.advance(standing, (y, y2), roll_, True), play(
            at=(end + y, end + y2), face=(back - y, back - y2), rotation=(roll_, roll_))),
    ]  # fmt: skip


def solids_near(steps: list[Step], rng: np.random.Generator, count: int) -> list[dict[str, Any]]:
    """Boxes and posts on frame, arm and carriage, each near some place of the leading part at some moment."""
    solids: list[dict[str, Any]] = []
    for k in range(count):
        owner = ("frame", "arm", "carriage")[k % 3]
        play = steps[int(rng.integers(len(steps)))].play
        t, now = float(rng.random()), play.moment(float(rng.random()))
        now = play.moment(t)
        u = rng.uniform(0.0, max(now.at - 40.0, 10.0))
        x = play.seen(owner, now.frames(np.array([u])), t)[0, :3, 3]
        away = rng.normal(size=3)
        x = x + away / np.linalg.norm(away) * (RADIUS + rng.uniform(-5.0, 70.0))
        # The solid's nearest corner, edge or face lies about there.
        size = rng.uniform(10.0, 160.0, 3)
        low = np.where(away > 0.0, x, x - size)
        low = np.where(rng.random(3) < 0.3, x - size / 2.0, low)
        low = low.round(3)
        name = f"{owner} {k}"
        if rng.random() < 0.4:
            r = float(size[0] / 2.0)
            solids.append(post(name, owner, low[:2] + r, r, (low[2], low[2] + size[2])))
        else:
            solids.append(box(name, owner, low, low + size))
    return solids


def case(seed: int, solids: int = 6) -> Case:
    """One random case; odd seeds have a left head."""
    rng = np.random.default_rng(7000 + seed)
    side = 1.0 if seed % 2 else -1.0
    d = drawing(rng)
    steps = steps_of(d, side, rng)
    bench = machine("left" if seed % 2 else "right", solids_near(steps, rng, solids))
    return Case(d, side, steps, bench, Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0))


def places(rows: Rows, row: int, s: Array, play: Play, t: float) -> Array:
    """Stock coordinates of points s of a row's piece at a moment.

    What the tube flows through (tail, arc in the die, straight through the die) is counted from the tangent point.
    """
    role = rows.roles[rows.piece[row]].value
    table = rows.pieces[:, rows.piece[row]]
    at = play.moment(t).at
    if role == "tail":
        return np.asarray(at + s)
    if role == "forming arc":
        return np.asarray(at - s)
    if (
        role == "first straight ahead"
        and abs(table[14] - max(play.at)) < 1e-6
        and table[16] == 0
        and play.swing is None
    ):
        return np.asarray(at - s)
    return np.asarray(table[14] - s)
