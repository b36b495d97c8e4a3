"""The plane of advance and rotation by the tests' own reckoning: what stands where, and which poses hang together.

Nothing here imports the program but for the regions that a move begins and ends in. The tube is walked by the tests'
own kinematics; solids are taken from the profile, and what each piece must keep is written down anew for the phase
"place" with the arc rotated. Exact distances at one pose are those of `surfaces` (coal, sampled profiles).

For many poses at once the tube is a set of balls. Balls inside it show that a pose is struck, balls that cover it show
that it is clear; in between neither is claimed. So does a box of poses: over half-widths δy, δφ the centre of a ball at
a distance ρ from the feed moves by no more than ρ·δφ + δy, and the distance to a solid changes by no more than that.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from scipy.ndimage import label
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from planner.clearance.rectangles import Region
from planner.inputs.machine import Machine
from tests.clearance.cases import RADIUS
from tests.clearance.oracle import Array, Drawing, Profile, Tube
from tests.clearance.surfaces import rods, section_of

SPACING = 4.0
"""Distance of the balls along the tube [mm]; a point of the tube lies within SPACING/2 more of a ball's centre."""

GRID = 0.5
"""Spacing of the tables of a grooved profile's distance [mm]."""

TABLE_ERROR = GRID * 0.71 + 0.02
"""By how much a value from the table may be off: half a diagonal, and what the sampled profile is off [mm]."""

ASIDE = 60.0
"""How far the tables reach beyond a profile [mm]."""

KINDS = ("arc just formed", "first straight", "after it, on the mandrel", "after it", "far arc", "beyond")
"""What a piece is to the contact table between two bends; the straight after the arc just formed begins on the mandrel
where that arc is shorter than the mandrel's reach."""

Flags = np.ndarray[Any, np.dtype[np.bool_]]


@cache
def table(width: float, half: float, groove: float, solid_at_width: bool) -> Array:
    """Signed distances to a grooved profile on a grid, from the nearest points of its sampled boundary."""
    a = np.arange(-ASIDE, width + ASIDE + GRID, GRID)
    z = np.arange(0.0, half + ASIDE + GRID, GRID)
    return Profile(width, half, groove, solid_at_width=solid_at_width).signed(*np.meshgrid(a, z, indexing="ij"))


@dataclass(frozen=True)
class Grooved:
    """A profile with a half-round groove; `at` looks its distance up."""

    width: float
    half: float
    groove: float
    solid_at_width: bool = False

    def at(self, a: Array, z: Array) -> Array:
        values = table(self.width, self.half, self.groove, self.solid_at_width)
        i, j = np.rint((a + ASIDE) / GRID).astype(int), np.rint(np.abs(z) / GRID).astype(int)
        known = (i >= 0) & (i < values.shape[0]) & (j < values.shape[1])
        if self.solid_at_width:
            known &= a <= self.width
        past = np.maximum(np.maximum(-a, a - self.width), 0.0)
        about = np.hypot(past, np.maximum(np.abs(z) - self.half, 0.0))
        return np.where(known, values[np.where(known, i, 0), np.where(known, j, 0)], about)


