"""The sequencing problem as plain data, with no geometry and no engine in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.rules.broken import End
from planner.search.events import Arrival, NoGood, Trims


@dataclass(frozen=True)
class Times:
    """The least that each way of reaching a bend can take, beside what every order takes alike [ms].

    link[end][k − 1]: from bend k − 1 to bend k in the view of that end (0 for k = 1); load[end][k − 1]: the
    first advance when bend k is the job's first; turn, reload, regrip: each time.
    """

    link: dict[End, tuple[int, ...]]
    load: dict[End, tuple[int, ...]]
    turn: int
    reload: int
    regrip: int


@dataclass(frozen=True)
class Problem:
    """What the engines solve.

    n: number of bends; trims: the pairs of trims to choose from [mm]; rules: the shop rules as no-goods; chuck: the
    angles between which the chuck can stand [rad], None where it turns for ever; it stands at 0 after every load and
    re-grip; rolls[end][k − 1]: the rotation from bend k − 1 to bend k in the view of that end, the shorter way round,
    in (−π, π] [rad]; the longer way is that less a whole turn with its sign, and only a limited chuck ever needs it:
    with `chuck` None every link goes way 0. may_regrip, may_reload: whether these are there to choose;
    may_release: the job's last bend may be made with the collet open (a re-clamp more).
    """

    n: int
    trims: tuple[Trims, ...]
    rules: tuple[NoGood, ...]
    times: Times
    chuck: tuple[float, float] | None
    rolls: dict[End, tuple[float, ...]]
    may_regrip: bool
    may_reload: bool
    may_release: bool


Extra = Callable[[Arrival | None, Arrival, Trims], int]
"""What an arrival takes more than its least, so far as is known [ms], given the one before; 0 where nothing is known.

It depends on nothing else: a tool change between two bends, a detour, a draw back."""
