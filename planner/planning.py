"""The whole flow on one page: part and machine → the search for the best order → a checked and proved plan."""

from __future__ import annotations

import hashlib
import json
import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from planner.clearance.certify import Least, measured
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.inputs.springback import setting_for
from planner.plans import cautions
from planner.plans.document import Alternative, Because, Plan, Proved, Reason, Stock
from planner.plans.evidence import Evidence, Measured, Moved
from planner.plans.other_ways import alternative, looked_at
from planner.plans.reasons import from_broken, from_nogood, ordered
from planner.plans.steps import StepList
from planner.plans.swing import keep_clear
from planner.rules.bending import rated_capacity
from planner.rules.broken import Broken
from planner.search.alternatives import other_ways
from planner.search.core import core, straight_through
from planner.search.decision import Decision, Plannable, decide
from planner.search.events import NoGood, Prefer
from planner.search.impossible import broken_in_every_order
from planner.search.opinions import NONE_ASKED, EngineName, Opinions, engine_named, opinion, opinions_of
from planner.search.orders import Case, Ready
from planner.search.search import Engine, Search
from planner.search.stations import Station
from planner.search.trial import BendDone, Trial
from planner.tolerances import SELF_MARGIN

IN_HAND = (
    "Before its tail is on the mandrel and once it is off, the tube is in free hands: nothing is checked there, and"
    " turning end for end is done there too."
)
NO_ROD = (
    "There is no mandrel that the tube goes on to from the front: how it is put in and taken out is not checked; do it"
    " by hand and by eye."
)
NOT_CHECKED = (
    "The die's straight grip section under the clamp is not modelled; add it to the profile if the tube may meet it.",
)

NOTHING_FOUND = Decision(None, None, None, (False, False, False))
"""No plan, and nothing that a plan could be below."""

TURNED_BACK = (
    "At every re-grip the open chuck is taken to be turned back to 0;"
    " plans that leave it where it stands were not sought."
)


@dataclass
class Learned:
    """What planning has taught, to be passed on to the next `plan` of a part or machine that is a little different."""

    nogoods: tuple[NoGood, ...] = ()


def plan(
    part: Part,
    machine: Machine,
    *,
    prefer: Prefer = "fewer re-clamps",
    engine: EngineName | Engine = "exact",
    confirm: bool = False,
    alternatives: bool = False,
    time_limit: float | None = None,
    report: Callable[[str], None] | None = None,
    learned: Learned | None = None,
    evidence: Evidence | None = None,
) -> Plan:
    """Plan a part on a machine: the best order, proved.

    Best by re-clamps, then trim, then handling time (prefer "less trim" swaps the first two); among equals by the rule
    stated in `search/choice.py`. Every motion between load and unload of the plan is proved clear; that there is no
    better plan, or none at all, is proved too, and where it is not the document says so.

    engine: "exact" or "cp-sat" (or an engine of one's own), which find the same plan; confirm: let the other one
    prove the result again. alternatives: also look for plans that are better in something else. time_limit [s]: then
    what is known by then is said; report: told of the progress in sentences. learned: what planning the part or machine
    before it was edited a little has taught; taken in where it still holds, and replaced by what is learned now.
    evidence: filled with what the plan rests on; `planner.proof` writes it out so that it can be audited.

    Raises NoTooling if the machine has no tooling for the tube and one of its radii, SelfCrossing if the finished tube
    runs through itself.
    """
    case, warnings = _case(part, machine)
    evidence = Evidence() if evidence is None else evidence
    known = _Known(case, tuple(warnings), evidence)
    deadline = None if time_limit is None else time.monotonic() + time_limit
    search = Search(case, _surroundings(case), engine_named(engine), prefer, deadline, report)
    evidence.search, evidence.decision = search, NOTHING_FOUND
    impossible = broken_in_every_order(case)
    if impossible:
        return _impossible(known, search, impossible, confirm)
    if learned is not None:
        search.remember(learned.nogoods)
    decision = evidence.decision = decide(search)
    if learned is not None:
        learned.nogoods = tuple(search.nogoods)
    opinions = opinions_of(search, decision.bound) if confirm else NONE_ASKED
    if opinions.agree is False:
        return known.undecided(search, decision, "engines disagree", opinions)
    if decision.plan is None:
        return known.without_plan(search, decision, opinions)
    made = known.makeable(search, decision, opinions)
    if not alternatives:
        return made
    others = _alternatives(search, decision.plan)
    return made.model_copy(update={"alternatives": others, "warnings": (*made.warnings, looked_at(len(others)))})


