"""The orders that a person would try, and what the shop rules say of each as numbers.

Straight through from A, from B, and from each bend outward with one turn, either side first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.rules.broken import Broken, End, other
from planner.rules.carriage import Grip, grips_for
from planner.rules.grip import Loaded, clamps_that_fit, end_of_swing, rod_reaches, tail_left
from planner.tolerances import RULE_SLACK
from planner.tube.partly_bent import bend_seen, seen_from


@dataclass(frozen=True)
class Run:
    """Bends made in one load, in order (numbers from end A), and the end that leads."""

    leads: End
    bends: tuple[int, ...]


Order = tuple[Run, ...]


@dataclass(frozen=True)
class Case:
    """A part on a machine: tooling and setting [rad] of each bend."""

    part: Part
    machine: Machine
    tooling: tuple[Tooling, ...]
    settings: tuple[float, ...]


@dataclass(frozen=True)
class Load:
    """One load of an order with what the rules chose: clamps that fit each bend (longest first) and the grips.

    formed: numbers (in the view) of the bends formed before; bends: numbers in the view, in order.
    """

    run: Run
    loaded: Loaded
    formed: frozenset[int]
    bends: tuple[int, ...]
    clamps: tuple[tuple[float, ...], ...]
    grips: tuple[Grip, ...]


@dataclass(frozen=True)
class Ready:
    """An order that breaks no rule."""

    case: Case
    order: Order
    trim_a: float
    trim_b: float
    loads: tuple[Load, ...]

    @property
    def turns(self) -> int:
        """Times the tube is turned end for end."""
        return len(self.order) - 1

    @property
    def regrips(self) -> int:
        """Re-grips over all loads."""
        return sum(max(len(load.grips) - 1, 0) for load in self.loads)

    @property
    def released(self) -> int:
        """1 if the last bend is made with the collet open."""
        return int(any(grip.released for load in self.loads for grip in load.grips))

    @property
    def reclamps(self) -> int:
        """All losses of reference."""
        return self.turns + self.regrips + self.released


def orders_to_try(n: int) -> Iterator[Order]:
    """Yield the orders for a part of n bends: straight through from A and from B, then outward from each bend."""
    up = tuple(range(1, n + 1))
    yield (Run("A", up),)
    yield (Run("B", up[::-1]),)
    for k in range(2, n + 1):
        from_a, from_b = Run("A", up[k - 1 :]), Run("B", up[: k - 1][::-1])
        yield (from_a, from_b)
        yield (from_b, from_a)


def prepare(case: Case, order: Order) -> Ready | tuple[Broken, ...]:
    """Return the order with trim, clamps and grips, or every rule that it breaks."""
    trims = needed_trim(case, order)
    formed: frozenset[int] = frozenset()
    loads, broken = [], []
    for number, run in enumerate(order):
        loaded = _loaded(case.part, run.leads, trims)
        made = frozenset(bend_seen(b, run.leads, case.part.n_bends) for b in formed)
        load = _load(case, run, loaded, made, number == len(order) - 1)
        if isinstance(load, Load):
            loads.append(load)
        else:
            broken.extend(load)
        formed |= frozenset(run.bends)
    if broken:
        return tuple(broken)
    return Ready(case, order, trims["A"], trims["B"], tuple(loads))


def _loaded(part: Part, leads: End, trims: dict[str, float]) -> Loaded:
    return Loaded(seen_from(part, leads), leads, trims[leads], trims[other(leads)])


def _load(case: Case, run: Run, loaded: Loaded, formed: frozenset[int], last: bool) -> Load | list[Broken]:
    bends = tuple(bend_seen(b, run.leads, case.part.n_bends) for b in run.bends)
    settings = tuple(case.settings[b - 1] for b in run.bends)
    broken: list[Broken | None] = [rod_reaches(loaded, bends[0], case.machine)]
    clamps = []
    for bend, number, setting in zip(bends, run.bends, settings, strict=True):
        tooling = case.tooling[number - 1]
        fitting = clamps_that_fit(loaded, bend, formed, tooling)
        if isinstance(fitting, Broken):
            broken.append(fitting)
        else:
            clamps.append(fitting)
        broken.append(tail_left(loaded, bend, setting, tooling))
        formed |= {bend}
    grips = grips_for(loaded, bends, settings, case.machine, last)
    if isinstance(grips, Broken):
        broken.append(grips)
    found = [b for b in broken if b is not None]
    if found or isinstance(grips, Broken):
        return found
    return Load(run, loaded, formed - frozenset(bends), bends, tuple(clamps), grips)


def needed_trim(case: Case, order: Order) -> dict[str, float]:
    """Return the least trim at each end [mm], in whole millimetres, that grip, tail and reach ask for.

    It is never more than the allowed: where even that does not do, the rules will say so with their numbers.
    """
    need = {"A": 0.0, "B": 0.0}
    for number, run in enumerate(order):
        view = seen_from(case.part, run.leads)
        first, last = (bend_seen(run.bends[i], run.leads, case.part.n_bends) for i in (0, -1))
        if number == 0:
            held = float(view.bend_starts[first - 1])
            need[run.leads] = max(need[run.leads], case.tooling[run.bends[0] - 1].shortest_grip - held)
        end = end_of_swing(view, last, case.settings[run.bends[-1] - 1])
        behind = case.tooling[run.bends[-1] - 1].shortest_tail
        carriage = case.machine.carriage
        if carriage is not None:
            behind = max(behind, carriage.reach[0] + carriage.grip_length)
        wanted = end + behind - view.developed_length
        last_of_job = number == len(order) - 1
        allowed_behind = case.part.trim_b if run.leads == "A" else case.part.trim_a
        if carriage is not None and carriage.finish_released and last_of_job and wanted > allowed_behind + RULE_SLACK:
            # The collet only has to place the last bend then, not to hold it.
            placed = float(view.bend_starts[last - 1]) + carriage.reach[0] + carriage.grip_length
            shortest = end + case.tooling[run.bends[-1] - 1].shortest_tail
            wanted = max(placed, shortest) - view.developed_length
        need[other(run.leads)] = max(need[other(run.leads)], wanted)
    allowed = {"A": case.part.trim_a, "B": case.part.trim_b}
    whole = {end: float(math.ceil(max(value, 0.0) - RULE_SLACK)) for end, value in need.items()}
    return {end: min(value, allowed[end]) for end, value in whole.items()}
