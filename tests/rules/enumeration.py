"""Every order of a part, every hold of the collet and every trim, at 1 mm and 1°: the shop rules as one would note them.

Nothing of the program is asked but the numbers of part and machine. Orders grow outward: the formed bends are a run of
neighbours (a mandrel or a closed collet fills the tail), and the next bend lies behind that run as seen from the end that
leads.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from tests.plan.shop import RADIUS, bender, tube
from tests.rules.cases import clamped, dies_on_the_edge, lasts

NO = 99
"""Stands for "cannot be done" where re-clamps are counted."""

Counts = NDArray[np.int64]


@dataclass(frozen=True)
class Side:
    """The part counted from its leading end [mm, deg]; rolls[k]: from bend k − 1 to bend k; lead: trim at that end."""

    starts: list[int]
    ends: list[int]
    swings: list[int]
    rolls: list[int]
    stock: int
    lead: int


@dataclass(frozen=True)
class Noted:
    """A part on a machine in whole millimetres and degrees, from end A, with the trim that is put on."""

    part: Part
    machine: Machine
    settings: tuple[float, ...]
    trims: tuple[int, int]

    @cached_property
    def sides(self) -> dict[str, Side]:
        """The part seen from either end."""
        straights = [round(float(x)) for x in self.part.straights]
        arcs = [round(float(r * a)) for r, a in zip(self.part.radii, self.part.angles, strict=True)]
        feeds = [round(s * RADIUS) for s in self.settings]
        rolls = [round(float(np.degrees(r))) for r in self.part.rotations[1:]]
        a, b = self.trims
        return {
            "A": _side(straights, arcs, feeds, [0, *rolls], a, b),
            "B": _side(straights[::-1], arcs[::-1], feeds[::-1], [0, *rolls[::-1]], b, a),
        }

    def fewest_reclamps(self) -> int | None:
        """The fewest re-clamps with which all bends are made, None if they cannot be."""
        n = self.part.n_bends
        layer: dict[State, Counts] = {}
        for end in "AB":
            for bend in range(1, n + 1):
                number = bend if end == "A" else n + 1 - bend
                _keep_least(layer, (number, number, end, 0), self._loaded(end, bend, True, n == 1))
        for _ in range(n - 1):
            layer = self._one_more(layer)
        counts = [int(found.min()) for found in layer.values()]
        return min((count for count in counts if count < NO), default=None)

    def _one_more(self, layer: dict[State, Counts]) -> dict[State, Counts]:
        """Make one bend more, in every way."""
        n, after = self.part.n_bends, dict[State, Counts]()
        for (low, high, end, chuck), counts in layer.items():
            least = int(counts.min())
            if least >= NO:
                continue
            last = high - low == n - 2
            behind = (high + 1, low, high + 1) if end == "A" else (low - 1, low - 1, high)
            if 1 <= behind[0] <= n:  # on in the same load, or put back the same way round
                bend = behind[0] if end == "A" else n + 1 - behind[0]
                run = behind[1:]
                for turned in both_ways(self.sides[end].rolls[bend - 1]):
                    if self._chuck_allows(chuck + turned):
                        kept = self._made(end, bend, counts, last)
                        _keep_least(after, (*run, end, chuck + turned), kept)
                    if self._chuck_allows(turned):
                        _keep_least(after, (*run, end, turned), self._regripped(end, bend, least, last))
                again = self._loaded(end, bend, False, last) + least + 1
                _keep_least(after, (*run, end, 0), again)
            across = (low - 1, low - 1, high) if end == "A" else (high + 1, low, high + 1)
            if 1 <= across[0] <= n:  # turned end for end
                other = "B" if end == "A" else "A"
                bend = across[0] if other == "A" else n + 1 - across[0]
                turn = self._loaded(other, bend, False, last) + least + 1
                _keep_least(after, (*across[1:], other, 0), turn)
        return after

    def _loaded(self, end: str, bend: int, first: bool, last: bool) -> Counts:
        """Re-clamps by place of the face for a bend that begins a load: none, or one if it is made with the collet open."""
        side, mandrel = self.sides[end], self.machine.mandrel
        tooling = self.machine.tooling[0]
        start = side.starts[bend - 1]
        if mandrel is not None and side.stock - start > mandrel.rod_length:
            return self._none(side)
        if first and start + side.lead < tooling.shortest_grip:
            return self._none(side)
        if not first and not clamped(tooling, start - side.ends[bend - 2]):
            return self._none(side)
        return self._held(end, bend, self._none(side) * 0, last)

    def _made(self, end: str, bend: int, counts: Counts, last: bool) -> Counts:
        """Re-clamps by place of the face for a bend that is made next, held as before."""
        side = self.sides[end]
        if not clamped(self.machine.tooling[0], side.starts[bend - 1] - side.ends[bend - 2]):
            return self._none(side)
        return self._held(end, bend, counts, last)

    def _regripped(self, end: str, bend: int, least: int, last: bool) -> Counts:
        """The same after a re-grip at the end of the bend before, with the arm at the setting.

        The collet is within its reach there, and still once the tube has sprung back and pushed it backward.
        """
        side, carriage = self.sides[end], self.machine.carriage
        if carriage is None or not carriage.passes_through:
            return self._none(side)
        faces = np.arange(side.stock + 1)
        near = faces - side.swings[bend - 2] >= carriage.reach[0]
        far = faces - side.ends[bend - 2] <= carriage.reach[1]
        return self._made(end, bend, np.where(near & far, least + 1, NO), last)

    def _held(self, end: str, bend: int, counts: Counts, last: bool) -> Counts:
        """Leave the places of the face that serve a bend; the job's last one may be made with the collet open."""
        side, carriage, tooling = self.sides[end], self.machine.carriage, self.machine.tooling[0]
        start, swing = side.starts[bend - 1], side.swings[bend - 1]
        if side.stock - swing < tooling.shortest_tail or not lasts(tooling, swing - start):
            return self._none(side)
        if carriage is None:
            return counts
        faces = np.arange(side.stock + 1)
        tail = faces + round(carriage.grip_length)
        inside = tail <= side.stock if carriage.passes_through else tail == side.stock
        placed = inside & (faces - start <= carriage.reach[1])
        held = np.where(placed & (faces - swing >= carriage.reach[0]), counts, NO)
        if not (last and carriage.finish_released):
            return held
        return np.minimum(held, np.where(placed & (faces - start >= carriage.reach[0]), counts + 1, NO))

    def _none(self, side: Side) -> Counts:
        return np.full(side.stock + 1 if self.machine.carriage is not None else 1, NO)

    def _chuck_allows(self, angle: int) -> bool:
        limits = self.machine.rotation.range
        return limits == "continuous" or np.degrees(limits[0]) - 1e-6 <= angle <= np.degrees(limits[1]) + 1e-6


