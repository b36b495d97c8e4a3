"""The CP-SAT engine: the whole problem as clauses over Booleans, with no runs and no states in it.

Which bend is made before which, and who leads, are Booleans; that formed bends are always neighbours follows from one
family of clauses (`_nothing_formed_behind`). Every no-good is one clause more. What arrivals take beyond their least is
learned solution by solution (logic-based Benders decomposition: Hooker and Ottosson 2003). Times in ms, trims in mm.

A solver's word alone proves nothing: every solution is replayed in plain Python, and a verdict of "none" is for another
engine to confirm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from planner.errors import BendorderError
from planner.rules.broken import End
from planner.search.events import Arrival, Begun, Event, Hold, NoGood, Pattern, Prefer, Sequence, Trims, Value
from planner.search.problem import Extra, Problem

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import BoolVarT, CpSolver, LinearExprT

    Truth = BoolVarT | bool
    """A Boolean of the model or the negation of one; plainly True or False where the answer is known beforehand."""

Reached = Literal["load", "turn", "reload", "kept", "re-grip"]
"""How a bend is reached: the last two are links, in the same hold or in one just begun."""

ENDS: tuple[End, ...] = ("A", "B")
LOADED: tuple[Reached, ...] = ("load", "turn", "reload")
LINKED: tuple[Reached, ...] = ("kept", "re-grip")
EVENT: dict[Reached, Event] = {
    "load": Event.LOAD,
    "turn": Event.TURN,
    "reload": Event.RELOAD,
    "kept": Event.LINK,
    "re-grip": Event.LINK,
}
WHOLE_TURN = 2.0 * math.pi
CHUCK_SLACK = 1e-9
"""Slack with which the chuck's angle is held against its range, and least rotation with a longer way round [rad]."""


class SolverGaveUp(BendorderError):
    """The solver neither solved a phase nor proved it impossible; phase, status, limit [deterministic seconds]."""

    def __init__(self, phase: str, status: str, limit: float) -> None:
        self.phase, self.status, self.limit = phase, status, limit
        super().__init__(f"the solver gave up on {phase}: {status} within {limit:g} deterministic seconds")


class SolverWrong(BendorderError):
    """What the solver said does not stand up to a replay; said: its word; found: what is true."""

    def __init__(self, said: str, found: str) -> None:
        self.said, self.found = said, found
        super().__init__(f"the solver said {said}, but {found}")


class Step(NamedTuple):
    """One bend of a solution as the solver gives it: how it is reached, which end leads, its number in that view."""

    reached: Reached
    leads: End
    bend: int
    way: int
    released: bool


