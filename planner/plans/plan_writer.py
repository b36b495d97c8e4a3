"""What is known of a case once it was searched, written as the plan document of its verdict."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.certify import Least, certify, measured
from planner.clearance.rows import Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Verdicts
from planner.deadline import OutOfTime, unlimited
from planner.facts import Fact, fact, six_digits
from planner.feasibility.orders import Case, Ready
from planner.feasibility.stations import Station
from planner.feasibility.whole_order import BendDone, Trial, passes_of
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.plans import cautions
from planner.plans.arm_sweep import arm_swept
from planner.plans.crush import crush_fact, crush_gaps
from planner.plans.document import Because, Plan, Proved, Reason, Setup, Short, Stock
from planner.plans.evidence import Measured, Moved, Written
from planner.plans.minimal_conflict import least_grounds
from planner.plans.minimal_conflict import told as grounds_told
from planner.plans.reasons import from_nogood, ordered
from planner.plans.sag import Hanging, Sag, beam_of, clear_as_they_hang, hanging_of, sag_of
from planner.plans.short import short_fact, shorts
from planner.plans.steps import StepList
from planner.plans.swing import keep_clear
from planner.search.decision import Decision, Plannable
from planner.search.opinions import NONE_ASKED, Opinions, opinion
from planner.search.search import Search
from planner.search.straight_through import straight_through
from planner.sequencing.events import NoGood, Sequence
from planner.sequencing.feasible_orders import better_than
from planner.tolerances import CLOSE_GAP, PLACE_DECIMALS, PLAIN_GAP, PROOF_GAP
from planner.tube.bodies import Motion
from planner.tube.frames import Array
from planner.wording.say import say

FEW = 3
"""So many reasons are told where there is no time to find the fewest."""


@dataclass(frozen=True)
class Known:
    """What every plan of a case says, whatever the verdict."""

    case: Case
    warnings: tuple[Fact, ...]

    def _plan(self, **fields: object) -> Plan:
        part, machine = self.case.part, self.case.machine
        facts = {"warnings": self.warnings, "cautions": cautions.EVERY_PLAN}
        return Plan.model_validate(
            {
                "fingerprint": fingerprint(part, machine),
                "part": part.normalised(),
                "machine": machine.normalised(),
                "fact": facts,
                **{name: tuple(map(say, said)) for name, said in facts.items()},
                "hangs_on": hangs_on(self.case),
                "rotation_sign": part.rotation_sign,
                **fields,
            }
        )

    def not_makeable(self, reasons: Iterable[Reason], opinions: Opinions) -> Written:
        """Return the plan document of a part that cannot be made in any order."""
        made = self._plan(
            verdict="not makeable",
            proved=Proved(makeable=True, reclamps=False, trim=False, time=False),
            reasons=tuple(reasons),
            opinions=opinions.said,
            confirmed=opinions.agree,
        )
        return Written(made)

    def without_plan(self, search: Search, decision: Decision, opinions: Opinions) -> Written:
        """Return the plan document where no sequence goes: there is none, or it is not settled."""
        because: Because | None = decision.undecided
        if because is None and not runs_only(self.case):
            because = "orders not tried"
        if because is not None:
            return self.undecided(search, decision, because, opinions)
        try:
            return self.not_makeable(grounds_told(search, least_grounds(search) or ()), opinions)
        except OutOfTime:
            made = self.not_makeable(_some_of(search), opinions).plan
            return Written(made.warned(fact("not-all-reasons")))

    def undecided(self, search: Search, decision: Decision, because: Because, opinions: Opinions) -> Written:
        """Return the plan document of a case that is not settled, with the best plan found if there is one."""
        if decision.plan is not None:
            made, moved = self.makeable(search, decision, opinions)
            unproved = Proved(makeable=False, reclamps=False, trim=False, time=False)
            changed = {"verdict": "undecided", "undecided_because": because, "proved": unproved}
            return Written(made.model_copy(update=changed), moved)
        unsettled = self._plan(
            verdict="undecided",
            undecided_because=because,
            reasons=(*told(search, _unsettled(search)), *_so_far(decision, because)),
            proved=Proved(makeable=False, reclamps=False, trim=False, time=False),
            opinions=opinions.said,
            confirmed=opinions.agree,
        )
        return Written(unsettled)

    def makeable(self, search: Search, decision: Decision, opinions: Opinions = NONE_ASKED) -> Written:
        """Return the plan document of an order that was carried out."""
        assert decision.plan is not None  # asked only then
        with unlimited():  # a plan that was carried out is not lost for want of the time to write it
            made, moved = self._carried_out(search, decision, decision.plan, opinions)
        return Written(made.model_copy(update={"reasons": _why_so(search, decision.plan.sequence)}), moved)

    def _carried_out(self, search: Search, decision: Decision, found: Plannable, opinions: Opinions) -> Written:
        """Return all of the plan document but why it is made so."""
        trial = found.trial
        ready = trial.stationed.ready
        least, measured = least_of(trial, search.around)
        step_list = StepList(trial, least, sags_in(self.case, trial, least, measured))
        steps = step_list.write()
        moved = tuple(moved_of(trial, step_list, measured))
        short = shorts_in(moved)
        motions, arms = [m for bend in done_in(trial) for m in bend.motions], arms_swept(trial, search.around)
        gaps = crush_gaps(motions, least, arms, self.case.machine, self.case.part.radius)
        cycle = round(math.fsum(step.time for step in steps), 3)
        clear = [step.clearance for step in steps if step.clearance is not None]
        made = self._plan(
            verdict="makeable",
            proved=self._proved(decision),
            reclamps=ready.reclamps,
            turns=ready.turns,
            regrips=ready.regrips,
            reloads=ready.reloads,
            released=ready.released,
            time=cycle,
            cycle_time=cycle,
            smallest_clearance=min(clear, default=None),
            keep_clear=(keep_clear(motions, arms, self.case.part.radius),),
            short=short,
            setup=self._setup(trial, *(() if not gaps else (crush_fact(gaps),))),
            stock=self._stock(ready),
            order=ordered(ready.order),
            steps=steps,
            opinions=opinions.said,
            confirmed=opinions.agree,
        )
        return Written(made.warned(*map(short_fact, short)) if short else made, moved)

    def _setup(self, trial: Trial, *besides: Fact) -> Setup:
        """Return what is fitted before the first load, and before each further pass over the batch."""
        assert trial.loads is not None  # of every plan that was carried out
        passes = [one[0] for one in passes_of(trial.loads)]
        fitted = [
            fact(
                "fit",
                radius=six_digits(first.station.radius),
                clamp=six_digits(first.clamp),
                **_which(number, len(passes)),
            )
            for number, first in enumerate(passes, start=1)
        ]
        facts, time = (*fitted, *besides), len(passes) * self.case.machine.times.tool_change
        return Setup(list=tuple(map(say, facts)), fact=facts, time=round(time, 3))

    def _stock(self, ready: Ready) -> Stock:
        part = self.case.part
        return Stock(
            cut_length=round(part.developed_length + ready.trim_a + ready.trim_b, PLACE_DECIMALS),
            developed_length=round(part.developed_length, PLACE_DECIMALS),
            trim_a=ready.trim_a,
            trim_b=ready.trim_b,
            unasked=tuple(sorted(self.case.unasked)),
        )

    def _proved(self, decision: Decision) -> Proved:
        """Say what is proved: that it can be made, where every motion from one pair of free hands to the next is.

        Where other orders than runs of neighbours are possible, only what cannot be less than nothing is proved.
        """
        reclamps, trim, handling = decision.proved
        if not runs_only(self.case) and decision.plan is not None:
            value = decision.plan.value
            reclamps, trim, handling = value.reclamps == 0, value.reclamps == 0 and value.trim == 0.0, False
        makeable = self.case.machine.mandrel is not None
        return Proved(makeable=makeable, reclamps=reclamps, trim=trim, time=handling)


def _which(number: int, passes: int) -> dict[str, int]:
    """Return which pass over the batch, where there are several."""
    return {} if passes == 1 else {"number": number, "passes": passes}


def _so_far(decision: Decision, because: Because) -> tuple[Reason, ...]:
    """Return what was proved by the time that ran out."""
    if because != "time limit":
        return ()
    said = fact("proved-by-then", needs=opinion(decision.bound))
    return (Reason.of(said, grade="proved", rule="time limit"),)


def runs_only(case: Case) -> bool:
    """Say whether the formed bends are always a run of neighbours: a mandrel or a closed collet fills the tail."""
    return case.machine.mandrel is not None or case.machine.carriage is not None


def told(search: Search, nogoods: Iterable[NoGood]) -> tuple[Reason, ...]:
    """Return no-goods as reasons, each sentence once, as far as the time limit allows."""
    found: list[Reason] = []
    try:
        for nogood in nogoods:
            found.append(from_nogood(search, nogood))
    except OutOfTime:
        pass  # a plan says first of all how a part is made, then why
    return _each_once(found)


def _unsettled(search: Search) -> Iterator[NoGood]:
    """Yield why the straight-through orders are not made, then all that is not proved."""
    yield from straight_through(search, None)
    yield from [nogood for nogood in search.nogoods if nogood.grade == "unproved"]


def _why_so(search: Search, sequence: Sequence) -> tuple[Reason, ...]:
    """Return why a plan is none of the straight-through orders, and why none is better, as far as time allows."""
    try:
        reasons = told(search, straight_through(search, sequence))
        if sequence.value.reclamps or sequence.value.trim:
            grounds = least_grounds(search, better_than(sequence.value, search.prefer)) or ()
            reasons = _each_once(reasons, grounds_told(search, grounds))
    except OutOfTime:
        return ()
    return reasons


def _some_of(search: Search) -> tuple[Reason, ...]:
    """Return the first few of what is proved, where there is no time to find the fewest that exclude every order."""
    proved = [nogood for nogood in (*search.problem.rules, *search.nogoods) if nogood.grade == "proved"]
    with unlimited():
        return told(search, proved[:FEW])


def _each_once(*reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    return tuple({reason.sentence: reason for some in reasons for reason in some}.values())


def least_of(
    trial: Trial, around: Callable[[Station], Surroundings]
) -> tuple[dict[Motion, Least], dict[Motion, tuple[Measured, int]]]:
    """Return the proved smallest clearance of every motion of the plan, and how it was proved."""
    found: dict[Motion, Least] = {}
    proved: dict[Motion, tuple[Measured, int]] = {}
    done = done_in(trial)
    for surroundings in dict.fromkeys(around(bend.station) for bend in done):
        batch = [
            (motion, bend.clamp) for bend in done if around(bend.station) is surroundings for motion in bend.motions
        ]
        whole = surroundings.in_whole()
        rows = rows_of([motion for motion, _ in batch], whole, [(clamp,) for _, clamp in batch])
        clear = _as_clear_as_can_be_told(rows) if trial.short else None
        leasts, cover = measured(rows, rows.needed if clear is None else clear.kept)
        how = Measured(whole, rows, cover, clear)
        for number, ((motion, _), least) in enumerate(zip(batch, leasts, strict=True)):
            found[motion], proved[motion] = least, (how, number)
    return found, proved


def _as_clear_as_can_be_told(rows: Rows) -> Verdicts:
    """Return what is kept in motions that are known to be clear, each told as finely as it can be."""
    found = certify(rows, gap=PROOF_GAP)
    for gap in (PLAIN_GAP, CLOSE_GAP):
        open_ = {finding.motion for finding in found.findings.values() if finding.answer is not Answer.CLEAR}
        if not open_:
            break
        which = np.isin(rows.motion, list(open_))
        plainly = certify(rows.take(which), gap=gap)
        kept, told = found.kept.copy(), dict(found.findings)
        kept[which] = np.maximum(kept[which], plainly.kept)
        for key, finding in plainly.findings.items():
            witness = finding.witness
            if finding.answer is Answer.CLEAR and witness is not None:
                row = int(np.flatnonzero(which)[witness.row])
                finding = replace(finding, witness=replace(witness, row=row, clearance=float(kept[row])))
            told[key] = finding
        found = replace(found, findings=told, kept=kept)
    return found


def sags_in(
    case: Case, trial: Trial, least: dict[Motion, Least], proved: dict[Motion, tuple[Measured, int]]
) -> dict[Motion, Sag]:
    """Return how the leading part sags in the motions of a plan.

    Nothing where the profile counts sag itself, or where the tube's stiffness or weight is not known.
    """
    beam = beam_of(case.part)
    if beam is None or case.machine.clearance.per_metre > 0.0:
        return {}
    hangs: dict[Measured, list[Hanging]] = {}
    for bend in done_in(trial):
        in_hand = bend.home.by_hand
        for motion in (*bend.placing, *bend.gripping, *(() if in_hand else bend.returning)):
            how, number = proved[motion]
            one = hanging_of(beam, number, motion, bend.clamp)
            if one is not None:
                hangs.setdefault(how, []).append(one)
    found: dict[Motion, Sag] = {}
    for how, some in hangs.items():
        clear = clear_as_they_hang(how.rows, some)
        for one in some:
            found[one.motion] = sag_of(one, least[one.motion], one.number in clear)
    return found


def moved_of(trial: Trial, steps: StepList, proved: dict[Motion, tuple[Measured, int]]) -> Iterator[Moved]:
    """Yield the steps that move something, with what each was held against."""
    clamps = {motion: bend.clamp for bend in done_in(trial) for motion in bend.motions}
    for number, motion in steps.moved.items():
        clear_by = steps.steps[number - 1].clearance
        assert clear_by is not None  # of every motion that was certified
        yield Moved(number, motion, clamps[motion], clear_by, *proved[motion])


def done_in(trial: Trial) -> list[BendDone]:
    """Return the bends of a trial that was carried out to the end, load after load."""
    assert trial.loads is not None  # asked only of orders carried out
    return [bend for load in trial.loads for bend in load]


def shorts_in(moved: Iterable[Moved]) -> tuple[Short, ...]:
    """Return what comes short of what is asked for in the steps that move something, within what counts as kept."""
    batches: dict[Measured, dict[int, int]] = {}
    for one in moved:
        batches.setdefault(one.measured, {})[one.number] = one.step
    return shorts([(how.verdicts, steps) for how, steps in batches.items() if how.verdicts is not None])


def arms_swept(trial: Trial, around: Callable[[Station], Surroundings]) -> list[Array]:
    """Return the points that arm, clamp and section sweep in a plan, for each set of tools to its largest setting."""
    farthest: dict[tuple[Tooling, float], float] = {}
    for bend in done_in(trial):
        key = (around(bend.station).tooling, bend.clamp)
        farthest[key] = max(farthest.get(key, 0.0), bend.station.setting)
    machine = trial.stationed.ready.case.machine
    return [arm_swept(machine, tooling, clamp, setting) for (tooling, clamp), setting in farthest.items()]


def hangs_on(case: Case) -> tuple[str, ...]:
    """Return the names of the solids that the verdict hangs on, without repeats."""
    names = ["floor", *(solid.name for solid in case.machine.solid), "bend die", "clamp die", "pressure die"]
    if any(tooling.wiper_block is not None for tooling in case.tooling):
        names.append("wiper die")
    if any(tooling.section(tooling.clamp_lengths[0]) is not None for tooling in case.tooling):
        names.append("grip section")
    if case.machine.mandrel is not None:
        names.append("mandrel rod")
    if any(tooling.die_hub is not None for tooling in case.tooling):
        names.append("die hub")
    return tuple(dict.fromkeys(names))


def fingerprint(part: Part, machine: Machine) -> str:
    """Return the SHA-256 of the normalised inputs, hexadecimal."""
    text = json.dumps({"part": part.normalised(), "machine": machine.normalised()}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