State = tuple[int, int, str, int]
"""Lowest and highest formed bend from end A, leading end, angle of the chuck since the load or re-grip [deg]."""


def _side(straights: list[int], arcs: list[int], feeds: list[int], rolls: list[int], lead: int, tail: int) -> Side:
    starts, ends, swings, at = [], [], [], 0
    for straight, arc, feed in zip(straights, arcs, feeds, strict=False):
        at += straight
        starts.append(at)
        swings.append(at + max(feed, arc))
        at += arc
        ends.append(at)
    return Side(starts, ends, swings, rolls, at + straights[-1] + tail, lead)


def _keep_least(layer: dict[State, Counts], state: State, counts: Counts) -> None:
    counts = np.minimum(counts, NO)
    if counts.min() < NO:
        layer[state] = counts if state not in layer else np.minimum(layer[state], counts)


def both_ways(roll: int) -> tuple[int, ...]:
    """A rotation either way round [deg]."""
    return (0,) if roll == 0 else (roll, roll - 360 if roll > 0 else roll + 360)


def every_trim(part: Part, machine: Machine, settings: list[float]) -> dict[tuple[int, int], int]:
    """The fewest re-clamps for every pair of trims in whole millimetres with which the part can be made at all."""
    found = {}
    for a in range(round(part.trim_a) + 1):
        for b in range(round(part.trim_b) + 1):
            count = Noted(part, machine, tuple(settings), (a, b)).fewest_reclamps()
            if count is not None:
                found[a, b] = count
    return found


def on_the_edge(seed: int) -> tuple[Part, Machine, list[float]]:
    """A part and a machine of which a few millimetres decide: ends, rod and travel near what the rules ask for.

    Settings [rad]. Every fifth bender is fed by hand; every other one lets the tube pass, may release, turns for ever.
    """
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 6))
    arcs, opened = rng.integers(20, 160, n), rng.integers(0, 9, n)
    closest, grip = int(rng.integers(40, 200)), int(rng.integers(20, 80))
    inner = [int(x) for x in rng.integers(64, 200, n - 1)]
    if n > 1 and rng.random() < 0.2:
        inner[int(rng.integers(n - 1))] = int(rng.integers(57, 64))
    ends = [_end_straight(rng, closest + grip, int(arcs[k]), int(opened[k])) for k in (0, n - 1)]
    rolls = [0, *(int(x) for x in rng.integers(-179, 181, n - 1))]
    part = tube(
        [ends[0], *inner, ends[1]],
        rolls,
        list(np.degrees(arcs / RADIUS)),
        (float(rng.integers(0, 7)), float(rng.integers(0, 7))),
    )
    length = int(arcs.sum()) + ends[0] + sum(inner) + ends[1]
    travel = int(rng.choice([rng.integers(160, 500), rng.integers(300, 900), 6000]))
    changes: list[dict[str, Any]] = [
        {
            "carriage": {
                "reach": [closest, closest + travel],
                "grip_length": grip,
                "passes_through": bool(rng.random() < 0.65),
                "finish_released": bool(rng.random() < 0.5),
            }
        }
    ]
    changes.append(dies_on_the_edge(seed, arcs + opened))
    if seed % 5 == 0:
        changes.append({"carriage": None})
    if rng.random() < 0.5:
        changes.append(
            {"mandrel": {"rod_length": length - int(rng.integers(0, length // 2)) + int(rng.integers(-3, 4))}}
        )
    if rng.random() < 0.4:
        changes.append({"rotation": {"range": [-int(rng.integers(0, 250)), int(rng.integers(1, 250))]}})
    return part, bender(*changes), [float(x) / RADIUS for x in arcs + opened]


def _end_straight(rng: np.random.Generator, held: int, arc: int, opened: int) -> int:
    """A straight at an end: ample, or within a few millimetres of what grip, tail or collet need, held or only placed."""
    tail = 20  # of the tests' bender, like the grip of 50
    needs = (400, 400, 50, held + opened, held + opened, held - arc, tail + opened)
    return max(int(rng.choice(needs)) + int(rng.integers(-6, 4)), 0)
