"""The smallest amount of a change that makes a job possible, by proved verdicts.

A verdict here is the search's own: a sequence carried out as printed, or the proof that none is left. What is neither
is undecided, and is never counted as impossible.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from planner.advice.alterations import Alteration, PartOnMachine
from planner.cuts.impossible import broken_in_every_order
from planner.cuts.strike_cuts import Struck
from planner.deadline import in_time
from planner.feasibility.cases import case_of, surroundings_of
from planner.feasibility.orders import ready_of
from planner.feasibility.stations import Unkeepable, station
from planner.feasibility.whole_order import try_order
from planner.inputs.self_crossing import self_gap
from planner.plans.document import Verdict
from planner.plans.plan_writer import runs_only
from planner.search.decision import carried_out
from planner.search.search import Search
from planner.sequencing.events import NoGood, Sequence
from planner.sequencing.exact import Exact

FIRST_STEP: Final = 20
"""How long the first step of a scan is [mm]: what lies within it can be searched one by one afterwards."""

GROWS: Final = 4
"""By how much every step of a scan is longer than the one before."""

SHORT: Final = 150
"""Within so many millimetres a way that goes is followed down to its end before another one is sought."""

MOST_ASKED: Final = 20
"""So many amounts are searched one by one to prove that none smaller goes; where more are left, the smallest that was
found is not called the smallest."""


@dataclass
class KnownVerdicts:
    """Says what can be made; asks about each job once, and takes along what the jobs before it taught.

    learned: what the next job is asked with; it is looked at again there; taught: what each search taught; known, ways:
    what came of it. Raises OutOfTime.
    """

    learned: tuple[NoGood, ...] = ()
    known: dict[PartOnMachine, Verdict] = field(default_factory=dict)
    ways: dict[PartOnMachine, Sequence] = field(default_factory=dict)
    taught: dict[PartOnMachine, tuple[NoGood, ...]] = field(default_factory=dict)

    def of(self, job: PartOnMachine) -> Verdict:
        """Return what planning says of a job."""
        if job not in self.known:
            self.known[job] = self._searched(job)
        return self.known[job]

    def forbidden(self, job: PartOnMachine) -> bool:
        """Say whether a shop rule, or the drawing itself, forbids the job in every order; nothing is searched."""
        in_time()
        if self.known.get(job) == "makeable":
            return False
        case = case_of(job.part, job.machine)
        return bool(broken_in_every_order(case)) or self_gap(job.part).reached < 0.0

    def goes(self, job: PartOnMachine, way: Sequence) -> bool:
        """Say whether a job is known to go, or goes in a way that another one goes; no other way is sought."""
        if job not in self.known and not self.forbidden(job) and _goes(self._search(job), way):
            self.known[job], self.ways[job] = "makeable", way
        return self.known.get(job) == "makeable"

    def shut_by(self, nogoods: tuple[NoGood, ...], job: PartOnMachine) -> bool:
        """Say whether shop rules and proved strikes leave no order.

        Those count that hold wherever the collet holds and however far forward it brings the tube.
        """
        search = self._search(job)
        for nogood in nogoods:
            if nogood.grade == "proved" and not _hangs_on_the_hold(nogood, search.checks.carried):
                search.known.reject(nogood)
        return search.propose(proved_only=True) is None

    def _search(self, job: PartOnMachine) -> Search:
        in_time()
        case = case_of(job.part, job.machine)
        return Search.of(case, surroundings_of(case), Exact())

    def _searched(self, job: PartOnMachine) -> Verdict:
        if self.forbidden(job):
            return "not makeable"
        search = self._search(job)
        search.known.remember(self.learned)
        found = carried_out(search)
        left = None if found is not None else search.best(proved_only=True)
        self.learned = self.taught[job] = search.nogoods
        if found is not None:
            self.ways[job] = found.sequence
            return "makeable"
        return "not makeable" if left is None and runs_only(search.case) else "undecided"


def _goes(search: Search, way: Sequence) -> bool:
    """Say whether a sequence goes, by the numbers that the readouts show."""
    if way.trims not in search.problem.trims or search.broken_rules(way):
        return False
    try:
        ready = ready_of(search.case, way)
        if not all(clamps for load in ready.loads for clamps in load.clamps):  # of one that this machine has not
            return False
        stationed = station(ready)
    except Unkeepable:
        return False
    return try_order(stationed, search.around).loads is not None


def _hangs_on_the_hold(nogood: NoGood, carried: frozenset[str]) -> bool:
    """Say whether what is proved hangs on where the collet holds, or on how far it can bring the tube forward."""
    evidence = nogood.evidence
    if not isinstance(evidence, Struck):
        return False
    forward = evidence.blocked[0].doing in ("move", "return") and any(wall.kind != "bare" for wall in evidence.walls)
    return forward or bool(_struck_in(evidence) & carried)


def _struck_in(evidence: Struck) -> set[str]:
    """Return the names of the solids that a learned no-good's witnesses strike."""
    blocked = (entry.finding.witness for entry in evidence.blocked)
    walls = (witness for wall in evidence.walls for witness in wall.witnesses)
    return {witness.solid for witness in (*blocked, *walls) if witness is not None}


@dataclass(frozen=True)
class LeastAmount:
    """An amount that makes a job possible [mm]; smallest: every smaller whole millimetre is proved impossible."""

    amount: int
    smallest: bool


