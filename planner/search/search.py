"""The search: an engine proposes the best sequence so far, the geometry checks it, and every failure is learned.

The engine knows the shop rules and the no-goods; geometry is checked only where its proposal asks for it. When a
proposal goes through, it is the best there is. The plan is sought under all no-goods; what is proved of it comes from
a second search that counts the proved ones only: if that finds nothing better, the plan's value is proved.

Where there are clamps to choose from they are left open at first: whichever fits will do, for re-clamps and trim do not
depend on it. With both known the clamps are told apart, and the least time sought.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Protocol

from planner.cuts.shop_rules import problem_of, tooling_to_choose, with_clamps
from planner.cuts.strike_cuts import StrikeCuts
from planner.deadline import OutOfTime, in_time
from planner.feasibility.bend_check import Attempt
from planner.feasibility.bend_checks import Around
from planner.feasibility.checks import Checks
from planner.feasibility.handling import Handling
from planner.feasibility.orders import Case
from planner.feasibility.places import Place, places
from planner.sequencing.events import Arrival, Event, NoGood, Prefer, Sequence, Trims, Value
from planner.sequencing.exact import NEVER, Exact
from planner.sequencing.problem import Extra, Problem
from planner.sequencing.reaching import SolverGaveUp
from planner.sequencing.tie_break import chosen


class Engine(Protocol):
    """What proposes sequences."""

    def best(self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer) -> Sequence | None:
        """Return a sequence of least value that nothing known forbids, or None if there is none."""


TELL_EVERY = 2.0
"""How often the progress is told [s]."""


@dataclass
class Search:
    """One case with everything learned of it so far."""

    case: Case
    around: Around
    engine: Engine
    prefer: Prefer = "fewer re-clamps"
    report: Callable[[str], None] | None = None
    nogoods: list[NoGood] = field(default_factory=list)
    kept: Sequence | None = None  # the plan, once it was carried out: what would forbid it is not learned any more
    proposals: int = 0

    def __post_init__(self) -> None:
        self.problem = problem_of(self.case)
        self.checks = Checks(self.case, self.problem, self.around)
        self.cuts = StrikeCuts(self.checks)
        self.handling = Handling(self.checks)
        self._told = time.monotonic()

    def remember(self, earlier: Iterable[NoGood]) -> None:
        """Take in what was learned on a part or machine a little different, where its witnesses still strike."""
        found = [self.cuts.again(nogood) for nogood in earlier]
        self._new([nogood for nogood in found if nogood is not None])

    def plan(self) -> Sequence | None:
        """Return the sequence that the stated rule takes among the best, all of it checked; None if none goes."""
        rough = self.best()
        if rough is None:
            return None
        apart = self.told_apart(rough.value)
        best = rough if apart is None else self._best_of(apart)
        while best is not None:
            self._in_time()
            found = chosen(apart or self.problem, self.nogoods, self.handling.extra, best, self.handling.sense)
            if not self.examine(found):
                return found
            if self.in_the_way(best):
                best = self.best() if apart is None else self._best_of(apart)
        return None if apart is None else rough

    def in_the_way(self, sequence: Sequence) -> list[NoGood]:
        """Return the learned no-goods that forbid a sequence."""
        return _matching(self.nogoods, sequence)

    def broken_rules(self, sequence: Sequence) -> list[NoGood]:
        """Return the shop rules that a sequence breaks."""
        return _matching(self.problem.rules, sequence)

    def told_apart(self, value: Value) -> Problem | None:
        """Return the problem with its clamps told apart, with the trim of a value; None where there is no choice."""
        return with_clamps(self.case, self.problem, self.problem.of_same_stock(value))

    def best(self, proved_only: bool = False) -> Sequence | None:
        """Return the best sequence that goes, or with `proved_only` the best that is not proved to fail.

        Best in re-clamps and trim; in time too where there is no choice of clamps, which are left open here.
        """
        return self._best_of(self.problem, proved_only, timed=not tooling_to_choose(self.case))

    def timed(self, least: Value) -> Value:
        """Return the least value that is not proved to fail, its time with the clamps told apart."""
        apart = self.told_apart(least)
        found = None if apart is None else self._best_of(apart, proved_only=True)
        same = found is not None and found.value.beside_time() == least.beside_time()
        return found.value if found is not None and same else least

    def _best_of(self, problem: Problem, proved_only: bool = False, timed: bool = True) -> Sequence | None:
        while True:
            self._in_time()
            found = self.propose(proved_only, problem)
            if found is None or not self.examine(found) or not (timed or self.in_the_way(found)):
                return found

    def propose(self, proved_only: bool = False, problem: Problem | None = None) -> Sequence | None:
        """Return the best sequence as far as is known, its geometry not checked yet."""
        extra = self.handling.sure_extra if proved_only else self.handling.extra
        known = [n for n in self.nogoods if n.grade == "proved"] if proved_only else self.nogoods
        self.proposals += 1
        try:
            return self.engine.best(problem or self.problem, known, extra, self.prefer)
        except SolverGaveUp as gave_up:
            raise OutOfTime from gave_up

    def known(self) -> Sequence | None:
        """Return the best sequence of bends and moves that have all been checked before; nothing new is."""

        def measured(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:
            return self.handling.measured(before, arrival, trims, NEVER)

        rough = Exact().best(self.problem, self.nogoods, measured, self.prefer)
        apart = None if rough is None else self.told_apart(rough.value)
        return rough if apart is None else Exact().best(apart, self.nogoods, measured, self.prefer) or rough

    def reject(self, nogood: NoGood) -> None:
        """Take in a no-good that was found elsewhere."""
        self.nogoods.append(nogood)

    def look_harder(self) -> bool:
        """Forget what was not proved, so that it is looked into once more, harder; say whether that is news."""
        if self.checks.batches.harder:
            return False
        self.checks.look_harder()
        self.nogoods = [nogood for nogood in self.nogoods if nogood.grade == "proved"]
        return True

    def _in_time(self) -> None:
        """Tell of the progress from time to time, and stop where the time has run out."""
        in_time()
        now = time.monotonic()
        if self.report is not None and now - self._told >= TELL_EVERY:
            self._told = now
            bends, moves = len(self.checks.bent), len(self.checks.moved)
            self.report(f"{bends} bends and {moves} moves checked, {len(self.nogoods)} no-goods learned")

    def examine(self, sequence: Sequence) -> bool:
        """Check a sequence's geometry; say whether anything was learned that the engine did not know."""
        wanted = places(sequence)
        learned = self._learned_of(wanted)
        new = self._new(learned)
        if learned:
            return new
        news = [self.handling.measure(place) for place in wanted]
        return any(news)

    def look_into(self, wanted: Iterable[Place]) -> bool:
        """Check the geometry of some steps that follow one another; say whether anything new was learned."""
        return self._new(self._learned_of(list(wanted)))

    def _learned_of(self, wanted: list[Place]) -> list[NoGood]:
        """Return what is learned of places that follow one another: their bends, moves, loads and unloads."""
        bent = self._taught(wanted, self.checks.bend(wanted))
        goes = {place.at for place in wanted} - {place.at for place, _ in bent}
        moving = [
            place
            for place in wanted
            if self.checks.moves_to(place)
            and place.at in goes
            and (place.at.event is not Event.LINK or place.before in goes)
        ]
        moved = self._taught(moving, self.checks.move(moving))
        goes -= {place.at for place, _ in moved}
        passed = self._on_and_off([place for place in wanted if place.at in goes])
        return [*(nogood for _, nogood in (*bent, *moved)), *passed]

    def _taught(self, wanted: list[Place], attempts: list[Attempt]) -> list[tuple[Place, NoGood]]:
        """Return the places that cannot be carried out, each with what it teaches."""
        found = []
        for place, attempt in zip(wanted, attempts, strict=True):
            nogood = self.cuts.of_bend(place, attempt) if attempt.blocked else None
            if nogood is not None:
                found.append((place, nogood))
        return found

    def _on_and_off(self, wanted: list[Place]) -> list[NoGood]:
        """Check loads and unloads at places whose bends and moves go; return what is learned."""
        on = [place for place in wanted if self.checks.put_on(place)]
        off = [place for place in wanted if self.checks.taken_off(place)]
        found = [*zip(on, self.checks.load(on), strict=True), *zip(off, self.checks.unload(off), strict=True)]
        return [self.cuts.of_passage(place, passage) for place, passage in found if passage.path is None]

    def _new(self, learned: list[NoGood]) -> bool:
        known = {nogood.pattern for nogood in self.nogoods}
        fresh = [nogood for nogood in learned if nogood.pattern not in known]
        if self.kept is not None:  # within the band of what is asked for a strike and a proof that it is clear may meet
            fresh = [nogood for nogood in fresh if not _matching([nogood], self.kept)]
        self.nogoods.extend(fresh)
        return bool(fresh)


def _matching(nogoods: Iterable[NoGood], sequence: Sequence) -> list[NoGood]:
    wanted = places(sequence)
    return [n for n in nogoods if any(n.pattern.matches(place.before, place.at, place.trims) for place in wanted)]