@dataclass(frozen=True)
class CpSat:
    """The engine's settings. The least value does not depend on them, the sequence that has it may.

    seed: of the solver; presolve: whether the solver simplifies first; linearization: how much of the model goes into
    its linear relaxation, 0 to 2 (both cost more than they save, at 10 to 40 bends); limit: the most that one solve may
    take [deterministic seconds], so that the same input gives the same answer on every computer.
    """

    seed: int = 0
    presolve: bool = False
    linearization: int = 0
    limit: float = 120.0

    def best(
        self, problem: Problem, nogoods: Iterable[NoGood], extra: Extra, prefer: Prefer = "fewer re-clamps"
    ) -> Sequence | None:
        """Return a sequence with the least value, None if the solver says that there is none.

        nogoods: beside the problem's own rules; extra: never negative. Raises SolverGaveUp at the limit and SolverWrong
        where a solution does not stand up to its replay.
        """
        if not problem.trims:
            return None
        forbidden = (*problem.rules, *nogoods)
        model = Model(problem)
        model.build(forbidden)
        phases = ("re-clamps", "trim") if prefer == "fewer re-clamps" else ("trim", "re-clamps")
        for phase in phases:
            objective = model.reclamps if phase == "re-clamps" else model.trim_rank
            solved = self._solved(model, objective, phase)
            if solved is None and phase == phases[1]:
                raise SolverWrong(f"that no sequence has the least of {phases[0]}", "it had just given one")
            if solved is None:
                return None
            least, value = round(solved.objective_value), self._replayed(model, solved, forbidden, extra).value
            if least != (value.reclamps if phase == "re-clamps" else model.totals.index(value.trim)):
                raise SolverWrong(f"that {least} is the least of {phase}", f"its own solution costs {value}")
            model.cp.add(objective == least)
        return self._fastest(model, forbidden, extra)

    def _fastest(self, model: Model, forbidden: tuple[NoGood, ...], extra: Extra) -> Sequence:
        """Return a sequence of the least true time: cut by cut, until the optimum meets the best that was found."""
        best: Sequence | None = None
        while True:
            solved = self._solved(model, model.time, "time")
            if solved is None:
                raise SolverWrong("that no sequence is left to be timed", "it had just given one")
            bound, found = round(solved.objective_value), self._replayed(model, solved, forbidden, extra)
            if best is None or found.value.time < best.value.time:
                best = found
            if bound == best.value.time:
                return best
            if bound > best.value.time:
                raise SolverWrong(f"that {bound} ms is the least time", f"a sequence takes {best.value.time} ms")
            if not model.add_costs(found, extra):
                raise SolverWrong(f"that its solution takes {bound} ms", f"it takes {found.value.time} ms")

    def _solved(self, model: Model, objective: LinearExprT, phase: str) -> CpSolver | None:
        """Return the solver at an optimum, None where there is no solution."""
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed
        solver.parameters.cp_model_presolve = self.presolve
        solver.parameters.linearization_level = self.linearization
        solver.parameters.max_deterministic_time = self.limit
        model.cp.minimize(objective)
        status = solver.solve(model.cp)
        if status == cp_model.INFEASIBLE:
            return None
        if status != cp_model.OPTIMAL:
            raise SolverGaveUp(phase, solver.status_name(status), self.limit)
        return solver

    @staticmethod
    def _replayed(model: Model, solved: CpSolver, forbidden: tuple[NoGood, ...], extra: Extra) -> Sequence:
        trims, steps = model.solution(solved)
        return replay(model.problem, forbidden, trims, steps, extra)