def least(verdicts: KnownVerdicts, alteration: Alteration, job: PartOnMachine) -> LeastAmount | None:
    """Return the least amount found that makes the job possible; None if none was found.

    The job itself must not be makeable.
    """
    taught = verdicts.learned = verdicts.taught.get(job, ())
    if alteration.leaves_at_most:
        most = alteration.made(job, alteration.most)
        if alteration.only_rules and verdicts.shut_by(taught, most):
            return None
        if verdicts.of(most) != "makeable":
            verdicts.learned = taught
            return None
    if not alteration.nested:
        together = least_together(verdicts, [alteration], job)
        return together[0][1] if together else None
    try:
        return _Scan(verdicts, alteration, job).nested()
    finally:
        verdicts.learned = taught


def least_together(
    verdicts: KnownVerdicts, choices: list[Alteration], job: PartOnMachine
) -> list[tuple[Alteration, LeastAmount]]:
    """Return the least amounts found of changes of which more may be worse again; of those that help soonest only.

    All are tried upward in the same growing steps, each from where no rule forbids it. The first step at which any of
    them helps is the last: the stretches that go there are narrowed down to 1 mm. Then all below is asked about, as far
    as `MOST_ASKED` reaches. Where no rule stands in the way of any, the first step is made at once.
    """
    taught = verdicts.taught.get(job, ())
    scans = [_Scan(verdicts, alteration, job) for alteration in choices]
    started = [(scan, start) for scan in scans if (start := scan.start()) is not None]
    found: list[tuple[Alteration, LeastAmount]] = []
    low, high, step = -1, 0, FIRST_STEP
    if all(start == 1 for _, start in started):
        high, step = FIRST_STEP - 1, FIRST_STEP * GROWS
    while started and not found:
        for scan, start in started:
            verdicts.learned = taught
            amount = min(start + high, scan.alteration.most)
            if scan.verdict(amount) == "makeable":
                found.append((scan.alteration, scan.downward(start, start + low, amount)))
        started = [(scan, start) for scan, start in started if start + high < scan.alteration.most]
        low, high, step = high, high + step, step * GROWS
    verdicts.learned = taught
    return found


@dataclass(frozen=True)
class _Scan:
    """Amounts of one change of one job, asked about one by one."""

    verdicts: KnownVerdicts
    alteration: Alteration
    job: PartOnMachine

    def made(self, amount: int) -> PartOnMachine:
        return self.alteration.made(self.job, amount)

    def verdict(self, amount: int) -> Verdict:
        return self.verdicts.of(self.made(amount))

    def forbidden(self, amount: int) -> bool:
        return self.verdicts.forbidden(self.made(amount))

    def nested(self) -> LeastAmount:
        """Return the least amount of a nested change, of which the greatest goes.

        First between what the shop rules forbid by themselves and what they do not, where it often goes at once.
        """
        most = self.alteration.most
        strikes = self.verdicts.learned if self.alteration.only_rules else ()
        low, high = _halved(0, most, lambda amount: not self.verdicts.shut_by(strikes, self.made(amount)))
        if low == 0:
            low, high = 0, most
        elif self.verdict(high) != "makeable":
            low, high = high, most
        elif self.verdict(low) == "makeable":
            low, high = 0, low
        low, high = self._narrowed(low, high)
        below = self.job if low == 0 else self.made(low)
        return LeastAmount(high, self.verdicts.of(below) == "not makeable")

    def _narrowed(self, low: int, high: int) -> tuple[int, int]:
        """Return neighbours of which the greater goes and the smaller was not found to; so at `low` and at `high`.

        Where the way that is known does not go, another one is sought at once in a long stretch, at its end in a short
        one: near where a way ceases to go, searching takes longest.
        """
        while high - low > 1:
            below = low
            while high - below > 1:
                middle = (below + high) // 2
                if self._goes_as_at(high, middle) or (high - below > SHORT and self.verdict(middle) == "makeable"):
                    high = middle
                elif high - below > SHORT:
                    low = below = middle
                else:
                    below = middle
            if below == low or self.verdict(below) != "makeable":
                return below, high
            high = below
            if high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if self.verdict(middle) == "makeable" else (middle, high)
        return low, high

    def _goes_as_at(self, high: int, amount: int) -> bool:
        return self.verdicts.goes(self.made(amount), self.verdicts.ways[self.made(high)])

    def start(self) -> int | None:
        """Return the least amount that no rule forbids in every order, None if there is none."""
        return next((a for a in range(1, self.alteration.most + 1) if not self.forbidden(a)), None)

    def downward(self, start: int, low: int, high: int) -> LeastAmount:
        """Return the least amount found, of which `high` goes and `low` was not found to, or lies before the start."""
        low, high = self._narrowed(max(low, start - 1), high)
        smaller = [amount for amount in range(start, high) if not self.forbidden(amount)]
        known = {self.verdicts.known.get(self.made(amount)) for amount in smaller}
        if len(smaller) > MOST_ASKED or "undecided" in known:
            return LeastAmount(high, False)
        for amount in smaller:
            said = self.verdict(amount)
            if said != "not makeable":
                return LeastAmount(amount, True) if said == "makeable" else LeastAmount(high, False)
        return LeastAmount(high, True)


def _halved(low: int, high: int, goes: Callable[[int], bool]) -> tuple[int, int]:
    """Return neighbours of which the greater goes and the smaller does not: `high` goes, `low` is taken not to."""
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if goes(middle) else (middle, high)
    return low, high
