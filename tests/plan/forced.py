"""Carry out one given order, whether or not it is the best."""

from __future__ import annotations

from planner import planning
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.plans.document import Plan, Reason
from planner.search.orders import Order, Ready, prepare
from planner.search.trial import Trial


def forced(part: Part, machine: Machine, order: Order) -> Plan | Reason:
    """The plan that carries out this order, or why it cannot be carried out. The order must keep the shop rules."""
    case, _ = planning._case(part, machine)
    ready = prepare(case, order)
    assert isinstance(ready, Ready), ready
    around = planning._surroundings(case)
    outcome = planning._tried(ready, around)
    if not isinstance(outcome, Trial):
        return outcome
    if outcome.loads is None:
        return planning.from_failure(outcome, outcome.failures[0])
    return planning._Known(case, ()).makeable(outcome, [], around)