class Model:
    """One problem as Booleans, clauses and sums.

    A bend's `number` is counted from end A; a pair (leads, bend) names it in the view of the end that leads.
    before[i, j], following[i, j]: number i is made before, just before number j; first, last: by number; reached: how
    each bend is reached and which end leads; longer: it is linked the longer way round; released: made with the collet
    open; trims: by place in problem.trims; totals: every total trim once, the least first [mm].
    """

    def __init__(self, problem: Problem) -> None:
        from ortools.sat.python import cp_model

        self.problem = problem
        self.cp = cp_model.CpModel()
        self.numbers = range(1, problem.n + 1)
        self.before: dict[tuple[int, int], Truth] = {}
        self.following: dict[tuple[int, int], Truth] = {}
        self.first: dict[int, BoolVarT] = {}
        self.last: dict[int, BoolVarT] = {}
        self.leads_a: dict[int, BoolVarT] = {}
        self.reached: dict[tuple[Reached, End, int], BoolVarT] = {}
        self.linked: dict[tuple[End, int], BoolVarT] = {}
        self.longer: dict[tuple[End, int], BoolVarT] = {}
        self.released: dict[int, BoolVarT] = {}
        self.trims: list[BoolVarT] = []
        self.totals = sorted({trims.total for trims in problem.trims})
        self._serving: dict[tuple[End, Hold, int], Truth] = {}
        self._fitting: dict[frozenset[int], Truth] = {}
        self._costs: dict[tuple[Arrival | None, Arrival, Trims], tuple[BoolVarT, int]] = {}

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
        ranks = [self.totals.index(trims.total) for trims in self.problem.trims]
        return self._sum(list(zip(self.trims, ranks, strict=True)))

    @property
    def time(self) -> LinearExprT:
        """The least time of all arrivals and what is known to come on top of it [ms]."""
        least = [(literal, least_time(self.problem, *key)) for key, literal in self.reached.items()]
        return self._sum([*least, *self._costs.values()])

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
                    self._implies(follows, self.before[i, j])
        self.cp.add_circuit(arcs)

    def _one_way_to_reach_each_bend(self) -> None:
        """Each bend is reached in one way with one end leading, and the first one by the load."""
        may = {"re-grip": self.problem.may_regrip, "reload": self.problem.may_reload}
        for number in self.numbers:
            self.leads_a[number] = self.new(f"leads A {number}")
            ways, loads = [], []
            for leads in ENDS:
                bend = self._in_view(leads, number)
                for reached in EVENT:
                    if not may.get(reached, True) or (bend == 1 and reached != "load"):
                        continue
                    self.reached[reached, leads, bend] = literal = self.new(f"{reached} {leads} {bend}")
                    self._implies(literal, self._leads(leads, bend))
                    ways.append(literal)
                    if reached == "load":
                        loads.append(literal)
                        self._implies(literal, self.first[number])
            self.cp.add_exactly_one(ways)
            self._implies(self.first[number], *loads)

    def _nothing_formed_behind(self) -> None:
        """Everything behind the bend is still unformed: this alone makes the formed bends a run of neighbours."""
        for number in self.numbers:
            for further in range(number + 1, self.problem.n + 1):
                self._implies(self.leads_a[number], self.before[number, further])
            for nearer in range(1, number):
                self._implies(~self.leads_a[number], self.before[number, nearer])

    def _links_and_reloads_start_at_the_neighbour(self) -> None:
        """A link or a reload follows on the neighbour ahead, made with the same end leading."""
        for (reached, leads, bend), literal in self.reached.items():
            if reached in ("kept", "re-grip", "reload"):
                self._implies(literal, self.following[self._number(leads, bend - 1), self._number(leads, bend)])
                self._implies(literal, self._leads(leads, bend - 1))

    def _turns_change_the_leading_end(self) -> None:
        """A turn follows on a bend made with the other end leading."""
        for (reached, leads, bend), literal in self.reached.items():
            if reached == "turn":
                number = self._number(leads, bend)
                for i in self.numbers:
                    if i != number:
                        self.never(literal, self.following[i, number], self._leads(leads, self._in_view(leads, i)))

    def _longer_ways_round(self) -> None:
        """Only a link goes round the longer way, where the chuck is limited and there is something to rotate."""
        for leads in ENDS:
            for bend in self.numbers[1:]:
                self.linked[leads, bend] = linked = self.new(f"linked {leads} {bend}")
                ways = [self.reached[key] for r in LINKED if (key := (r, leads, bend)) in self.reached]
                self._implies(linked, *ways)
                for way in ways:
                    self._implies(way, linked)
                if self.problem.chuck is not None and abs(self.problem.rolls[leads][bend - 1]) > CHUCK_SLACK:
                    self.longer[leads, bend] = self.new(f"longer {leads} {bend}")
                    self._implies(self.longer[leads, bend], linked)

    def _collet_opens_at_the_last_bend_only(self) -> None:
        """Only the last bend can be made with the collet open."""
        if self.problem.may_release:
            for number in self.numbers:
                self.released[number] = self.new(f"released {number}")
                self._implies(self.released[number], self.last[number])

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
            released = self.released.get(self._number(leads, bend), False)
            literals.append(released if pattern.released else negation(released))
        return literals

    def _event(self, event: Event, leads: End, bend: int) -> Truth:
        if event is Event.BEND:
            return self._leads(leads, bend)
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
        made = self._number(leads, bend)
        least = [self.before[made, self._number(leads, low - 1)]] if low > 1 else []
        return [*least, self.before[self._number(leads, high), made]] if high < bend else least

    def serves(self, leads: End, hold: Hold, bend: int) -> Truth:
        """Return a literal that is true where a hold serves a bend (and may be so elsewhere)."""
        if not 1 <= hold.since <= bend:
            return False
        key = (leads, hold, bend)
        if key not in self._serving:
            if bend > hold.since:
                causes = [[self.serves(leads, hold, bend - 1), self.reached["kept", leads, bend]]]
            else:
                begins = LOADED if hold.begun == "load" else ("re-grip",)
                causes = [[self.reached[r, leads, bend]] for r in begins if (r, leads, bend) in self.reached]
            self._serving[key] = self._caused(causes)
        return self._serving[key]

    def _one_of_trims(self, places: frozenset[int]) -> Truth:
        """Return a literal that is true where the pair of trims is one of these."""
        if len(places) in (0, len(self.trims)):
            return bool(places)
        if places not in self._fitting:
            self._fitting[places] = self._caused([[self.trims[t]] for t in sorted(places)])
        return self._fitting[places]

    def _caused(self, causes: list[list[Truth]]) -> Truth:
        """Return a literal that is true wherever all of one cause are."""
        causes = [cause for cause in causes if not any(literal is False for literal in cause)]
        if not causes:
            return False
        if len(causes) == 1 and len(causes[0]) == 1:
            return causes[0][0]
        effect = self.new("caused")
        for cause in causes:
            self.never(*cause, ~effect)
        return effect

    def _leads(self, leads: End, bend: int) -> BoolVarT:
        leads_a = self.leads_a[self._number(leads, bend)]
        return leads_a if leads == "A" else ~leads_a

    def _number(self, leads: End, bend: int) -> int:
        return bend if leads == "A" else self.problem.n + 1 - bend

    _in_view = _number

    def new(self, name: str) -> BoolVarT:
        """Return a new Boolean; its name is for whoever reads the model."""
        return self.cp.new_bool_var(name)

    def never(self, *literals: Truth) -> None:
        """Not all of these at once."""
        if not any(literal is False for literal in literals):
            self.cp.add_bool_or([~literal for literal in literals if not isinstance(literal, bool)])

    def _implies(self, cause: BoolVarT, *effects: Truth) -> None:
        """Where the cause is true one of the effects is."""
        self.never(cause, *(negation(effect) for effect in effects))

    # ---------------------------------------------------------------- reading a solution

    def solution(self, solved: CpSolver) -> tuple[Trims, list[Step]]:
        """Return the trims and the bends in the order of the path, as the solver has them."""
        after = {i: j for (i, j), literal in self.following.items() if solved.boolean_value(literal)}
        first = [i for i in self.numbers if solved.boolean_value(self.first[i])]
        how = {self._number(k[1], k[2]): k for k, literal in self.reached.items() if solved.boolean_value(literal)}
        steps: list[Step] = []
        number = first[0] if len(first) == 1 else None
        while number in how and len(steps) < self.problem.n:
            reached, leads, bend = how[number]
            longer, released = self.longer.get((leads, bend)), self.released.get(number)
            way = int(longer is not None and solved.boolean_value(longer))
            steps.append(Step(reached, leads, bend, way, released is not None and solved.boolean_value(released)))
            number = after.get(number)
        pair = next(t for t, literal in enumerate(self.trims) if solved.boolean_value(literal))
        return self.problem.trims[pair], steps