def _impossible(known: _Known, search: Search, broken: list[Broken], confirm: bool) -> Plan:
    """Return the plan document of a part that breaks a rule in every order; confirm: both engines must find none."""
    if not confirm:
        return known.not_makeable(map(from_broken, broken), NONE_ASKED)
    found = search.propose(proved_only=True)
    opinions = opinions_of(search, None if found is None else found.value)
    if found is not None or opinions.agree is False:
        return known.undecided(search, NOTHING_FOUND, "engines disagree", opinions._replace(agree=False))
    return known.not_makeable(map(from_broken, broken), opinions)


def _alternatives(search: Search, found: Plannable) -> tuple[Alternative, ...]:
    """Return the other plans as the document writes them."""

    def clearances(plan: Plannable) -> dict[int, float]:
        return {key: least.bound for key, least in _least(plan.trial, search.around)[0].items()}

    return tuple(alternative(way) for way in other_ways(search, found, clearances))


def _case(part: Part, machine: Machine) -> tuple[Case, list[str]]:
    """Return tooling and settings for each bend, and what there is to warn of."""
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    settings = [
        setting_for(float(angle), machine, part, float(radius))
        for angle, radius in zip(part.angles, part.radii, strict=True)
    ]
    handled = NO_ROD if machine.mandrel is None else IN_HAND
    warnings = [handled, *NOT_CHECKED, *(s.warning for s in settings if s.warning is not None)]
    if len(set(tooling)) > 1:
        warnings.append("The bends have different radii: the dies are changed between them, which is not checked.")
    if machine.rotation.range != "continuous" and machine.carriage is not None and machine.carriage.passes_through:
        warnings.append(TURNED_BACK)
    rating = rated_capacity(machine, part)
    if isinstance(rating, str):
        warnings.append(rating)
    return Case(part, machine, tooling, tuple(s.value for s in settings)), list(dict.fromkeys(warnings))


def _surroundings(case: Case) -> Callable[[Station], Surroundings]:
    """Return what gives a bend's surroundings: built once a tooling."""
    gap = self_gap(case.part).gap
    to_itself = min(case.machine.clearance.to_itself, max(gap - SELF_MARGIN, 0.0))
    built = {
        tooling: Surroundings.of(case.machine, tooling, case.part.radius, to_itself) for tooling in set(case.tooling)
    }
    return lambda st: built[case.tooling[st.number - 1]]