@dataclass(frozen=True)
class Thing:
    """A solid in the machine frame, the arm at home; what goes with the carriage is seen from the tube at y = 0.

    needs: of each piece by what it is (`KINDS`), minus infinity where it is not looked at [mm]; per_metre: more for
    each metre of leading part [mm]; proves: it stands there whatever else is chosen.
    """

    name: str
    kind: Literal["floor", "box", "post", "die", "block", "rod"]
    numbers: tuple[float, ...]
    needs: tuple[float, ...]
    per_metre: float
    carried: bool = False
    proves: bool = True

    @property
    def error(self) -> float:
        return TABLE_ERROR if self.kind in ("die", "block") else 1e-7

    def distance(self, x: Array) -> Array:
        """Signed distances (…) of points (…, 3), off by no more than `error`."""
        n = self.numbers
        if self.kind == "floor":
            return np.asarray(x[..., 2] - n[0])
        if self.kind == "box":
            return _outside(np.maximum(np.array(n[:3]) - x, x - np.array(n[3:6])))
        if self.kind == "post":
            side = np.hypot(x[..., 0] - n[0], x[..., 1] - n[1]) - n[2]
            return _outside(np.stack((side, np.maximum(n[3] - x[..., 2], x[..., 2] - n[4])), axis=-1))
        if self.kind == "rod":
            side = np.hypot(x[..., 1], x[..., 2]) - n[2]
            return _outside(np.stack((side, np.maximum(n[0] - x[..., 0], x[..., 0] - n[1])), axis=-1))
        if self.kind == "die":
            a = n[1] - np.hypot(x[..., 0], x[..., 1] - n[0])
            return Grooved(n[1], n[2], n[3], solid_at_width=True).at(a, x[..., 2])
        flat = Grooved(n[4], n[5], n[6]).at(n[2] * x[..., 1] - n[3], x[..., 2])
        past = np.maximum(n[0] - x[..., 0], x[..., 0] - n[1])
        return _outside(np.stack((flat, past), axis=-1))


def _outside(q: Array) -> Array:
    """Distance to a product of intervals, or of a profile and an interval: q (…, k) from each."""
    out = np.maximum(q, 0.0)
    return np.asarray(np.sqrt((out * out).sum(axis=-1)) + np.minimum(q.max(axis=-1), 0.0))


def things_of(bench: Machine, side: float, clamps: Iterable[float], face: float) -> tuple[Thing, ...]:
    """What stands about a tube between bends: dies opened, arm and pressure die at home.

    The straight ahead of the tangent point, where it was laid in, may overlap die and wiper by 1 mm; an arc that is
    rotated and everything beyond keep `to_tooling` to what is built from the tooling, `required` to the rest. What lies
    in the grip section, or begins at its end, may overlap it by 1 mm. What is on the rod is not held against it.
    """
    tooling, keep = bench.tooling[0], bench.clearance
    bore, clr, lengths = tooling.tube_diameter / 2.0, tooling.bend_radius, tuple(clamps)
    built, never = keep.to_tooling, -np.inf
    every, grooved = (built,) * 6, (built, -1.0, built, built, built, built)
    in_section, on_rod = (-1.0, -1.0, built, built, -1.0, built), (never, never, never, built, built, built)
    things = [Thing("floor", "floor", (-bench.head.centreline_height,), (keep.required,) * 6, keep.per_metre)]
    things.append(Thing("bend die", "die", (side * clr, clr, tooling.die_height / 2.0, bore), grooved, 0.0))
    if tooling.die_hub is not None:
        half = tooling.die_hub.height / 2.0
        things.append(Thing("die hub", "post", (0.0, side * clr, tooling.die_hub.radius, -half, half), every, 0.0))
    wiper, clamp, pressure = tooling.wiper_block, tooling.clamp_block, tooling.pressure_block
    if wiper is not None:
        block = (-wiper.length, 0.0, side, 0.0, wiper.width, wiper.height / 2.0, bore)
        things.append(Thing("wiper die", "block", block, grooved, 0.0))
    for length in lengths:
        sure = len(lengths) == 1
        block = (0.0, length, -side, clamp.opens, clamp.width, clamp.height / 2.0, bore)
        things.append(Thing("clamp die", "block", block, every, 0.0, proves=sure))
        depth, long, height = section_of(bench, length)
        block = (0.0, long, side, 0.0, depth, height / 2.0, bore)
        things.append(Thing("grip section", "block", block, in_section, 0.0, proves=sure))
    block = (-tooling.pressure_die_length, 0.0, -side, pressure.opens, pressure.width, pressure.height / 2.0, bore)
    things.append(Thing("pressure die", "block", block, every, 0.0))
    things += [Thing(name, "rod", numbers, on_rod, 0.0) for name, numbers in rods(bench, True).items()]
    for solid in bench.solid:
        carried = solid.moves_with == "carriage"
        back = face if carried else 0.0
        if solid.box is not None:
            low, high = np.array(solid.box.from_), np.array(solid.box.to)
            low, high = low - [back, 0.0, 0.0], high - [back, 0.0, 0.0]
            numbers: tuple[float, ...] = (*low, *high)
        else:
            assert solid.cylinder is not None
            (cx, cy), z = solid.cylinder.centre, solid.cylinder.z
            numbers = (cx - back, cy, solid.cylinder.radius, *z)
        kind: Literal["box", "post"] = "post" if solid.box is None else "box"
        needs = (keep.required,) * 6
        things.append(Thing(solid.name, kind, numbers, needs, keep.per_metre, carried=carried, proves=not carried))
    return tuple(things)


