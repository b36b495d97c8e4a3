"""The sequencing problem as plain data, with no geometry and no engine in it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from planner.rules.broken import End
from planner.sequencing.events import Arrival, NoGood, Trims, Value


def milliseconds(seconds: float) -> int:
    """Return a time in whole milliseconds, the unit in which times are compared."""
    return round(seconds * 1000.0)


@dataclass(frozen=True)
class LeastTimes:
    """The least that each way of reaching a bend can take, beside what every order takes alike [ms].

    link[end][k − 1]: from bend k − 1 to bend k in the view of that end (0 for k = 1); load[end][k − 1]: the
    first advance when bend k is the job's first; turn, reload, regrip, tool_change: each time.
    """

    link: dict[End, tuple[int, ...]]
    load: dict[End, tuple[int, ...]]
    turn: int
    reload: int
    regrip: int
    tool_change: int = 0


class Clamps(NamedTuple):
    """The clamps that may hold the straight ahead of a bend, longest first [mm].

    at_end: while nothing is formed ahead of it; between: while the neighbour ahead is formed; die: which set of dies
    makes the bend, by the bend's radius [mm].
    """

    at_end: tuple[float, ...]
    between: tuple[float, ...]
    die: float


@dataclass(frozen=True)
class Problem:
    """What the engines solve.

    n: number of bends; trims: the pairs of trims to choose from [mm]; rules: the shop rules as no-goods; chuck: the
    angles between which the chuck can stand [rad], None where it turns for ever; it stands at 0 after every load and
    re-grip; rolls[end][k − 1]: the rotation from bend k − 1 to bend k in the view of that end, the shorter way round,
    in (−π, π] [rad]; the longer way is that less a whole turn with its sign, and only a limited chuck ever needs it:
    with `chuck` None every link goes way 0. may_regrip, may_reload: whether these are there to choose;
    may_release: the job's last bend may be made with the collet open (a re-clamp more).

    clamps[end][k − 1]: those for bend k in the view of that end; None where they are not told apart: then every arrival
    leaves its clamp open. A clamp that is changed on the way is changed back for the next part: the times count both,
    and the dies of every further pass over the batch once. unasked: the ends whose trim nobody has stated.
    """

    n: int
    trims: tuple[Trims, ...]
    rules: tuple[NoGood, ...]
    times: LeastTimes
    chuck: tuple[float, float] | None
    rolls: dict[End, tuple[float, ...]]
    may_regrip: bool
    may_reload: bool
    may_release: bool
    clamps: dict[End, tuple[Clamps, ...]] | None = None
    unasked: frozenset[End] = frozenset()

    def value(self, reclamps: int, trims: Trims, time: int) -> Value:
        """Return what a sequence with these trims costs."""
        return Value(reclamps, trims.total, time, math.fsum(trims.at(end) for end in self.unasked))

    def of_same_stock(self, value: Value) -> tuple[Trims, ...]:
        """Return the pairs of trims that cost what a value does, stated or not."""
        return tuple(pair for pair in self.trims if self.value(0, pair, 0)[1::2] == value[1::2])

    def clamps_for(self, arrival: Arrival) -> tuple[float | None, ...]:
        """Return the clamps to choose from for an arrival [mm]; None alone where they are not told apart."""
        if self.clamps is None:
            return (None,)
        choice = self.clamps[arrival.leads][arrival.bend - 1]
        return choice.at_end if arrival.ahead == arrival.bend else choice.between

    def changes(self, before: Arrival | None, arrival: Arrival, fitted: float | None) -> tuple[float | None, int]:
        """Return the clamp that the batch's pass began with, and how often tooling is changed to reach an arrival.

        fitted: the clamp that the pass began with, before this arrival. A pass ends where other dies are needed: what
        it began with has been put back by then, and after the job's last bend. The dies of a further pass count once.
        """
        if self.clamps is None:
            return None, 0
        changed = 0
        if before is None or self.die(before) != self.die(arrival):
            changed += before is not None and 1 + (before.clamp != fitted)
            fitted = arrival.clamp
        else:
            changed += before.clamp != arrival.clamp
        if arrival.ahead == 1 and arrival.bend == self.n:
            changed += arrival.clamp != fitted
        return fitted, changed

    def die(self, arrival: Arrival) -> float:
        """Return which set of dies makes an arrival's bend, by its radius [mm]."""
        assert self.clamps is not None  # asked only then
        return self.clamps[arrival.leads][arrival.bend - 1].die


Extra = Callable[[Arrival | None, Arrival, Trims], int]
"""What an arrival takes more than its least, so far as is known [ms], given the one before; 0 where nothing is known.

It depends on nothing else: a detour, a draw back, the carriage's runs."""
