"""What excludes orders, as few sentences as can be: grounds, whether they are enough, and the least set of them.

One sentence may stand for several no-goods: a rod that is too short forbids a load, a turn and a reload alike. Such
no-goods are one ground: they are kept or left out together. Whether some grounds are enough is asked of the exact
engine's own steps, with nothing but them, so that a set that comes out is enough, and each of its grounds is needed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from planner.deadline import each_in_time, in_time
from planner.facts import angle, degrees, fact, six_digits
from planner.plans.document import Reason
from planner.plans.reasons import from_nogood
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood, Pattern
from planner.sequencing.feasible_orders import FREE_CHUCK, Counts, FeasibleOrders, every_order

Item = TypeVar("Item")


@dataclass(frozen=True)
class Conflict:
    """No-goods that one sentence stands for; chuck: the range of the chuck instead, from and to [rad]."""

    nogoods: tuple[NoGood, ...]
    chuck: tuple[float, float] | None = None

    @property
    def grade(self) -> str:
        """Return "unproved" where any of its no-goods is."""
        return "unproved" if any(nogood.grade == "unproved" for nogood in self.nogoods) else "proved"


def grounds_of(search: Search, nogoods: Iterable[NoGood], rules: Iterable[NoGood] | None = None) -> list[Conflict]:
    """Return rules and no-goods by their sentences, those that are to be kept where others would do as well first.

    First what holds whatever the hold, then what speaks of one hold, the chuck's range last; of what was learned the
    bends in order. rules: all that the search has if None.
    """
    learned = sorted(nogoods, key=lambda nogood: _in_order(nogood.pattern))
    said: dict[tuple[str, str], list[NoGood]] = {}
    for nogood in each_in_time((*(search.problem.rules if rules is None else rules), *learned)):
        sentence = nogood.sentence or from_nogood(search, nogood).sentence
        said.setdefault((nogood.grade, sentence), []).append(nogood)
    grounds = [Conflict(tuple(alike)) for alike in said.values()]
    grounds.sort(key=lambda ground: all(nogood.pattern.hold is not None for nogood in ground.nogoods))
    chuck = search.problem.chuck
    return grounds if chuck is None else [*grounds, Conflict((), chuck)]


def _in_order(pattern: Pattern) -> tuple[object, ...]:
    return (pattern.leads, pattern.bend, tuple(Event).index(pattern.event), pattern.ahead, repr(pattern))


class Enough:
    """Asks whether grounds exclude every order that counts; always with what is forbidden for the asking.

    questions: how often it was asked.
    """

    def __init__(self, search: Search, counts: Counts = every_order, forbidden: Iterable[NoGood] = ()) -> None:
        self.bare = replace(search.problem, rules=tuple(forbidden))
        self.left = FeasibleOrders(search.problem, counts)
        self.questions = 0

    def __call__(self, grounds: Sequence[Conflict]) -> bool:
        """Say whether these exclude all that has to be excluded."""
        in_time()
        self.questions += 1
        chuck = self.bare.chuck
        if chuck is not None and not any(ground.chuck is not None for ground in grounds):
            chuck = FREE_CHUCK
        nogoods = [nogood for ground in grounds for nogood in ground.nogoods]
        return not self.left(replace(self.bare, chuck=chuck), nogoods)


def least_grounds(search: Search, counts: Counts = every_order) -> list[Conflict] | None:
    """Return grounds that exclude every order that counts, none of which can be left out; None where all are too few.

    Of what was learned only what is proved.
    """
    return least_set(grounds_of(search, search.proved), Enough(search, counts))


def least_set(candidates: Sequence[Item], enough: Callable[[Sequence[Item]], bool]) -> list[Item] | None:
    """Return candidates that are enough and of which none can be left out; None where all together are not.

    By halves (Junker's QuickXplain, AAAI 2004), asked to the end. `enough` must stay true when candidates are added.
    Candidates that come first are kept where others would do as well.
    """
    return _shrunk([], list(candidates), enough, True) if enough(candidates) else None


def _shrunk(
    kept: list[Item], candidates: list[Item], enough: Callable[[Sequence[Item]], bool], changed: bool
) -> list[Item]:
    """Return the candidates that are needed besides those kept; changed: those kept were not asked of by themselves."""
    if changed and enough(kept):
        return []
    if len(candidates) <= 1:
        return candidates
    half = len(candidates) // 2
    first, second = candidates[:half], candidates[half:]
    of_second = _shrunk([*kept, *first], second, enough, True)
    of_first = _shrunk([*kept, *of_second], first, enough, bool(of_second))
    return [*of_first, *of_second]


def told(search: Search, grounds: Iterable[Conflict]) -> tuple[Reason, ...]:
    """Return grounds as reasons, one for each."""
    return tuple(_reason(search, ground) for ground in grounds)


def _reason(search: Search, ground: Conflict) -> Reason:
    if ground.chuck is not None:
        low, high = ground.chuck
        return Reason.of(fact("chuck-range", low=angle(low), high=angle(high)), grade="proved", rule="chuck range")
    reason = from_nogood(search, ground.nogoods[0])
    if reason.rule == "carriage reach" and all(nogood.pattern.released for nogood in ground.nogoods):
        return reason.saying(opened=fact("collet-opened"))
    if reason.rule != "rounding":
        return reason
    machine = search.case.machine
    step = six_digits(machine.advance.resolution)
    turn = degrees(math.degrees(machine.rotation.resolution), None)
    return reason.saying(steps=fact("which-step-by", advance=step, rotation=turn))
