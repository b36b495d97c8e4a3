"""The proof document, schema `bendorder-proof/1`: JSON, lengths [mm], angles [deg].

schema, plan: the plan document in full, with part and machine.
claim: what is to be confirmed.
    verdict: of the plan; prefer: "fewer re-clamps" or "less trim", which of the two counts first;
    reclamps, trim [mm]: of the plan, null without one;
    bound: {unasked, reclamps, trim}, below which, in that order, no plan is, unasked the trim at ends of which nobody
    has stated any [mm], null where there is no plan at all;
    trims: the pairs [trim at A, trim at B] that are told apart [mm]: those at which a rule begins to be kept.

rules: the shop rules as patterns of arrivals that they forbid, with the numbers they rest on; see `PATTERN` below.
    rule: its short name; sentence: in words; numbers: by name, at the greatest trim of the span.
    "largest angle" setting, largest [deg]; "rated capacity" moment, rated [N mm]; "clamp longer than the straight"
    straight, shortest_clamp (with its grip section); "shortest grip" held, needed; "shortest tail" left, needed;
    "pressure die" left, needed; "rod length" behind, rod; "one set of dies" radius, ahead;
    "carriage reach" least, greatest or face: stock coordinates of the collet's face; "chuck range" rolls, from, to
    [deg].

no_goods: what strikes and walls forbid: a pattern, whose hold is always null, with
    sentence: in words; met: {ahead, trim_lead, trim_tail}, the state in which it was met;
    doing: "bend" (dies close to the arm's return), "home" (the arm's way home after the bend before, with a tube that
    stays in for this one), "move" (to the next bend), "load", "unload";
    clamps: of a bend or a way home, [{clamp: length, strike: witness} or {clamp, wall}]: what blocks each that fits;
    walls: of the others: together they part where the tube stands from where it should come.

PATTERN: which arrivals are forbidden.
    event: "load", "turn", "reload", "link", "bend" or "re-grip", how a bend is reached or what happens at it;
    leads: the leading end; bend, ahead [least, greatest]: the bend and the first formed bend, counted from the leading
    end (ahead = bend: none is formed); trim_lead, trim_tail: [least, greatest] at the leading and the other end, null
    for any, a greatest of null for no limit; hold: {since, begun}, the collet's hold, null for any; way: 0 the shorter
    way round, 1 the longer, null for either; released: whether the collet stands open, null for either.

witness: a point of the tube too near a solid, and where everything stands then.
    phase: "dies close", "bend", "re-grip", "dies open", "return", "place"; place: on the tube, from its leading end,
    negative in the trim there; solid; clamp: its length where the strike depends on it, else null; advance: from where
    the tube stood; rotation: about the feed from there; arm: from home; tube: angle of the arc in the die so far; face:
    collet's face to tangent point, null where it does not matter; pressure: the pressure die's way forward; clearance:
    of the tube's surface there, at most; needed; slides: the arc just formed only slides straight out of the groove.

wall: kind "across": strikes at one rotation `roll` that cover every advance of `span`, for a strike by d is still one
    when it is shifted by less than d; "home": at every advance of `span` the tube strikes, with the arm at the one
    angle `arm` that it must pass on its way home (phase "return"), or, whatever the arm does, something that stands
    (phase "place"), beyond which it does not come; where it has a `side`, strikes at the last advance of the span and
    with the arm anywhere from `arm` to the setting; "held": at every place of the collet's face in `span`; "bare": a
    bare tube on its one way; "cells": blocked cells
    [advance, half-width, rotation, half-width, place, solid] of the plane `y` × `rolls`, whose first and last rotation
    are one where it `goes_round`, with the shortest `clamp` that fits: they close in one end, the advances up to
    `slides_to` at rotation 0, and slide_strikes show that the arc slides no farther.

motions: one a step that moves something.
    step: its number; clear_by: the clearance that it prints, kept by all that
    does not lie in the groove; whole: [piece, solid] certified in one cell; cut: {piece, solid, cells: [s from, s to, t
    from, t to]}, which tile the piece over the motion.
    piece: 0, 1, 2 … the arcs and straights of the leading part from the tangent point outwards, "tail", "fed" (the
    straight that comes out of the die), "forming" (the arc in the die); s: along it from its end nearer the tangent
    point; t: 0 … 1 from the step's `from` to its `to`.
"""

from __future__ import annotations

import json
from typing import Any

from planner.plans.document import Plan
from planner.plans.evidence import Evidence
from planner.plans.plan_writer import runs_only
from planner.plans.reasons import from_nogood
from planner.proof.covers import motions_record
from planner.proof.no_goods import no_good_record, rule_record
from planner.sequencing.events import Value, of_one_clamp

SCHEMA = "bendorder-proof/1"


def proof_document(plan: Plan, evidence: Evidence) -> dict[str, Any]:
    """Return the proof of a plan as plain JSON data; evidence: as `planner.planning.plan` filled it for this plan."""
    search, decision = evidence.search, evidence.decision
    assert search is not None  # filled by planning
    assert decision is not None
    # What speaks of one clamp only bears on handling time, which is not claimed here.
    proved = [nogood for nogood in search.proved if not of_one_clamp(nogood.pattern)]
    return {
        "schema": SCHEMA,
        "plan": plan.as_dict(),
        "claim": {
            "verdict": plan.verdict,
            "prefer": search.prefer,
            "reclamps": plan.reclamps,
            "trim": None if plan.stock is None else plan.stock.trim_a + plan.stock.trim_b,
            "bound": _bound(decision.bound, runs_only(search.case)),
            "trims": [[pair.a, pair.b] for pair in search.problem.trims],
        },
        "rules": [rule_record(rule) for rule in search.problem.rules],
        "no_goods": [no_good_record(search.checks, nogood, from_nogood(search, nogood).sentence) for nogood in proved],
        "motions": motions_record(evidence.moved),
    }


def _bound(bound: Value | None, of_all_orders: bool) -> dict[str, float] | None:
    """Return what no plan is below; where other orders than those sought are possible, only what cannot be less."""
    if bound is None:
        return None
    least = bound if of_all_orders else Value(0, 0.0, 0)
    return {"reclamps": least.reclamps, "trim": least.trim, "unasked": least.unasked}


def proof_text(document: dict[str, Any]) -> str:
    """Return the document as JSON text; the same plan gives the same bytes."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")) + "\n"