@dataclass(frozen=True)
class _Known:
    """What every plan of a case says, whatever the verdict."""

    case: Case
    warnings: tuple[str, ...]
    evidence: Evidence

    def _plan(self, **fields: object) -> Plan:
        part, machine = self.case.part, self.case.machine
        return Plan.model_validate(
            {
                "fingerprint": fingerprint(part, machine),
                "part": part.normalised(),
                "machine": machine.normalised(),
                "warnings": self.warnings,
                "cautions": cautions.GENERAL,
                "hangs_on": hangs_on(self.case),
                "rotation_sign": part.rotation_sign,
                **fields,
            }
        )

    def not_makeable(self, reasons: Iterable[Reason], opinions: Opinions) -> Plan:
        """Return the plan document of a part that cannot be made in any order."""
        return self._plan(
            verdict="not makeable",
            proved=Proved(makeable=True, reclamps=False, trim=False, time=False),
            reasons=tuple(reasons),
            opinions=opinions.said,
            confirmed=opinions.agree,
        )

    def without_plan(self, search: Search, decision: Decision, opinions: Opinions) -> Plan:
        """Return the plan document where no sequence goes: there is none, or it is not settled."""
        because: Because | None = decision.undecided
        if because is None and not runs_only(self.case):
            because = "orders not tried"
        if because is not None:
            return self.undecided(search, decision, because, opinions)
        return self.not_makeable(_told(search, core(search, None)), opinions)

    def undecided(self, search: Search, decision: Decision, because: Because, opinions: Opinions) -> Plan:
        """Return the plan document of a case that is not settled, with the best plan found if there is one."""
        if decision.plan is not None:
            made = self.makeable(search, decision, opinions)
            unproved = Proved(makeable=False, reclamps=False, trim=False, time=False)
            return made.model_copy(update={"verdict": "undecided", "undecided_because": because, "proved": unproved})
        unproved_ones = [nogood for nogood in search.nogoods if nogood.grade == "unproved"]
        return self._plan(
            verdict="undecided",
            undecided_because=because,
            reasons=(*_told(search, [*straight_through(search, None), *unproved_ones]), *_so_far(decision, because)),
            proved=Proved(makeable=False, reclamps=False, trim=False, time=False),
            opinions=opinions.said,
            confirmed=opinions.agree,
        )

    def makeable(self, search: Search, decision: Decision, opinions: Opinions = NONE_ASKED) -> Plan:
        """Return the plan document of an order that was carried out."""
        assert decision.plan is not None  # asked only then
        trial, sequence = decision.plan.trial, decision.plan.sequence
        ready = trial.stationed.ready
        least, measured = _least(trial, search.around)
        step_list = StepList(trial, least)
        steps = step_list.write()
        self.evidence.moved = tuple(_moved(trial, step_list, measured))
        clear = [step.clearance for step in steps if step.clearance is not None]
        reasons = straight_through(search, sequence)
        if sequence.value.reclamps or sequence.value.trim:
            reasons += core(search, sequence.value)
        return self._plan(
            verdict="makeable",
            proved=self._proved(decision),
            reclamps=ready.reclamps,
            turns=ready.turns,
            regrips=ready.regrips,
            reloads=ready.reloads,
            released=ready.released,
            time=round(math.fsum(step.time for step in steps), 3),
            smallest_clearance=min(clear, default=None),
            keep_clear=(keep_clear([m for bend in _done(trial) for m in bend.motions], self.case.part.radius),),
            stock=self._stock(ready),
            order=ordered(ready.order),
            steps=steps,
            reasons=_told(search, reasons),
            opinions=opinions.said,
            confirmed=opinions.agree,
        )

    def _stock(self, ready: Ready) -> Stock:
        part = self.case.part
        return Stock(
            cut_length=round(part.developed_length + ready.trim_a + ready.trim_b, 6),
            developed_length=round(part.developed_length, 6),
            trim_a=ready.trim_a,
            trim_b=ready.trim_b,
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


def _so_far(decision: Decision, because: Because) -> tuple[Reason, ...]:
    """Return what was proved by the time that ran out."""
    if because != "time limit":
        return ()
    sentence = f"When the time ran out it was proved that a plan needs {opinion(decision.bound)}."
    return (Reason(sentence=sentence, grade="proved", rule="time limit"),)


def runs_only(case: Case) -> bool:
    """Say whether the formed bends are always a run of neighbours: a mandrel or a closed collet fills the tail."""
    return case.machine.mandrel is not None or case.machine.carriage is not None


def _told(search: Search, nogoods: Iterable[NoGood]) -> tuple[Reason, ...]:
    """Return no-goods as reasons, each sentence once."""
    reasons = (from_nogood(search, nogood) for nogood in nogoods)
    return tuple({reason.sentence: reason for reason in reasons}.values())


def _least(
    trial: Trial, around: Callable[[Station], Surroundings]
) -> tuple[dict[int, Least], dict[int, tuple[Measured, int]]]:
    """Return the proved smallest clearance of every motion of the plan, and how it was proved, by its identity."""
    found: dict[int, Least] = {}
    proved: dict[int, tuple[Measured, int]] = {}
    done = _done(trial)
    for surroundings in dict.fromkeys(around(bend.station) for bend in done):
        batch = [
            (motion, bend.clamp) for bend in done if around(bend.station) is surroundings for motion in bend.motions
        ]
        whole = surroundings.in_whole()
        rows = rows_of([motion for motion, _ in batch], whole, [(clamp,) for _, clamp in batch])
        leasts, cover = measured(rows, certified=True)
        how = Measured(whole, rows, cover)
        for number, ((motion, _), least) in enumerate(zip(batch, leasts, strict=True)):
            found[id(motion)], proved[id(motion)] = least, (how, number)
    return found, proved


def _moved(trial: Trial, steps: StepList, proved: dict[int, tuple[Measured, int]]) -> Iterator[Moved]:
    """Yield the steps that move something, with what each was held against."""
    clamps = {id(motion): bend.clamp for bend in _done(trial) for motion in bend.motions}
    for number, motion in steps.moved.items():
        clear_by = steps.steps[number - 1].clearance
        assert clear_by is not None  # of every motion that was certified
        yield Moved(number, motion, clamps[id(motion)], clear_by, *proved[id(motion)])


def _done(trial: Trial) -> list[BendDone]:
    assert trial.loads is not None  # asked only of orders carried out
    return [bend for load in trial.loads for bend in load]


def hangs_on(case: Case) -> tuple[str, ...]:
    """Return the names of the solids that the verdict hangs on, without repeats."""
    names = ["floor", *(solid.name for solid in case.machine.solid), "bend die", "clamp die", "pressure die"]
    if any(tooling.wiper_block is not None for tooling in case.tooling):
        names.append("wiper die")
    if any(tooling.die_hub is not None for tooling in case.tooling):
        names.append("die hub")
    return tuple(dict.fromkeys(names))


def fingerprint(part: Part, machine: Machine) -> str:
    """Return the SHA-256 of the normalised inputs, hexadecimal."""
    text = json.dumps({"part": part.normalised(), "machine": machine.normalised()}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