class Windings:
    """The chuck's net whole turns since its 0, the longer ways round counted with their sign, as Booleans.

    Each Boolean says that the chuck has so many windings or more when it stands at a bend, in the view of the end that
    leads. allowed: the least and the most windings with which a hold can serve a bend; span: those of any hold.
    """

    def __init__(self, model: Model, leads: End, chuck: tuple[float, float]) -> None:
        self.model, self.leads, self.chuck = model, leads, chuck
        self.rolls = model.problem.rolls[leads]
        self.allowed = {
            (hold, bend): self._allowed(hold, bend) for hold in self._holds() for bend in self._linked(hold)
        }
        self.span = {bend: self._span(bend) for bend in model.numbers}
        self._at_least: dict[tuple[int, int], Truth] = {}

    def build(self) -> None:
        """State what windings each hold allows, and how a link changes them."""
        for (hold, bend), (least, most) in self.allowed.items():
            serves = self.model.serves(self.leads, hold, bend)
            self.model.never(serves, negation(self._has(bend, least)))
            self.model.never(serves, self._has(bend, most + 1))
        for (reached, leads, bend), literal in self.model.reached.items():
            if leads == self.leads and reached in LOADED:
                self._goes_on([literal], bend, False, 0)
            elif leads == self.leads:
                longer = self.model.longer.get((leads, bend), False)
                turn = int(math.copysign(1.0, self.rolls[bend - 1]))
                self._goes_on([literal, negation(longer)], bend, reached == "kept", 0)
                self._goes_on([literal, longer], bend, reached == "kept", turn)

    def _goes_on(self, where: list[Truth], bend: int, kept: bool, more: int) -> None:
        """Where all of this holds, the windings are those at the bend before, or none, and so many more."""
        low, high = self.span[bend]
        for windings in range(low, high + 2):
            had = self._has(bend - 1, windings - more) if kept else windings - more <= 0
            has = self._has(bend, windings)
            self.model.never(*where, had, negation(has))
            self.model.never(*where, negation(had), has)

    def _has(self, bend: int, windings: int) -> Truth:
        low, high = self.span[bend]
        if not low < windings <= high:
            return windings <= low
        if (bend, windings) not in self._at_least:
            self._at_least[bend, windings] = literal = self.model.new(f"windings {self.leads} {bend} {windings}")
            fewer = self._has(bend, windings - 1)
            self.model.never(literal, negation(fewer))
        return self._at_least[bend, windings]

    def _holds(self) -> list[Hold]:
        begun: tuple[Begun, ...] = ("load", "re-grip") if self.model.problem.may_regrip else ("load",)
        return [Hold(since, b) for since in self.model.numbers for b in begun if since > 1 or b == "load"]

    def _linked(self, hold: Hold) -> range:
        """The bends that a hold can serve after a link."""
        return range(hold.since + (hold.begun == "load"), self.model.problem.n + 1)

    def _allowed(self, hold: Hold, bend: int) -> tuple[int, int]:
        """Return the least and the most windings with which a hold can serve a bend; least > most if none will do."""
        shorter = sum(self.rolls[b - 1] for b in self._linked(hold) if b <= bend)
        low, high = self.chuck
        least = math.ceil((shorter - high - CHUCK_SLACK) / WHOLE_TURN)
        most = math.floor((shorter - low + CHUCK_SLACK) / WHOLE_TURN)
        return max(least, -bend), min(most, bend)

    def _span(self, bend: int) -> tuple[int, int]:
        spans = [(0, 0), *(span for (_, b), span in self.allowed.items() if b == bend and span[0] <= span[1])]
        return min(low for low, _ in spans), max(high for _, high in spans)