@dataclass(frozen=True)
class Balls:
    """Balls (b,) about points of the tube at an advance and a rotation of 0, in chunks (c, 8) of neighbours.

    at (b, 3); inside: radius of a ball that is all tube; cover: radius of a ball, so that all together hold the tube;
    what (b,): number in KINDS of the piece that it belongs to; centre (c, 3), reach (c,): of balls that hold the chunks.
    """

    at: Array
    inside: Array
    cover: Array
    what: np.ndarray[Any, np.dtype[np.int64]]
    members: np.ndarray[Any, np.dtype[np.int64]]
    centre: Array
    reach: Array

    @property
    def far(self) -> float:
        """The farthest that any centre lies from the feed's axis [mm]."""
        return float(np.hypot(self.at[:, 1], self.at[:, 2]).max())


def stretches(tube: Tube, at: float, laid_in: bool, on_mandrel: float) -> list[tuple[float, float, int, bool]]:
    """Where stretches of the leading part begin and end (stock coordinates, from the tangent point forward), what each
    is in KINDS, and whether it is straight; on_mandrel: how far past the tangent point tube may lie on the mandrel, and a diameter [mm].
    """
    pieces = [
        (min(end, at), end - length, curvature) for end, length, curvature, *_ in tube.walk if end - length < at - 1e-6
    ]
    if laid_in:
        kinds = [1, 4] + [5] * len(pieces)
    elif len(pieces) > 1 and pieces[1][2] == 0.0:
        kinds = [0, 3, 4] + [5] * len(pieces)
    else:
        kinds = [0] + [5] * len(pieces)
    found = []
    for (begin, end, curvature), kind in zip(pieces, kinds, strict=False):
        cut = begin - max(on_mandrel - (pieces[0][0] - pieces[0][1]), 0.0)
        if kind == 3 and cut < begin:
            found.append((begin, max(cut, end), 2, True))
            begin = max(cut, end)
        if begin - end > 1e-9:
            found.append((begin, end, kind, curvature == 0.0))
    return found


def balls_of(
    drawing: Drawing, formed: dict[int, float], at: float, plane_of: int, side: float, first: bool, on_mandrel: float
) -> Balls:
    """The leading part ahead of the stock coordinate `at`; first: it begins with a straight that was laid in.

    A ball reaches no farther than to the nearer end of its stretch (a little less, for the arc's curvature), so that it
    is all tube of one kind. The rims of both ends of a stretch stand for the rest.
    """
    tube = Tube(drawing, formed)
    to_machine = tube.placed(at, plane_of, 0.0, side)
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    circle = RADIUS * np.stack((0.0 * angle, np.cos(angle), np.sin(angle)))
    every, inside, cover, what, members = [], [], [], [], []
    count = 0
    for begin, end, kind, _ in stretches(tube, at, first, on_mandrel):
        u = np.linspace(end, begin, max(2, int((begin - end) / SPACING) + 2))
        every.append((to_machine @ tube.frames(u))[:, :3, 3])
        inside.append(np.minimum(RADIUS, 0.97 * np.minimum(u - end, begin - u)))
        cover.append(np.full(u.size, RADIUS + SPACING / 2.0))
        members.append(_chunks(count + np.arange(u.size)))
        count += u.size
        for place in (begin, end):
            frame = to_machine @ tube.frame(place)
            every.append((frame[:3, :3] @ circle).T + frame[:3, 3])
            inside.append(np.zeros(angle.size))
            cover.append(np.zeros(angle.size))
            members.append(_chunks(count + np.arange(angle.size)))
            count += angle.size
        what.append(np.full(count - sum(part.size for part in what), kind))
    at_, chunks = np.concatenate(every), np.concatenate(members)
    groups = at_[chunks]
    centre = (groups.max(axis=1) + groups.min(axis=1)) / 2.0
    reach = np.linalg.norm(groups - centre[:, None], axis=2).max(axis=1) + RADIUS + SPACING / 2.0
    return Balls(at_, np.concatenate(inside), np.concatenate(cover), np.concatenate(what), chunks, centre, reach)


