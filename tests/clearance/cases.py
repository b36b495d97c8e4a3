"""Random bends with every motion of their cycle: the program's `Motion` beside the tests' own `Play` of it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tube import motions
from planner.tube.bodies import Motion
from planner.tube.motions import InDie, Standing
from planner.tube.partly_bent import leading_part
from tests.clearance.machines import CLR, DIAMETER, box, machine, post
from tests.clearance.oracle import Array, Drawing, Play, between

RADIUS = DIAMETER / 2.0
WALL = 1.65


def part_of(drawing: Drawing) -> Part:
    """The program's part, counted from the leading end."""
    return Part(
        name="random", machine=None, outside_diameter=DIAMETER, wall=WALL, gauge=None, material="stainless 304",
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
    """Close, bend, re-grip, open; ways home of every kind, runs of the carriage; advance, rotate, advance, go back."""
    part = part_of(d)
    bend = int(rng.integers(1, len(d.angles) + 1))
    before = {j: float(d.angles[j - 1]) for j in range(1, bend) if rng.random() < 0.85}
    angle, start = float(d.angles[bend - 1]), float(d.starts[bend - 1])
    setting = angle * (1.0 + rng.uniform(0.0, 0.05))
    end, feed, face = start + d.clr * angle, d.clr * setting, rng.uniform(600.0, 1200.0)
    stock_end = d.developed + 200.0
    follows = bool(rng.random() < 0.5)
    ahead = leading_part(part, set(before), start, 0.0, side, bend)
    # Now and then so little tube is left that the tail's end is drawn into the die.
    left = start + feed + (rng.uniform(5.0, 150.0) if rng.random() < 0.3 else stock_end - end)
    grip = InDie(ahead, d.clr, side, angle, setting, start, left - start, face, follows)
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
        return play(formed=before, swing=swing, bend=bend, at=at, **{"stock_end": left, **changes})

    after = leading_part(part, {*before, bend}, end, 0.0, side, bend)
    standing = Standing(after, True, stock_end - end, end, opened + d.clr * (setting - angle), d.clr, side)
    back = opened + d.clr * (setting - angle)
    y, roll_ = rng.uniform(20.0, 300.0), float(rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 3.1))
    y2 = y * rng.uniform(0.3, 1.6)
    near, y3, waits = setting * rng.uniform(0.1, 0.7), rng.uniform(10.0, 120.0), rng.uniform(500.0, 1500.0)
    by_hand, down = standing.opened(waits), rng.uniform(20.0, 120.0)
    lowered = replace(standing, lowered=down)
    return [
        Step("dies close", motions.close_dies(grip), bending((0.0, 0.0), face=(face, face))),
        Step("bend", motions.bend(grip), bending(
            (0.0, setting), arm=(0.0, setting), face=(face, released), forward=(0.0, forward))),
        Step("re-grip", motions.regrip(grip, (released, opened)), bending(
            (setting, setting), arm=(setting, setting), face=(released, opened), forward=(forward, forward))),
        Step("dies open", motions.open_dies(grip, opened), bending(
            (setting, angle), arm=(setting, setting), face=(opened, back), forward=(forward, forward))),
        Step("return", motions.homing(standing, (setting, 0.0), (0.0, 0.0), (forward, 0.0)), play(
            arm=(setting, 0.0), face=(back, back), forward=(forward, 0.0))),
        Step("run forward", motions.homing(standing, (setting, setting), (0.0, y), (forward, forward)), play(
            arm=(setting, setting), at=(end, end + y), face=(back, back - y), forward=(forward, forward))),
        Step("run forward by hand", motions.homing(by_hand, (angle, angle), (0.0, y), (forward, forward)), play(
            arm=(angle, angle), at=(end, end + y), face=(waits, waits), forward=(forward, forward))),
        Step("eased return", motions.homing(standing, (setting, 0.0), (y, y), (forward, 0.0)), play(
            arm=(setting, 0.0), at=(end + y, end + y), face=(back - y, back - y), forward=(forward, 0.0))),
        Step("return, part of the way", motions.homing(standing, (setting, near), (y, y), (0.0, 0.0)), play(
            arm=(setting, near), at=(end + y, end + y), face=(back - y, back - y))),
        Step("together", motions.homing(standing, (angle, near), (0.0, y), (forward, 0.0)), play(
            arm=(angle, near), at=(end, end + y), face=(back, back - y), forward=(forward, 0.0))),
        Step("together, on", motions.homing(standing, (near, 0.0), (y, y + y3), (0.0, 0.0)), play(
            arm=(near, 0.0), at=(end + y, end + y + y3), face=(back - y, back - y - y3))),
        Step("carriage run", motions.run_carriage(standing, 0.0, (back, waits)), play(face=(back, waits))),
        Step("carriage run, gripped", motions.run_carriage_back(grip, (face, waits)), bending(
            (0.0, 0.0), face=(face, waits))),
        Step("laid in", motions.laid_in(standing), play()),
        Step("die lowered", motions.lower_die(standing, (0.0, 0.0), (0.0, down), setting, forward), play(
            arm=(setting, setting), face=(back, back), forward=(forward, forward), drop=(0.0, down))),
        Step("return, die lowered", motions.homing(lowered, (setting, 0.0), (0.0, 0.0), (forward, 0.0)), play(
            arm=(setting, 0.0), face=(back, back), forward=(forward, 0.0), drop=(down, down))),
        Step("advance, die lowered", motions.advance(lowered, (0.0, y), 0.0, False), play(
            at=(end, end + y), face=(back, back - y), drop=(down, down))),
        Step("rotate, die lowered", motions.rotate(lowered, y, (0.0, roll_)), play(
            at=(end + y, end + y), face=(back - y, back - y), rotation=(0.0, roll_), drop=(down, down))),
        Step("die up", motions.lower_die(standing, (y, roll_), (down, 0.0)), play(
            at=(end + y, end + y), rotation=(roll_, roll_), face=(back - y, back - y), drop=(down, 0.0))),
        Step("advance", motions.advance(standing, (0.0, y), 0.0, False), play(
            at=(end, end + y), face=(back, back - y))),
        Step("rotate", motions.rotate(standing, y, (0.0, roll_)), play(
            at=(end + y, end + y), face=(back - y, back - y), rotation=(0.0, roll_))),
        Step("advance, rotated", motions.advance(standing, (y, y2), roll_, True), play(
            at=(end + y, end + y2), face=(back - y, back - y2), rotation=(roll_, roll_))),
        Step("drawn off", motions.advance(by_hand, (y, y2 + 900.0), 0.0, False), play(
            at=(end + y, end + y2 + 900.0), face=(waits, waits))),
    ]  # fmt: skip


