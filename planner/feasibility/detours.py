"""Detours: paths in the plane of advance and rotation where none of the plain ones is clear.

The plane is cut into cells (`clearance/plane.py`) until free ones join the start to the goal. The path is then sought
along lines through these cells, an advance at one rotation or a rotation at one advance, with as few legs as possible,
and the least time among those. What comes out are proposals: they are certified leg by leg like the plain paths.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from planner.clearance.plane import Cut, Field, cut
from planner.clearance.rectangles import CellState, Rectangles, Region, neighbours
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.deadline import each_in_time
from planner.feasibility.moves import Leg, PlainPath, timed
from planner.feasibility.stations import settable, snapped_angle, wrapped
from planner.inputs.machine import Machine
from planner.tolerances import NO_LENGTH
from planner.tube import motions
from planner.tube.frames import Flags, Ints
from planner.tube.motions import Standing

if TYPE_CHECKING:
    import networkx as nx

MOST_PATHS = 8
"""Paths along lines that are looked at for one detour, if there are not so many of the fewest legs."""

MOST_SHORTEST = 200
"""Paths of the fewest legs that are looked at."""

MOST_DOUBTED = 8
"""And where free cells do not join start and goal."""

DOUBTED = 2.0
"""How many legs more a leg through cells that are not known to be free counts as."""

MOST_LINES = 40
"""Lines of either kind through the cells of a detour, besides those on one way."""


SHIFTED = tuple(sign * way for way in (2.0, 5.0, 10.0, 20.0) for sign in (1.0, -1.0))
ROLLED = tuple(math.radians(sign * way) for way in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0) for sign in (1.0, -1.0))
"""By how much a line is shifted where none of the paths is clear [mm], [rad]."""


@dataclass(frozen=True)
class MovePlane:
    """Where a tube is to be brought, and within which bounds.

    standing: the tube at an advance of 0; clamp: in the machine [mm]; y: least and greatest advance [mm]; rolls: least
    and greatest rotation [rad], a whole turn where the chuck goes round; rotates_from: least advance at which it may be
    rotated [mm]; follows: the carriage moves with the tube; starts, goals: where it may begin and must end: a point, a
    span of advances at one rotation along which the arc slides out of the groove, or every rotation at one advance.
    """

    standing: Standing
    clamp: float
    y: tuple[float, float]
    rolls: tuple[float, float]
    rotates_from: float
    follows: bool
    starts: tuple[Region, ...]
    goals: tuple[Region, ...]

    @property
    def goes_round(self) -> bool:
        """Whether the chuck turns for ever; a limited one may have more than a whole turn and still not come round."""
        return self.rolls == (-math.pi, math.pi)


def field_of(ground: MovePlane, around: Surroundings, carried: frozenset[str], elsewhere: frozenset[str]) -> Field:
    """Return what the plane is cut for; carried: the solids that move with the carriage, which prove nothing.

    elsewhere: nor do these.
    """
    sweep = motions.rotate(ground.standing, 0.0, ground.rolls)
    least = sweep.leading_length[0]
    longest = replace(sweep, leading_length=(least + ground.y[0], least + ground.y[1]))
    rows = rows_of([longest], around, [(ground.clamp,)])
    moving = np.array([name in carried for name in rows.names], dtype=bool)[rows.solid]
    along = np.where(moving & ground.follows, 0.0, 1.0)
    away = np.array([name in elsewhere for name in rows.names], dtype=bool)[rows.solid]
    return Field(rows, ground.y, ground.rolls, ground.goes_round, along, ~(moving | away))


def cut_ground(
    ground: MovePlane,
    around: Surroundings,
    carried: frozenset[str],
    elsewhere: frozenset[str] = frozenset(),
    for_proof: bool = False,
) -> tuple[Rows, Cut]:
    """Cut the plane of a ground; on a chuck that goes round the same rotation may stand a whole turn apart.

    carried: names of the solids that move with the carriage: they prove nothing, nor do those that stand elsewhere.
    """
    field = field_of(ground, around, carried, elsewhere)

    def folded(regions: tuple[Region, ...]) -> list[Region]:
        if not ground.goes_round:
            return list(regions)
        points = [region for region in regions if region.roll[0] == region.roll[1]]
        spans = [region for region in regions if region.roll[0] != region.roll[1]]
        return spans + [Region(p.y, (wrapped(p.roll[0]),) * 2) for p in points]

    return field.rows, cut(field, folded(ground.starts), folded(ground.goals), for_proof)


def detours(machine: Machine, ground: MovePlane, around: Surroundings, shown_at_zero: float) -> list[PlainPath]:
    """Return proposals for a path, the best first.

    Where free cells do not join start and goal, but they are not closed off either, the lines lead through open cells
    too: a gap narrower than the finest cell may still let a tube along a line.
    shown_at_zero: what the advance readout shows at an advance of 0 [mm].
    """
    if ground.y[0] > ground.y[1]:
        return []
    carried = frozenset(solid.name for solid in machine.solid if solid.moves_with == "carriage")
    _, found = cut_ground(ground, around, carried)
    if found.closed:
        return []
    return _Lines(machine, ground, found, shown_at_zero).paths()


def varied(machine: Machine, path: PlainPath, shown_at_zero: float, pinned: tuple[bool, bool]) -> Iterator[PlainPath]:
    """Yield a path with one of its lines shifted a little: its turns lie in the middles of cells, which may miss a gap.

    pinned: whether the first and the last line lie where they must.
    """
    last = len(path.legs) - 1
    for i, leg in enumerate(path.legs):
        if (i == 0 and pinned[0]) or (i == last and pinned[1]):
            continue
        for shift in ROLLED if leg.kind == "advance" else SHIFTED:
            if leg.kind == "advance":
                at = snapped_angle(leg.at + shift, machine.rotation.resolution)
            else:
                at = settable(leg.at + shift, machine.advance.resolution, shown_at_zero)
            legs = list(path.legs)
            legs[i] = replace(leg, at=at)
            if i > 0:
                legs[i - 1] = replace(legs[i - 1], end=at)
            if i < last:
                legs[i + 1] = replace(legs[i + 1], start=at)
            yield timed(machine, legs)


Kind = Literal["advance", "rotate"]


@dataclass(frozen=True)
class Line:
    """A stretch of a line: an advance at a rotation `at` [rad], or a rotation at an advance `at` [mm], low to high.

    doubt: the share of it that does not lie in free cells.
    """

    kind: Kind
    at: float
    low: float
    high: float
    doubt: float = 0.0

    def holds(self, value: float) -> bool:
        """Say whether a place along the line lies on the stretch."""
        return self.low - NO_LENGTH <= value <= self.high + NO_LENGTH


class _Lines:
    """The lines through the free cells of a cut."""

    def __init__(self, machine: Machine, ground: MovePlane, found: Cut, shown_at_zero: float) -> None:
        self.machine, self.ground, self.zero = machine, ground, shown_at_zero
        self.cells = _unrolled(found.cells) if ground.goes_round else found.cells
        self.passable = (self.cells.state != CellState.BLOCKED) & (self.cells.state != CellState.SHUT)
        self.certain = found.joined
        self.sure = self.cells.state == CellState.FREE
        self.free = self.sure if found.joined else self.passable
        self.at_ends = self.free
        self.on_way = self._on_way()

    def _on_way(self) -> Ints:
        """Return the cells of one way from a start to a goal: lines are led through each of them."""
        import networkx as nx

        graph = neighbours(self.cells, self.free, goes_round=False)
        for name, regions in (("start", self.ground.starts), ("goal", self.ground.goals)):
            touched = self.free & np.any([self.cells.touches(region) for region in regions], axis=0)
            graph.add_edges_from((name, int(k)) for k in np.flatnonzero(touched))
        if not (graph.has_node("start") and graph.has_node("goal")) or not nx.has_path(graph, "start", "goal"):
            return np.zeros(0, dtype=np.int64)
        return np.array(nx.shortest_path(graph, "start", "goal")[1:-1], dtype=np.int64)

    def paths(self) -> list[PlainPath]:
        """Return the paths along the lines, fewest legs first, then the faster ones.

        Where start or goal lies on the side of a free cell, its own line may lead through open ones.
        """
        made = self._through()
        if not made and self.certain:
            self.at_ends = self.passable
            made = self._through()
        return made

    def _through(self) -> list[PlainPath]:
        import networkx as nx

        graph = self._graph()
        if not (graph.has_node("start") and graph.has_node("goal")) or not nx.has_path(graph, "start", "goal"):
            return []
        if self.certain:  # fewest legs first; where those are few, the next ones too
            trails = list(
                islice(each_in_time(nx.all_shortest_paths(graph, "start", "goal", weight="weight")), MOST_SHORTEST)
            )
            if len(trails) < MOST_PATHS:
                trails = list(
                    islice(each_in_time(nx.shortest_simple_paths(graph, "start", "goal", weight="weight")), MOST_PATHS)
                )
        else:
            trails = list(
                islice(each_in_time(nx.shortest_simple_paths(graph, "start", "goal", weight="weight")), MOST_DOUBTED)
            )
        made = [path for trail in trails for path in self._walked(trail[1:-1])]
        back = self.machine.carriage is None or self.machine.carriage.may_go_back
        unique = {path.legs: path for path in made if back or not _goes_back(path)}
        if not self.certain:
            return list(unique.values())  # those with the least doubt first
        return sorted(unique.values(), key=lambda path: (len(path.legs), round(path.time, 6)))

    def _graph(self) -> nx.Graph:
        import networkx as nx

        advances, rotations = list(self._advances()), list(self._rotations())
        graph = nx.Graph()
        for one in each_in_time(advances):
            for two in rotations:
                if one.holds(two.at) and two.holds(one.at):
                    graph.add_edge(one, two, weight=1.0 + DOUBTED * (one.doubt + two.doubt))
        for line in (*advances, *rotations):
            for name, regions in (("start", self.ground.starts), ("goal", self.ground.goals)):
                if any(_ends(line, region) for region in regions):
                    graph.add_edge(name, line, weight=1.0 + DOUBTED * line.doubt)
        return graph

    def _advances(self) -> Iterator[Line]:
        """Yield the stretches at every rotation that may be worth it."""
        regions = (*self.ground.starts, *self.ground.goals)
        ends = {roll for region in regions if region.roll[0] == region.roll[1] for roll in region.roll}
        step = self.machine.rotation.resolution
        inside, kept = (
            {snapped_angle(float(roll), step) for roll in self.cells.roll[of]} for of in (self.free, self.on_way)
        )
        for at in sorted(_thinned(inside, kept)):
            if at not in ends:
                yield from _stretches("advance", at, self.cells, self.free, self.sure)
        for at in sorted(ends):
            yield from _stretches("advance", at, self.cells, self.at_ends, self.sure)
        for region in self.ground.starts:
            if region.roll[0] == region.roll[1] and region.y[0] < region.y[1]:
                yield Line("advance", region.roll[0], *region.y)  # the arc slides straight out of the groove

    def _rotations(self) -> Iterator[Line]:
        least = self.ground.rotates_from
        asked = [y for region in (*self.ground.starts, *self.ground.goals) for y in region.y]
        ends = {y for y in asked if least - NO_LENGTH <= y <= self.ground.y[1]}
        step = self.machine.advance.resolution
        inside, kept = (
            {settable(float(y), step, self.zero) for y in self.cells.y[of] if y >= least}
            for of in (self.free, self.on_way)
        )
        for at in sorted(_thinned(inside, kept)):
            if at not in ends:
                yield from _stretches("rotate", at, self.cells, self.free, self.sure)
        for at in sorted(ends):
            yield from _stretches("rotate", at, self.cells, self.at_ends, self.sure)

    def _walked(self, trail: list[Line]) -> Iterator[PlainPath]:
        """Yield the path along a trail of lines for each start and goal on its first and last line."""
        for start in self.ground.starts:
            for goal in self.ground.goals:
                if _ends(trail[0], start) and _ends(trail[-1], goal):
                    yield self._legs(trail, (start.y[0], trail[0].at if _any_roll(start) else start.roll[0]), goal)

    def _legs(self, trail: list[Line], begin: tuple[float, float], goal: Region) -> PlainPath:
        y, roll = begin
        legs: list[Leg] = []
        turned = False
        places = [following.at for _, following in pairwise(trail)] + [None]
        for line, place in zip(trail, places, strict=True):
            if line.kind == "advance":
                to = _clipped(y, goal.y) if place is None else place
                legs.append(Leg("advance", y, to, roll, turned))
                y = to
            else:
                to = _clipped(roll, goal.roll) if place is None else place
                legs.append(Leg("rotate", roll, to, y, turned))
                roll, turned = to, turned or to != roll  # where a path only touches a line nothing is turned
        return timed(self.machine, legs)


def _goes_back(path: PlainPath) -> bool:
    return any(leg.kind == "advance" and leg.end < leg.start for leg in path.legs)


def _any_roll(region: Region) -> bool:
    return region.roll[0] != region.roll[1]


def _clipped(value: float, span: tuple[float, float]) -> float:
    return min(max(value, span[0]), span[1])


def _ends(line: Line, region: Region) -> bool:
    """Say whether a path may begin or end on a line at a region."""
    if region.y[0] != region.y[1]:
        return line.kind == "advance" and (line.at, line.low, line.high) == (region.roll[0], *region.y)
    if line.kind == "advance":
        return region.roll[0] - NO_LENGTH <= line.at <= region.roll[1] + NO_LENGTH and line.holds(region.y[0])
    return not _any_roll(region) and abs(line.at - region.y[0]) <= NO_LENGTH and line.holds(region.roll[0])


def _thinned(values: set[float], kept: set[float]) -> set[float]:
    """Return no more than MOST_LINES of some values, spread over them, and all that are to be kept."""
    ordered = sorted(values)
    if len(ordered) <= MOST_LINES:
        return values | kept
    return {ordered[int(k)] for k in np.linspace(0, len(ordered) - 1, MOST_LINES).round()} | kept


def _stretches(kind: Kind, at: float, cells: Rectangles, inside: Flags, sure: Flags) -> Iterator[Line]:
    """Yield the stretches of a line that lie in some cells, `sure` those of them that are free."""
    across, half_across = (cells.roll, cells.droll) if kind == "advance" else (cells.y, cells.dy)
    along, half_along = (cells.y, cells.dy) if kind == "advance" else (cells.roll, cells.droll)
    crossed = np.flatnonzero(inside & (np.abs(across - at) <= half_across + NO_LENGTH))
    if not crossed.size:
        return
    low, high = along[crossed] - half_along[crossed], along[crossed] + half_along[crossed]
    order = np.argsort(low, kind="stable")
    low, high, certain = low[order], high[order], sure[crossed][order]
    until = np.maximum.accumulate(high)
    first = np.concatenate(([0], np.flatnonzero(low[1:] > until[:-1] + NO_LENGTH) + 1, [low.size]))
    for begin, end in pairwise(first.tolist()):
        length = float(until[end - 1] - low[begin])
        doubtful = float((high - low)[begin:end][~certain[begin:end]].sum())
        doubt = round(min(doubtful / max(length, NO_LENGTH), 1.0), 3)
        yield Line(kind, at, float(low[begin]), float(until[end - 1]), doubt)


def _unrolled(cells: Rectangles) -> Rectangles:
    """Return the cells three times, a whole turn apart, so that lines may run round more than half a turn."""
    turns = [replace(cells, roll=cells.roll + k * 2.0 * math.pi) for k in (-1, 0, 1)]
    names = ("y", "dy", "roll", "droll", "state", "witness")
    together = Rectangles(*(np.concatenate([getattr(t, name) for t in turns], axis=-1) for name in names))
    return together.take(np.abs(together.roll) <= 2.0 * math.pi)