def _chunks(numbers: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Rows of eight; the last one is filled up with its own last."""
    short = -numbers.size % 8
    return np.concatenate((numbers, np.full(short, numbers[-1]))).reshape(-1, 8)


@dataclass(frozen=True)
class Sure:
    """What is sure of boxes (m,) of poses: struck all over by what proves it, struck all over by anything, all clear.

    least: the tube keeps no more than that beyond what it needs, all over the box; infinite where it is far [mm].
    """

    proved: Flags
    struck: Flags
    clear: Flags
    least: Array


@dataclass(frozen=True)
class Ground:
    """A tube that can stand anywhere in the plane, among things; length: of the leading part at y = 0 [mm]."""

    balls: Balls
    things: tuple[Thing, ...]
    length: float

    def sure(self, y: Array, roll: Array, dy: Array | float = 0.0, droll: Array | float = 0.0) -> Sure:
        """Judge boxes of poses by midpoints and half-widths (m,)."""
        y, roll = np.asarray(y, dtype=float), np.asarray(roll, dtype=float)
        dy, droll = np.broadcast_to(dy, y.shape), np.broadcast_to(droll, y.shape)
        none = np.zeros(y.size, bool)
        out = Sure(none, none.copy(), ~none, np.full(y.size, np.inf))
        for thing in self.things:
            self._judge(thing, y, roll, dy, droll, out)
        return out

    def _judge(self, thing: Thing, y: Array, roll: Array, dy: Array, droll: Array, out: Sure) -> None:
        balls = self.balls
        along, dalong = (0.0 * y, 0.0 * dy) if thing.carried else (y, dy)
        most = thing.per_metre * (self.length + y + dy) / 1000.0
        least = thing.per_metre * (self.length + y - dy) / 1000.0
        rho = np.hypot(balls.centre[:, 1], balls.centre[:, 2]) + balls.reach
        far = thing.distance(_posed(balls.centre[None], along[:, None], roll[:, None]))
        needs = np.array(thing.needs)
        asked = needs[balls.what[balls.members]].max(axis=1)
        spare = far - balls.reach - rho * droll[:, None] - (dalong + most)[:, None] - asked - thing.error
        which, chunk = np.nonzero(spare < 0.0)
        if not which.size:
            return
        member = balls.members[chunk]
        at = balls.at[member]
        moved = np.hypot(at[..., 1], at[..., 2]) * droll[which, None] + dalong[which, None]
        found = thing.distance(_posed(at, along[which, None], roll[which, None]))
        needed = needs[balls.what[member]]
        nearest = found + thing.error + moved - balls.inside[member] - needed - least[which, None]
        farthest = found - thing.error - moved - balls.cover[member] - needed - most[which, None]
        np.minimum.at(out.least, which, nearest.min(axis=1))
        hit = which[(nearest < 0.0).any(axis=1)]
        out.struck[hit] = True
        if thing.proves:
            out.proved[hit] = True
        out.clear[which[(farthest < 0.0).any(axis=1)]] = False


def _posed(x: Array, along: Array, roll: Array) -> Array:
    """Points (…, 3) turned about the feed, then advanced."""
    c, s = np.cos(roll), np.sin(roll)
    moved = (x[..., 0] + along, c * x[..., 1] - s * x[..., 2], s * x[..., 1] + c * x[..., 2])
    return np.stack(np.broadcast_arrays(*moved), axis=-1)


Verdict = Literal["joined", "parted", "open"]
UNKNOWN, PROVED, STRUCK, CLEAR = 0, 1, 2, 3
LEVELS = 5


@dataclass(frozen=True)
class Plane:
    """The part of the plane that a flood may run over; the first and the last roll are the same if it goes round."""

    y: tuple[float, float]
    rolls: tuple[float, float]
    goes_round: bool


def flood(ground: Ground, plane: Plane, starts: Iterable[Region], goals: Iterable[Region]) -> Verdict:
    """Run over a grid of boxes, from 32 mm to 2 mm in y and as fine in the sweep of the tube's farthest point.

    Both answers are certain, for what the boxes are called has a margin on either side: a box counts as impassable only
    if one ball stays struck all over it (what the ball may move within the box is its margin), so that every clear path
    runs over boxes that count as passable, whatever lies between the grid's points: where none of their chains leads
    from start to goal, no path does. And a chain of boxes that are clear all over is a path. What is neither is split
    into four, down to the finest.
    """
    size = 2 ** (LEVELS - 1)
    step_y, step_roll = 2.0, 4.0 / (ground.balls.far + RADIUS)
    ny = size * max(1, int(np.ceil((plane.y[1] - plane.y[0]) / step_y / size)))
    nr = size * max(1, int(np.ceil((plane.rolls[1] - plane.rolls[0]) / step_roll / size)))
    step_y, step_roll = (plane.y[1] - plane.y[0]) / ny, (plane.rolls[1] - plane.rolls[0]) / nr
    known = np.zeros((ny, nr), dtype=np.int8)
    begun, ended = _touched(known.shape, plane, starts), _touched(known.shape, plane, goals)
    while size >= 1:
        i, j = np.nonzero(known[::size, ::size] == UNKNOWN)
        y = plane.y[0] + (i + 0.5) * size * step_y
        roll = plane.rolls[0] + (j + 0.5) * size * step_roll
        sure = ground.sure(y, roll, size * step_y / 2.0, size * step_roll / 2.0)
        value = np.select([sure.proved, sure.struck, sure.clear], [PROVED, STRUCK, CLEAR], UNKNOWN)
        coarse = np.zeros((ny // size, nr // size), dtype=np.int8)
        coarse[i, j] = value
        blown = np.repeat(np.repeat(coarse, size, axis=0), size, axis=1)
        known = np.where(known == UNKNOWN, blown, known)
        if not _connected(known != PROVED, begun, ended, plane.goes_round):
            return "parted"
        if _connected(known == CLEAR, begun, ended, plane.goes_round):
            return "joined"
        size //= 2
    return "open"


def _touched(shape: tuple[int, ...], plane: Plane, regions: Iterable[Region]) -> Flags:
    out = np.zeros(shape, dtype=bool)
    for region in regions:
        rows = _range(region.y, plane.y, shape[0])
        out[rows, _range(region.roll, plane.rolls, shape[1])] = True
        if plane.goes_round and region.roll[1] >= plane.rolls[1] - 1e-9:
            out[rows, 0] = True
        if plane.goes_round and region.roll[0] <= plane.rolls[0] + 1e-9:
            out[rows, -1] = True
    return out


def _range(span: tuple[float, float], whole: tuple[float, float], count: int) -> slice:
    step = (whole[1] - whole[0]) / count
    first = int(np.ceil((span[0] - whole[0]) / step - 1e-9)) - 1
    last = int(np.floor((span[1] - whole[0]) / step + 1e-9))
    return slice(max(first, 0), min(last, count - 1) + 1)


def _connected(passable: Flags, begun: Flags, ended: Flags, goes_round: bool) -> bool:
    """Whether sides of passable boxes lead from where it begins to where it ends."""
    labels, count = label(passable)
    edges = [(a, b) for a, b in zip(labels[:, 0], labels[:, -1], strict=True) if a and b] if goes_round else []
    one, two = np.array(edges, dtype=int).reshape(-1, 2).T
    graph = coo_matrix((np.ones(one.size), (one, two)), shape=(count + 1, count + 1))
    part = connected_components(graph, directed=False)[1]
    first, last = set(part[labels[begun & passable]]), set(part[labels[ended & passable]])
    return bool(first & last)
