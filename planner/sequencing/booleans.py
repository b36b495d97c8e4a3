"""The sequencing problem as Booleans, clauses and sums for CP-SAT, with no runs and no states in it.

Which bend is made before which, and who leads, are Booleans; that formed bends are always neighbours follows from one
family of clauses (`_nothing_formed_behind`). Every no-good is one clause more. Times in ms, trims in mm.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from planner.rules.broken import End
from planner.sequencing.clamp_booleans import Fitting
from planner.sequencing.clauses import Clauses
from planner.sequencing.events import Arrival, Event, NoGood, Pattern, Sequence, Trims
from planner.sequencing.problem import Extra, Problem
from planner.sequencing.solution import ENDS, EVENT, LINKED, LOADED, SolvedStep, least_time, negation
from planner.sequencing.windings import Windings
from planner.tolerances import CHUCK_SLACK

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT, CpSolver, LinearExprT

    from planner.sequencing.solution import Truth


class Model(Clauses):
    """One problem as Booleans, clauses and sums."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem)
        self._fitting: dict[frozenset[int], Truth] = {}
        self._costs: dict[tuple[Arrival | None, Arrival, Trims], tuple[BoolVarT, int]] = {}
        self.fitting = Fitting(self)

    def build(self, forbidden: Iterable[NoGood]) -> None:
        """State the whole problem, family by family."""
        self._one_order()
        self._one_path()
        self._one_way_to_reach_each_bend()
        self._nothing_formed_behind()
        self._links_and_reloads_start_at_the_neighbour()
        self._turns_change_the_leading_end()
        self._longer_ways_round()
        self._collet_opens_at_the_last_bend_only()
        self._one_pair_of_trims()
        self._chuck_stays_in_range()
        self.fitting.build()
        self._nothing_forbidden(forbidden)

    # ---------------------------------------------------------------- objectives

    @property
    def reclamps(self) -> LinearExprT:
        """How many re-clamps there are."""
        lost = [literal for (reached, _, _), literal in self.reached.items() if reached not in ("load", "kept")]
        return self._sum([(literal, 1) for literal in (*lost, *self.released.values())])

    @property
    def trim_rank(self) -> LinearExprT:
        """Place of the total trim among the totals."""
        return self._rank(1, self.totals)

    @property
    def unasked_rank(self) -> LinearExprT:
        """Place of the trim that nobody has stated among what there is of it."""
        return self._rank(3, self.unasked)

    def _rank(self, field: int, of: list[float]) -> LinearExprT:
        ranks = [of.index(self.problem.value(0, trims, 0)[field]) for trims in self.problem.trims]
        return self._sum(list(zip(self.trims, ranks, strict=True)))

    @property
    def time(self) -> LinearExprT:
        """The least time of all arrivals and what is known to come on top of it [ms]."""
        least = [(literal, least_time(self.problem, *key)) for key, literal in self.reached.items()]
        changes = [(literal, self.problem.times.tool_change) for literal in self.fitting.changes]
        return self._sum([*least, *changes, *self._costs.values()])

    def _sum(self, terms: list[tuple[BoolVarT, int]]) -> LinearExprT:
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum([literal for literal, _ in terms], [factor for _, factor in terms])

    # ---------------------------------------------------------------- families of constraints

    def _one_order(self) -> None:
        """Of two bends one is made before the other, and what is made before that is made before both."""
        for i in self.numbers:
            for j in range(i + 1, self.problem.n + 1):
                self.before[i, j] = earlier = self.new(f"before {i} {j}")
                self.before[j, i] = ~earlier
        for i in self.numbers:
            for j in range(i + 1, self.problem.n + 1):
                for k in range(j + 1, self.problem.n + 1):
                    self.never(self.before[i, j], self.before[j, k], self.before[k, i])
                    self.never(self.before[j, i], self.before[k, j], self.before[i, k])

    def _one_path(self) -> None:
        """The bends follow one another in one path from the first to the last, in keeping with their order."""
        arcs = []
        for i in self.numbers:
            self.first[i], self.last[i] = self.new(f"first {i}"), self.new(f"last {i}")
            arcs += [(0, i, self.first[i]), (i, 0, self.last[i])]
            for j in self.numbers:
                if i != j:
                    self.following[i, j] = follows = self.new(f"following {i} {j}")
                    arcs.append((i, j, follows))
                    self.implies(follows, self.before[i, j])
        self.cp.add_circuit(arcs)

    def _one_way_to_reach_each_bend(self) -> None:
        """Each bend is reached in one way with one end leading, and the first one by the load."""
        may = {"re-grip": self.problem.may_regrip, "reload": self.problem.may_reload}
        for number in self.numbers:
            self.leads_a[number] = self.new(f"leads A {number}")
            ways, loads = [], []
            for leads in ENDS:
                bend = self.number(leads, number)
                for reached in EVENT:
                    if not may.get(reached, True) or (bend == 1 and reached != "load"):
                        continue
                    self.reached[reached, leads, bend] = literal = self.new(f"{reached} {leads} {bend}")
                    self.implies(literal, self.leads(leads, bend))
                    ways.append(literal)
                    if reached == "load":
                        loads.append(literal)
                        self.implies(literal, self.first[number])
            self.cp.add_exactly_one(ways)
            self.implies(self.first[number], *loads)

    def _nothing_formed_behind(self) -> None:
        """Everything behind the bend is still unformed: this alone makes the formed bends a run of neighbours."""
        for number in self.numbers:
            for further in range(number + 1, self.problem.n + 1):
                self.implies(self.leads_a[number], self.before[number, further])
            for nearer in range(1, number):
                self.implies(~self.leads_a[number], self.before[number, nearer])

    def _links_and_reloads_start_at_the_neighbour(self) -> None:
        """A link or a reload follows on the neighbour ahead, made with the same end leading."""
        for (reached, leads, bend), literal in self.reached.items():
            if reached in ("kept", "re-grip", "reload"):
                self.implies(literal, self.following[self.number(leads, bend - 1), self.number(leads, bend)])
                self.implies(literal, self.leads(leads, bend - 1))

    def _turns_change_the_leading_end(self) -> None:
        """A turn follows on a bend made with the other end leading."""
        for (reached, leads, bend), literal in self.reached.items():
            if reached == "turn":
                number = self.number(leads, bend)
                for i in self.numbers:
                    if i != number:
                        self.never(literal, self.following[i, number], self.leads(leads, self.number(leads, i)))

    def _longer_ways_round(self) -> None:
        """Only a link goes round the longer way, where the chuck is limited and there is something to rotate."""
        for leads in ENDS:
            for bend in self.numbers[1:]:
                self.linked[leads, bend] = linked = self.new(f"linked {leads} {bend}")
                ways = [self.reached[key] for r in LINKED if (key := (r, leads, bend)) in self.reached]
                self.implies(linked, *ways)
                for way in ways:
                    self.implies(way, linked)
                if self.problem.chuck is not None and abs(self.problem.rolls[leads][bend - 1]) > CHUCK_SLACK:
                    self.longer[leads, bend] = self.new(f"longer {leads} {bend}")
                    self.implies(self.longer[leads, bend], linked)

    def _collet_opens_at_the_last_bend_only(self) -> None:
        """Only the last bend can be made with the collet open."""
        if self.problem.may_release:
            for number in self.numbers:
                self.released[number] = self.new(f"released {number}")
                self.implies(self.released[number], self.last[number])

    def _one_pair_of_trims(self) -> None:
        """The tube has one pair of trims."""
        self.trims = [self.new(f"trims {trims}") for trims in self.problem.trims]
        self.cp.add_exactly_one(self.trims)

    def _chuck_stays_in_range(self) -> None:
        """However a hold began, the chuck stands in its range after every link that the hold serves.

        Its angle is what the shorter ways add up to since then, less a whole turn for each of its windings.
        """
        if self.problem.chuck is not None:
            for leads in ENDS:
                Windings(self, leads, self.problem.chuck).build()

    def _nothing_forbidden(self, forbidden: Iterable[NoGood]) -> None:
        """No arrival is what a no-good describes: one clause each."""
        for nogood in forbidden:
            fitting = frozenset(t for t, trims in enumerate(self.problem.trims) if nogood.pattern.fits_trims(trims))
            self.never(*self._described(nogood.pattern), self._one_of_trims(fitting))

    # ---------------------------------------------------------------- costs learned from solutions

    def add_costs(self, found: Sequence, extra: Extra) -> int:
        """Charge a sequence's arrivals with what they take beyond their least, and return how many were new."""
        known = len(self._costs)
        trims = frozenset(t for t, pair in enumerate(self.problem.trims) if pair == found.trims)
        for before, arrival in zip((None, *found.arrivals), found.arrivals, strict=False):
            more = extra(before, arrival, found.trims)
            if more == 0 or (before, arrival, found.trims) in self._costs:
                continue
            charged = self.new(f"cost {len(self._costs)}")
            self._costs[before, arrival, found.trims] = (charged, more)
            exactly = [literal for a in (before, arrival) if a is not None for literal in self._described(exact(a))]
            self.never(*exactly, self._one_of_trims(trims), ~charged)
        return len(self._costs) - known

    # ---------------------------------------------------------------- literals

    def _described(self, pattern: Pattern) -> list[Truth]:
        """Return literals, all true at an arrival that matches but for the trims; False among them if none can."""
        leads, bend = pattern.leads, pattern.bend
        if bend not in self.numbers:
            return [False]
        literals = [self._event(pattern.event, leads, bend), *self._first_formed(leads, bend, pattern.ahead)]
        if pattern.hold is not None:
            literals.append(self.serves(leads, pattern.hold, bend))
        if pattern.way is not None:
            longer = self.longer.get((leads, bend), False)
            literals.append({0: negation(longer), 1: longer}.get(pattern.way, False))
        if pattern.released is not None:
            released = self.released.get(self.number(leads, bend), False)
            literals.append(released if pattern.released else negation(released))
        if pattern.clamp is not None:
            literals.append(self.fitting.fitted(self.number(leads, bend), pattern.clamp))
        if pattern.clamp_before is not None:
            literals.append(self.fitting.fitted_before(pattern))
        return literals

    def _event(self, event: Event, leads: End, bend: int) -> Truth:
        if event is Event.BEND:
            return self.leads(leads, bend)
        if event is Event.REGRIP:
            return self.reached.get(("re-grip", leads, bend + 1), False)
        if event is Event.LINK:
            return self.linked.get((leads, bend), False)
        return next(self.reached.get((r, leads, bend), False) for r in LOADED if EVENT[r] is event)

    def _first_formed(self, leads: End, bend: int, span: tuple[int, int]) -> list[Truth]:
        """Return the literals of the first formed bend's number lying in a span when a bend is made."""
        low, high = span
        if low > min(high, bend) or high < 1:
            return [False]
        made = self.number(leads, bend)
        least = [self.before[made, self.number(leads, low - 1)]] if low > 1 else []
        return [*least, self.before[self.number(leads, high), made]] if high < bend else least

    def _one_of_trims(self, places: frozenset[int]) -> Truth:
        """Return a literal that is true where the pair of trims is one of these."""
        if len(places) in (0, len(self.trims)):
            return bool(places)
        if places not in self._fitting:
            self._fitting[places] = self.caused([[self.trims[t]] for t in sorted(places)])
        return self._fitting[places]

    # ---------------------------------------------------------------- reading a solution

    def solution(self, solved: CpSolver) -> tuple[Trims, list[SolvedStep]]:
        """Return the trims and the bends in the order of the path, as the solver has them."""
        after = {i: j for (i, j), literal in self.following.items() if solved.boolean_value(literal)}
        first = [i for i in self.numbers if solved.boolean_value(self.first[i])]
        how = {self.number(k[1], k[2]): k for k, literal in self.reached.items() if solved.boolean_value(literal)}
        steps: list[SolvedStep] = []
        number = first[0] if len(first) == 1 else None
        while number in how and len(steps) < self.problem.n:
            reached, leads, bend = how[number]
            longer, released = self.longer.get((leads, bend)), self.released.get(number)
            way = int(longer is not None and solved.boolean_value(longer))
            opened, clamp = released is not None and solved.boolean_value(released), self.fitting.read(solved, number)
            steps.append(SolvedStep(reached, leads, bend, way, opened, clamp))
            number = after.get(number)
        pair = next(t for t, literal in enumerate(self.trims) if solved.boolean_value(literal))
        return self.problem.trims[pair], steps


def exact(arrival: Arrival) -> Pattern:
    """Return the pattern that this arrival alone matches, whatever the trims."""
    a = arrival
    ahead = (a.ahead, a.ahead)
    return Pattern(a.event, a.leads, a.bend, ahead, hold=a.hold, way=a.way, released=a.released, clamp=a.clamp)


# -------------------------------------------------------------------- replay, with no solver in it
