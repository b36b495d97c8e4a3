"""What the page's jobs do, in a worker process: plan, second and audit a plan, say why, judge orders, check machines.

Each function takes part and machine as `job_inputs.py` reads them, a time limit [s] by which it answers what is known,
and
`report`, told of the progress in sentences. The last few searches stay in the process's memory, so that an order of a
part that was planned before is judged in milliseconds.
"""

from __future__ import annotations

import json
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from planner.advice.answers import Judged, Why
from planner.advice.changes import with_changes
from planner.advice.machines import Checked, Pair, check_pair
from planner.advice.notation import read_order
from planner.advice.order import costs_in, judge
from planner.advice.why import why
from planner.audit.proof import Audited, audit_proof
from planner.cuts.impossible import broken_in_every_order
from planner.deadline import TO_FINISH, finishing, limited
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.page.job_inputs import (
    MachineAsked,
    MachinesAsked,
    PartAsked,
    machine_asked,
    machines_asked,
    part_asked,
)
from planner.planning import plan, planned
from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.plans.plan_writer import fingerprint
from planner.proof.document import proof_document, proof_text
from planner.search.decision import Decision
from planner.search.opinions import opinions_of
from planner.search.search import Search
from planner.sequencing.events import Prefer

Report = Callable[[str], None]

MOST_KEPT: Final = 4
"""So many searches stay in a process's memory, some megabytes each."""


@dataclass(frozen=True)
class Kept:
    """A plan with the search that it comes from.

    cut: the time limit [s] that ended the search, None where it came to its end.
    """

    made: Plan
    evidence: Evidence
    cut: float | None


_KEPT: OrderedDict[tuple[str, Prefer], Kept] = OrderedDict()


def warm_up() -> None:
    """Import what planning imports only on its way, so that the first plan does not wait for it."""
    import networkx as nx  # noqa: F401


