"""What would make a part possible that is not: changes found by search, each verified by planning with the change made.

One thing is changed at a time, and what touches least comes first. Only where no single change helps are two made at
once; only where no two help is the part cut in two.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Final, get_args

from planner.advice.alterations import (
    MOST_TRIM,
    Alteration,
    PartOnMachine,
    alterations,
    can_be_set_up,
    cut_in_two,
    short_of_a_clamp,
)
from planner.advice.costs import (
    NOT_TO_THE_END,
    least_said,
    nearest_of,
    result,
    told,
    told_of_joint,
    told_of_machine,
    trim_of,
)
from planner.advice.scan import KnownVerdicts, LeastAmount, least, least_together
from planner.deadline import OutOfTime, in_time, limited
from planner.facts import Fact, fact
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Change, ChangeKind, Plan, Single
from planner.sequencing.events import Prefer
from planner.wording.say import say

RANKS: Final[tuple[ChangeKind, ...]] = get_args(ChangeKind)
"""What touches least comes first."""

MOST_OFFERED: Final = 3
"""So many pairs of changes, or places of a joint, are offered at most."""

JOINTS: Final = (0.5, 0.25, 0.75)
"""Where a straight is cut for a joint, in parts of its length: the middle first."""


def changes(
    part: Part,
    machine: Machine,
    machines: Iterable[Machine] = (),
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
) -> tuple[Change, ...]:
    """Return what would make a part possible on a machine, sorted by how little it touches; nothing if it is possible.

    machines: the others there are; time_limit [s]: then what was verified by then is returned; report: told of the
    progress in sentences.
    """
    return sought(part, machine, machines, time_limit, report)[0]


def sought(
    part: Part,
    machine: Machine,
    machines: Iterable[Machine] = (),
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
) -> tuple[tuple[Change, ...], bool]:
    """Return the same, and whether it was sought to the end: False where the time limit [s] came first."""
    advice = _Advice(PartOnMachine(part, machine), tuple(machines), KnownVerdicts(), report)
    found: list[Change] = []
    try:
        with limited(time_limit):
            for some in (advice.single, advice.pairs, advice.two_pieces):
                for change in some():
                    found.append(change)
                if found or advice.possible():
                    break
        to_the_end = True
    except OutOfTime:
        advice.tell(say(NOT_TO_THE_END))
        to_the_end = False
    return tuple(sorted(found, key=_touches)), to_the_end


def with_changes(
    made: Plan,
    part: Part,
    machine: Machine,
    machines: Iterable[Machine] = (),
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
) -> Plan:
    """Return the plan document of a part on a machine with what would make it possible, if it is not; as `changes`."""
    if made.verdict == "makeable":
        return made
    found, to_the_end = sought(part, machine, machines, time_limit, report)
    changed = made.model_copy(update={"changes": found})
    return changed if to_the_end else changed.warned(NOT_TO_THE_END)


def _touches(change: Change) -> tuple[object, ...]:
    """Return by what changes are sorted: what touches more of two, then the other, the amount, the place."""
    ranks = [RANKS.index(change.kind)] + ([] if change.also is None else [RANKS.index(change.also.kind)])
    both = change.amount + (0.0 if change.also is None else change.also.amount)
    return (sorted(ranks, reverse=True), change.trim if change.kind == "two pieces" else both, change.where)


@dataclass(frozen=True)
class _Made:
    """An alteration with the least amount of it that was found."""

    alteration: Alteration
    least: LeastAmount

    def on(self, job: PartOnMachine) -> PartOnMachine:
        return self.alteration.made(job, self.least.amount)

    def told(self, job: PartOnMachine) -> Fact:
        return told(job, self.alteration.kind, self.alteration.where, self.least.amount)

    def single(self) -> Single:
        at, amount = self.alteration, self.least
        return Single(kind=at.kind, where=at.where, amount=float(amount.amount), smallest=amount.smallest)


@dataclass
class _Advice:
    """What is asked about one job, and of whom."""

    job: PartOnMachine
    machines: tuple[Machine, ...]
    verdicts: KnownVerdicts
    report: Callable[[str], None] | None

    def tell(self, sentence: str) -> None:
        """Tell of the progress."""
        if self.report is not None:
            self.report(sentence)

    def possible(self) -> bool:
        """Say whether the job can be made as it is."""
        return can_be_set_up(self.job) and not self.hopeless and self.verdicts.of(self.job) == "makeable"

    @cached_property
    def hopeless(self) -> tuple[Alteration, ...]:
        """What cannot help by itself, as one proof shows: made together, as far as it goes, it does not help.

        A higher machine stays out of it: it helps most often.
        """
        offered = alterations(self.job)
        together = [alteration for alteration in offered if alteration.widens and alteration.kind != "machine raised"]
        job = self.job
        for alteration in together:
            job = alteration.made(job, alteration.most)
        return tuple(together) if self.verdicts.of(job) == "not makeable" else ()

    def single(self) -> Iterator[Change]:
        """Yield the changes that help by themselves."""
        if self.possible():
            return
        yield from self._other_machines()
        if not can_be_set_up(self.job):
            return
        offered = alterations(self.job)
        straights = [alteration for alteration in offered if alteration.kind == "straight longer"]
        for alteration in offered:
            if alteration not in straights and not any(_same(alteration, one) for one in self.hopeless):
                self.tell(f"Would it go with {_named(alteration)}?")
                found = least(self.verdicts, alteration, self.job)
                if found is not None:
                    yield from self._verified([_Made(alteration, found)])
        self.tell("Would it go with a longer straight?")
        for alteration, amount in least_together(self.verdicts, straights, self.job):
            yield from self._verified([_Made(alteration, amount)])

    def pairs(self) -> Iterator[Change]:
        """Yield the first few pairs of changes that help together, what touches least first."""
        if not can_be_set_up(self.job):
            return
        found = 0
        for one, another in sorted(combinations(self._worth_pairing(), 2), key=_pair_touches):
            if not self._could_help(one, another):
                continue
            self.tell(f"Would it go with {_named(one[0])} and {_named(another[0])}?")
            for change in self._pair(one, another):
                yield change
                found += 1
            if found >= MOST_OFFERED:
                return

    def two_pieces(self) -> Iterator[Change]:
        """Yield the best few places of a joint with which both pieces can be made."""
        if not can_be_set_up(self.job):
            return
        found: list[Change] = []
        for k in range(1, self.job.part.n_bends):
            self.tell(f"Would it go in two pieces, joined on straight {k}?")
            places = (math.floor(float(self.job.part.straights[k]) * share) for share in JOINTS)
            joined = (self._joined(k, float(place)) for place in places)
            found.extend([change for change in joined if change is not None][:1])
        yield from sorted(found, key=_touches)[:MOST_OFFERED]

    def _other_machines(self) -> Iterator[Change]:
        for machine in self.machines:
            job = PartOnMachine(self.job.part, machine)
            if machine == self.job.machine or not can_be_set_up(job):
                continue
            self.tell(f'Would it go on the machine "{machine.name}"?')
            made = self._planned([job])
            if made is not None:
                single = Single(kind="another machine", where=machine.name, amount=0.0, smallest=True)
                yield _change([told_of_machine(machine.name, made[0])], None, single, made)

    def _worth_pairing(self) -> list[tuple[Alteration, int]]:
        """Return what may help together with something else, and how much of it is tried [mm].

        All that is proposed; of a straight what the shortest clamp asks for, if it is too short for that.
        """
        found = []
        for alteration in alterations(self.job):
            if alteration.leaves_at_most:
                found.append((alteration, alteration.most))
            elif alteration.kind == "straight longer":
                short = short_of_a_clamp(self.job, int(alteration.where.split()[1]))
                if 0 < short <= alteration.most:
                    found.append((alteration, short))
        return found

    def _could_help(self, *pair: tuple[Alteration, int]) -> bool:
        """Say whether the two help if everything else that takes nothing away is changed as far as it goes too."""
        job = self.job
        for alteration, amount in self._worth_pairing():
            if alteration.leaves_at_most or any(_same(alteration, one) for one, _ in pair):
                job = alteration.made(job, amount)
        return self.verdicts.of(job) == "makeable"

    def _pair(self, one: tuple[Alteration, int], another: tuple[Alteration, int]) -> Iterator[Change]:
        """Yield the change that two alterations make together: the more touching one made as small as can be first."""
        (less, most), (more, _) = one, another
        second = least(self.verdicts, more, less.made(self.job, most))
        if second is None:
            return
        with_second = _Made(more, second)
        job = with_second.on(self.job)
        if self.verdicts.of(job) == "makeable":
            yield from self._verified([_Made(more, LeastAmount(second.amount, False))])
            return
        first = least(self.verdicts, less, job)
        if first is None:
            return
        if not less.nested:  # what is proved of the second then hangs on how much of the first is made
            again = least(self.verdicts, more, less.made(self.job, first.amount))
            second = LeastAmount(second.amount, again is not None and again.amount == second.amount and again.smallest)
        yield from self._verified([_Made(less, first), _Made(more, second)])

    def _verified(self, made: Sequence[_Made]) -> Iterator[Change]:
        """Yield the change that alterations make, if planning with all of them made finds the part makeable."""
        job = self.job
        for one in made:
            job = one.on(job)
        plans = self._planned([job])
        if plans is None:
            return
        smallest = all(one.least.smallest for one in made)
        what, singles = [one.told(self.job) for one in made], [one.single() for one in made]
        yield _change(what, least_said(smallest, len(made)), singles[0], plans, *singles[1:])

    def _joined(self, k: int, place: float) -> Change | None:
        """Return the change that a joint on straight k makes, `place` mm behind bend k, if both pieces can be made.

        Their ends may carry trim; as little is allowed in the end as can be.
        """
        jobs = [
            PartOnMachine(piece, self.job.machine) for piece in cut_in_two(self.job.part, k, place, float(MOST_TRIM))
        ]
        if any(self.verdicts.of(job) != "makeable" for job in jobs):
            return None
        least_trim = self._planned(jobs, "less trim")
        plans = (
            None
            if least_trim is None
            else self._planned([_trimmed(job, p) for job, p in zip(jobs, least_trim, strict=True)])
        )
        if plans is None:
            return None
        rotation = math.degrees(float(self.job.part.rotations[k]))
        single = Single(kind="two pieces", where=f"straight {k}", amount=place, smallest=False)
        return _change([told_of_joint(k, place, rotation, plans)], None, single, plans)

    def _planned(self, jobs: Sequence[PartOnMachine], prefer: Prefer = "fewer re-clamps") -> list[Plan] | None:
        """Return the plans of all jobs, None if one is not makeable."""
        made = []
        for job in jobs:
            in_time()
            made.append(plan(job.part, job.machine, prefer=prefer))
            if made[-1].verdict != "makeable":
                return None
        return made


def _change(
    what: Sequence[Fact], least: Fact | None, first: Single, plans: Sequence[Plan], also: Single | None = None
) -> Change:
    said = fact("change", what=tuple(what), least=least, result=result(plans))
    return Change(
        sentence=say(said),
        fact=said,
        **first.model_dump(),
        also=also,
        verdict="makeable",
        reclamps=sum(made.reclamps or 0 for made in plans),
        trim=trim_of(plans),
        smallest_clearance=nearest_of(plans),
        parts=tuple(made.part for made in plans),
        machine=plans[0].machine,
    )


def _trimmed(job: PartOnMachine, made: Plan) -> PartOnMachine:
    """Return a job that is allowed no more trim than its plan takes."""
    assert made.stock is not None  # it is makeable
    return PartOnMachine(replace(job.part, trim_a=made.stock.trim_a, trim_b=made.stock.trim_b), job.machine)


def _same(one: Alteration, other: Alteration) -> bool:
    return (one.kind, one.where) == (other.kind, other.where)


def _pair_touches(pair: tuple[tuple[Alteration, int], ...]) -> list[int]:
    return sorted((RANKS.index(alteration.kind) for alteration, _ in pair), reverse=True)


def _named(alteration: Alteration) -> str:
    return f"{alteration.kind} ({alteration.where}, up to {alteration.most} mm)"
