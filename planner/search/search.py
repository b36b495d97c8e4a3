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
from dataclasses import dataclass, field, replace
from typing import Any

from planner.cuts.shop_rules import tooling_to_choose, with_clamps
from planner.deadline import OutOfTime, in_time
from planner.feasibility.bend_checks import Around
from planner.feasibility.checks import Checks
from planner.feasibility.handling import Handling
from planner.feasibility.orders import Case
from planner.feasibility.places import Place, places
from planner.search.knowledge import Knowledge, matching
from planner.search.question import Engine, Question
from planner.sequencing.events import Arrival, Grade, NoGood, Prefer, Sequence, Trims, Value
from planner.sequencing.exact import NEVER, Exact
from planner.sequencing.problem import Problem
from planner.sequencing.solution import SolverGaveUp
from planner.sequencing.tie_break import chosen

TELL_EVERY = 2.0
"""How often the progress is told [s]."""


@dataclass
class Progress:
    """Tells of the progress from time to time, where anybody listens; proposals: how often an engine was asked."""

    report: Callable[[str], None] | None = None
    told: float = field(default_factory=time.monotonic)
    proposals: int = 0

    def tell(self, known: Knowledge) -> None:
        """Say how far it has got, unless that was said just now."""
        now = time.monotonic()
        if self.report is not None and now - self.told >= TELL_EVERY:
            self.told = now
            bends, moves = len(known.checks.bent), len(known.checks.moved)
            self.report(f"{bends} bends and {moves} moves checked, {len(known.nogoods)} no-goods learned")


@dataclass(frozen=True)
class Search:
    """A question asked of what is known of a case; what is learned on the way is known from then on."""

    known: Knowledge
    question: Question
    progress: Progress = field(default_factory=Progress, compare=False)

    @classmethod
    def of(
        cls,
        case: Case,
        around: Around,
        engine: Engine,
        prefer: Prefer = "fewer re-clamps",
        report: Callable[[str], None] | None = None,
    ) -> Search:
        """Return the search of a case of which nothing was checked yet, all its orders asked for."""
        known = Knowledge.of(case, around)
        return cls(known, Question(known.problem, engine, prefer), Progress(report))

    def asking(self, **changes: Any) -> Search:
        """Return the search for another question of the same case; what is known they share."""
        return replace(self, question=replace(self.question, **changes))

    def forbidding(self, forbidden: Iterable[NoGood]) -> Search:
        """Return the search with some arrivals forbidden for the asking.

        What is learned hangs on the part and the machine, never on what is forbidden so.
        """
        return self.asking(problem=replace(self.problem, rules=(*self.problem.rules, *forbidden)))

    def afresh(self, report: Callable[[str], None] | None) -> Search:
        """Return the same search from what is known now on: what it learns stays its own."""
        return Search(self.known.snapshot(), self.question, Progress(report))

    # ------------------------------------------------------------------------------------------ what is known

    @property
    def case(self) -> Case:
        """The part on the machine."""
        return self.known.case

    @property
    def around(self) -> Around:
        """What gives a bend's surroundings."""
        return self.known.around

    @property
    def checks(self) -> Checks:
        """What was checked."""
        return self.known.checks

    @property
    def handling(self) -> Handling:
        """What is known of the time that arrivals take."""
        return self.known.handling

    @property
    def nogoods(self) -> tuple[NoGood, ...]:
        """What was learned."""
        return self.known.nogoods

    @property
    def proved(self) -> tuple[NoGood, ...]:
        """What was learned and is proved."""
        return tuple(nogood for nogood in self.nogoods if nogood.grade == "proved")

    def learned(self, grade: Grade) -> tuple[NoGood, ...]:
        """Return what was learned; grade: "proved" leaves aside what is not proved."""
        return self.proved if grade == "proved" else self.nogoods

    @property
    def problem(self) -> Problem:
        """What is asked for."""
        return self.question.problem

    @property
    def prefer(self) -> Prefer:
        """Which of re-clamps and trim counts first."""
        return self.question.prefer

    def in_the_way(self, sequence: Sequence) -> list[NoGood]:
        """Return the learned no-goods that forbid a sequence."""
        return matching(self.nogoods, sequence)

    def broken_rules(self, sequence: Sequence) -> list[NoGood]:
        """Return the shop rules that a sequence breaks."""
        return matching(self.problem.rules, sequence)

    # -------------------------------------------------------------------------------- propose, check and learn

    def settled(self, propose: Callable[[], Sequence | None], learns: Callable[[Sequence], bool]) -> Sequence | None:
        """Return the first proposal of which nothing new is learned, None once there is no proposal left.

        learns: checks a proposal and says whether anything was learned that the next one must heed.
        """
        while True:
            in_time()
            self.progress.tell(self.known)
            found = propose()
            if found is None or not learns(found):
                return found

    def plan(self) -> Sequence | None:
        """Return the sequence that the stated rule takes among the best, all of it checked; None if none goes."""
        rough = self.best()
        if rough is None:
            return None
        apart = self.told_apart(rough.value)
        best = rough if apart is None else self._best_of(apart)

        def among_equals() -> Sequence | None:
            nonlocal best
            if best is not None and self.in_the_way(best):
                best = self.best() if apart is None else self._best_of(apart)
            if best is None:
                return None
            return chosen(apart or self.problem, self.nogoods, self.handling.extra, best, self.handling.sense)

        found = self.settled(among_equals, self.examine)
        return rough if found is None and apart is not None else found

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
        return self.settled(
            lambda: self.propose(proved_only, problem),
            lambda found: self.examine(found) and (timed or bool(self.in_the_way(found))),
        )

    def propose(self, proved_only: bool = False, problem: Problem | None = None) -> Sequence | None:
        """Return the best sequence as far as is known, its geometry not checked yet."""
        extra = self.handling.sure_extra if proved_only else self.handling.extra
        known = self.learned("proved" if proved_only else "unproved")
        self.progress.proposals += 1
        try:
            return self.question.engine.best(problem or self.problem, known, extra, self.prefer)
        except SolverGaveUp as gave_up:
            raise OutOfTime from gave_up

    def best_checked(self) -> Sequence | None:
        """Return the best sequence of bends and moves that have all been checked before; nothing new is."""

        def measured(before: Arrival | None, arrival: Arrival, trims: Trims) -> int:
            return self.handling.measured(before, arrival, trims, NEVER)

        rough = Exact().best(self.problem, self.nogoods, measured, self.prefer)
        apart = None if rough is None else self.told_apart(rough.value)
        return rough if apart is None else Exact().best(apart, self.nogoods, measured, self.prefer) or rough

    def examine(self, sequence: Sequence) -> bool:
        """Check a sequence's geometry; say whether anything was learned that the engine did not know."""
        wanted = places(sequence)
        learned = self.known.learned_of(wanted)
        new = self.known.learn(learned)
        if learned:
            return new
        news = [self.handling.measure(place) for place in wanted]
        return any(news)

    def look_into(self, wanted: Iterable[Place]) -> bool:
        """Check the geometry of some steps that follow one another; say whether anything new was learned."""
        return self.known.learn(self.known.learned_of(list(wanted)))