def plan_task(
    part: PartAsked,
    machine: MachineAsked,
    prefer: Prefer = "fewer re-clamps",
    confirm: bool = False,
    alternatives: bool = False,
    others: MachinesAsked | None = None,
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Plan:
    """Return the plan, as `planner.planning.plan` makes it.

    others: the machines there are, if also what would make the part possible is to be sought.
    """
    wanted, bender = _pair(part, machine)
    with limited(time_limit):
        if confirm or alternatives:
            made = plan(wanted, bender, prefer=prefer, confirm=confirm, alternatives=alternatives, report=report)
        else:
            made = _kept(wanted, bender, prefer, time_limit, report).made
        if others is None:
            return made
        return with_changes(made, wanted, bender, machines_asked(others, wanted, report), None, report)


def second_task(
    part: PartAsked,
    machine: MachineAsked,
    prefer: Prefer = "fewer re-clamps",
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Plan:
    """Return the plan with what the other engine says of it: as with `confirm`, from the search that is kept."""
    wanted, bender = _pair(part, machine)
    with limited(time_limit):
        search, decision, made = kept_search(wanted, bender, prefer, time_limit, report)
        bound, agree = decision.bound, True
        with finishing(TO_FINISH):
            if broken_in_every_order(search.case):
                found = search.propose(proved_only=True)  # planning asked no engine yet
                bound, agree = None, found is None
            opinions = opinions_of(search, bound, decision.cut_short)
        if not agree or opinions.agree is False:  # then the verdict is another one
            return plan(wanted, bender, prefer=prefer, confirm=True, report=report)
    return made.model_copy(update={"opinions": opinions.said, "confirmed": opinions.agree})


def audit_task(
    part: PartAsked,
    machine: MachineAsked,
    prefer: Prefer = "fewer re-clamps",
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Audited:
    """Write the proof of the plan and return what the auditor says of it; see `planner.audit.proof`."""
    wanted, bender = _pair(part, machine)
    kept = _kept(wanted, bender, prefer, time_limit, report)
    document = json.loads(proof_text(proof_document(kept.made, kept.evidence)))  # as if it were read from its file
    return audit_proof(document, wanted, bender)


def changes_task(
    part: PartAsked,
    machine: MachineAsked,
    others: MachinesAsked,
    prefer: Prefer = "fewer re-clamps",
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Plan:
    """Return the plan with what would make the part possible, if it is not; others: the machines there are."""
    return plan_task(part, machine, prefer, others=others, time_limit=time_limit, report=report)


def why_task(
    part: PartAsked,
    machine: MachineAsked,
    order: str | None = None,
    prefer: Prefer = "fewer re-clamps",
    others: MachinesAsked | None = None,
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Why:
    """Return why, as `planner.advice.why.why`; others: the machines there are, None where no changes are sought."""
    wanted, bender = _pair(part, machine)
    machines = None if others is None else machines_asked(others, wanted, report)
    return why(wanted, bender, order=order, prefer=prefer, machines=machines, time_limit=time_limit, report=report)


def check_task(
    part: PartAsked, machines: MachinesAsked, *, time_limit: float | None = None, report: Report | None = None
) -> tuple[Checked, ...]:
    """Return a line for each machine; the time that is left is shared evenly among those still to come."""
    began = time.monotonic()
    wanted = part_asked(part)
    benders = machines_asked(machines, wanted, report)
    lines = []
    for done, bender in enumerate(benders):
        share = None
        if time_limit is not None:
            share = max(began + time_limit - time.monotonic(), 0.0) / (len(benders) - done)
        lines.append(check_pair(Pair(wanted, bender), share))
        if report is not None:
            report(f"{lines[-1].machine}: {lines[-1].verdict}")
    return tuple(lines)


def judge_task(
    part: PartAsked,
    machine: MachineAsked,
    order: str,
    prefer: Prefer = "fewer re-clamps",
    *,
    time_limit: float | None = None,
    report: Report | None = None,
) -> Judged:
    """Return what becomes of an order ("3A 4A 2B 1B"), as `planner.advice.order.judge`."""
    wanted, bender = _pair(part, machine)
    asked = read_order(order, wanted.n_bends)
    with limited(time_limit):
        search, decision, made = kept_search(wanted, bender, prefer, time_limit, report)
        return judge(search, asked, decision.plan, costs_in(made) if made.verdict == "makeable" else None)


def kept_search(
    part: Part,
    machine: Machine,
    prefer: Prefer = "fewer re-clamps",
    time_limit: float | None = None,
    report: Report | None = None,
) -> tuple[Search, Decision, Plan]:
    """Return the search of a part on a machine with its decision and plan; planned only if it is not kept.

    The search knows what planning has taught it, nothing else, so that no answer hangs on what was asked before;
    time_limit [s]: that it stands under.
    """
    kept = _kept(part, machine, prefer, time_limit, report)
    search, decision = kept.evidence.search, kept.evidence.decision
    assert search is not None  # planning leaves both
    assert decision is not None
    return search.afresh(report), decision, kept.made


def _kept(part: Part, machine: Machine, prefer: Prefer, time_limit: float | None, report: Report | None) -> Kept:
    """Return the plan that is kept, or plan and keep it; one cut short is made again where there is more time."""
    key = fingerprint(part, machine), prefer
    kept = _KEPT.get(key)
    if kept is None or (kept.cut is not None and (time_limit is None or time_limit > kept.cut)):
        began = time.monotonic()
        found = planned(part, machine, prefer=prefer, time_limit=time_limit, report=report)
        cut = time_limit if time_limit is not None and time.monotonic() - began >= time_limit else None
        kept = _KEPT[key] = Kept(found.plan, found.evidence, cut)
    _KEPT.move_to_end(key)
    while len(_KEPT) > MOST_KEPT:
        _KEPT.popitem(last=False)
    return kept


def _pair(part: PartAsked, machine: MachineAsked) -> tuple[Part, Machine]:
    wanted = part_asked(part)
    return wanted, machine_asked(machine, wanted)