def solids_near(steps: list[Step], rng: np.random.Generator, count: int) -> list[dict[str, Any]]:
    """Boxes and posts on frame, arm, carriage and pressure die, each near some place of the leading part at some moment."""
    solids: list[dict[str, Any]] = []
    for k in range(count):
        owner = ("frame", "arm", "carriage", "frame", "arm", "pressure die")[k % 6]
        play = steps[int(rng.integers(len(steps)))].play
        t = float(rng.random())
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
        if rng.random() < 0.4 and owner != "pressure die":
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
    return Case(d, side, steps, bench, Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0, WALL))


def through_die(rows: Rows, row: int, step: Step) -> bool:
    """Whether the tube flows through the row's piece, so that its points are counted from the tangent point."""
    role = rows.roles[rows.piece[row]].value
    return role in ("tail", "forming arc") or (role == "first straight ahead" and step.play.swing is None)


def places(rows: Rows, row: int, s: Array, step: Step, t: float) -> Array:
    """Stock coordinates of points s of a row's piece at a moment."""
    table = rows.pieces[:, rows.piece[row]]
    sign = 1.0 if rows.roles[rows.piece[row]].value == "tail" else -1.0
    return np.asarray((step.play.moment(t).at if through_die(rows, row, step) else table[14]) + sign * s)


def extent(rows: Rows, row: int, step: Step, t: float) -> tuple[float, float]:
    """Least and greatest s of the row's piece that there is at a moment, by the tests' own reckoning."""
    play, role, table = step.play, rows.roles[rows.piece[row]].value, rows.pieces[:, rows.piece[row]]
    now, low, high = play.moment(t), float(table[10]), float(table[11])
    if role == "tail":
        high = now.tail_length
    elif role == "forming arc":
        assert play.swing is not None
        high = play.drawing.clr * between(play.swing, t)
    elif through_die(rows, row, step):
        standing_at = play.drawing.starts[play.plane_of - 1] + play.drawing.clr * play.formed[play.plane_of]
        high = now.at - float(standing_at)
    return low, high


def moment_of(rows: Rows, row: int, step: Step, t: float) -> float:
    """When a point of a row is where the row has it.

    A straight through the die is a row as long as it ever is, unless what it is seen from moves too; it is so long at
    the farthest advance, a tail at the least.
    """
    at, role = step.play.at, rows.roles[rows.piece[row]].value
    moves = rows.blocks[10, rows.block[row]] != rows.blocks[11, rows.block[row]]
    if step.play.swing is not None or not through_die(rows, row, step) or at[0] == at[1] or moves:
        return t
    return float(np.argmin(at) if role == "tail" else np.argmax(at))