def least_time(problem: Problem, reached: Reached, leads: End, bend: int) -> int:
    """Return the least time in which a bend is reached [ms]."""
    times = problem.times
    if reached in LINKED:
        return times.link[leads][bend - 1] + (times.regrip if reached == "re-grip" else 0)
    return {"load": times.load[leads][bend - 1], "turn": times.turn, "reload": times.reload}[reached]


def negation(literal: Truth) -> Truth:
    """Return the literal that is true where this one is not."""
    return not literal if isinstance(literal, bool) else ~literal


def exact(arrival: Arrival) -> Pattern:
    """Return the pattern that this arrival alone matches, whatever the trims."""
    a = arrival
    return Pattern(a.event, a.leads, a.bend, (a.ahead, a.ahead), hold=a.hold, way=a.way, released=a.released)


# -------------------------------------------------------------------- replay, with no solver in it


def replay(
    problem: Problem, forbidden: tuple[NoGood, ...], trims: Trims, steps: Iterable[Step], extra: Extra
) -> Sequence:
    """Carry out the steps and return the sequence with what it costs; raise SolverWrong where one cannot be."""
    arrivals: list[Arrival] = []
    formed: set[int] = set()
    reclamps = time = 0
    turned = 0.0
    for step in steps:
        before = arrivals[-1] if arrivals else None
        seen = {b if step.leads == "A" else problem.n + 1 - b for b in formed}
        arrival = _arrived(before, step, seen)
        if step.reached != "kept":
            turned = 0.0
        if arrival.event is Event.LINK:
            roll = problem.rolls[step.leads][step.bend - 1]
            turned += roll - step.way * math.copysign(WHOLE_TURN, roll)
        fault = _fault(problem, before, arrival, seen, turned)
        fault = fault or next((g.sentence for g in forbidden if g.pattern.matches(before, arrival, trims)), None)
        if fault is not None:
            raise SolverWrong(f"that {arrival} can follow {before}", fault)
        reclamps += (step.reached in ("turn", "reload", "re-grip")) + step.released
        time += least_time(problem, step.reached, step.leads, step.bend) + extra(before, arrival, trims)
        formed.add(step.bend if step.leads == "A" else problem.n + 1 - step.bend)
        arrivals.append(arrival)
    if len(arrivals) != problem.n or any(a.released for a in arrivals[:-1]):
        raise SolverWrong("that every bend is made once, the last one released or none", f"it gives {arrivals}")
    return Sequence(trims, tuple(arrivals), Value(reclamps, trims.total, time))


def _arrived(before: Arrival | None, step: Step, seen: set[int]) -> Arrival:
    """Return the arrival that a step is, from what is formed before it (numbers in its view)."""
    if step.reached == "kept":
        hold = before.hold if before is not None else Hold(0, "load")
    else:
        hold = Hold(step.bend, "re-grip" if step.reached == "re-grip" else "load")
    ahead = min(seen, default=step.bend)
    return Arrival(EVENT[step.reached], step.leads, step.bend, ahead, hold, step.way, step.released)


def _fault(problem: Problem, before: Arrival | None, arrival: Arrival, seen: set[int], turned: float) -> str | None:
    """Return why an arrival cannot follow what was before, None if it can."""
    event, leads, bend = arrival.event, arrival.leads, arrival.bend
    if bend not in range(1, problem.n + 1) or seen != set(range(arrival.ahead, bend)):
        return f"bend {bend} with end {leads} leading cannot be made with {sorted(seen)} formed"
    if (before is None) != (event is Event.LOAD):
        return "the first bend alone is reached by the load"
    if before is not None and (before.leads == leads) != (event in (Event.LINK, Event.RELOAD)):
        return "the leading end changes at a turn, and only there"
    if before is not None and before.leads == leads and before.bend != bend - 1:
        return "a link or a reload starts at the neighbour ahead"
    if (event is Event.RELOAD and not problem.may_reload) or (arrival.regripped and not problem.may_regrip):
        return "the job has no such re-clamp"
    if arrival.released and not problem.may_release:
        return "the collet may not be opened"
    roll = problem.rolls[leads][bend - 1]
    if arrival.way != 0 and (event is not Event.LINK or problem.chuck is None or abs(roll) <= CHUCK_SLACK):
        return "there is no longer way round"
    if event is Event.LINK and problem.chuck is not None:
        low, high = problem.chuck
        if not low - CHUCK_SLACK <= turned <= high + CHUCK_SLACK:
            return f"the chuck would stand at {turned} rad"
    return None
