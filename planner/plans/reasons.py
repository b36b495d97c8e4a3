"""Reasons: what failed, at which bend, with its numbers, as facts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from planner.clearance.certify import certify, place_of
from planner.clearance.deepest import deepest
from planner.clearance.verdicts import Answer, Witness
from planner.cuts.strike_cuts import Struck
from planner.facts import Fact, angle, fact, kept, length, needed
from planner.feasibility.bend_check import Blocked
from planner.feasibility.orders import Case, Order
from planner.inputs.part import Part
from planner.plans.document import OrderedBend, Reason
from planner.rules.broken import Broken, End, other
from planner.search.search import Search
from planner.sequencing.events import Event, NoGood
from planner.tube.bodies import Phase

LESS = (0.1, 0.2, 0.3, 0.5, 1.0)
"""By how much less than required it is looked whether what is too close to call is proved clear [mm]."""


def ordered(order: Order) -> tuple[OrderedBend, ...]:
    """Return an order as the document writes it."""
    return tuple(OrderedBend(bend=bend, leads=run.leads) for run in order for bend in run.bends)


def from_broken(broken: Broken, order: Order | None = None) -> Reason:
    """Return a broken shop rule as a reason."""
    made = () if order is None else ordered(order)
    return Reason.of(broken.fact, grade="proved", rule=broken.rule, bend=broken.bend, leads=broken.leads, order=made)


def piece_at(view: Part, leads: End, place: float) -> Fact:
    """Return the piece of tube at a stock coordinate counted from the leading end: a straight, a bend, the trim."""
    n = view.n_bends
    if place < 0.0:
        return fact("trim", end=leads)
    if place > view.developed_length:
        return fact("trim", end=other(leads))
    for i in range(n):
        if place < view.bend_starts[i]:
            return fact("straight", number=i if leads == "A" else n - i)
        if place <= view.bend_ends[i]:
            return fact("bend", number=i + 1 if leads == "A" else n - i)
    return fact("straight", number=n if leads == "A" else 0)


def contact(clearance: float, required: float, solid: str) -> Fact:
    """Return how near [mm]: an overlap strikes, otherwise it comes too near what is required."""
    if clearance < 0.0 and required >= 0.0:
        return fact("strikes", solid=solid, deep=length(-clearance))
    if required < 0.0:
        return fact("presses", solid=solid, deep=needed(-clearance), allowed=kept(-required))
    return fact("comes-within", solid=solid, gap=kept(max(clearance, 0.0)), required=needed(required))


def from_nogood(search: Search, nogood: NoGood) -> Reason:
    """Return a no-good as a reason: a shop rule as it stands, a strike with its numbers and what is formed for it."""
    pattern, evidence = nogood.pattern, nogood.evidence
    number = search.case.number(pattern.leads, made_last(nogood))
    at = {"bend": number, "leads": pattern.leads, "grade": nogood.grade, "rule": nogood.rule}
    if not isinstance(evidence, Struck):
        assert nogood.fact is not None  # of every no-good but those learned
        return Reason.of(nogood.fact, **at)
    blocked = deepest_blocked(evidence)
    met, known = _met(search, pattern.leads, evidence, blocked)
    doing = "move" if blocked.doing == "no path" else blocked.doing.replace(" ", "-")
    formed = _formed(search.case, nogood, blocked)
    looked = _looked(nogood, blocked)
    said = fact(f"cannot-{doing}", bend=number, leads=pattern.leads, looked=looked, formed=formed, met=met)
    return Reason.of(said, **known, **at)


def _met(search: Search, leads: End, evidence: Struck, blocked: Blocked) -> tuple[Fact, dict[str, Any]]:
    """Return what is in the way, and what a reason says of it beside the fact."""
    witness = blocked.finding.witness
    if witness is None or blocked.rows is None:
        return fact("no-room-to-rotate", advance=length(evidence.attempt.station.advance)), {}
    view = search.checks.leading(leads).view
    if blocked.finding.answer is Answer.CLOSE:
        piece, required = piece_at(view, leads, witness.place), _by_how_much(blocked, witness)
        return fact("too-close", piece=piece, solid=witness.solid, required=required), {"solid": witness.solid}
    worst = deepest(blocked.rows, witness)
    piece = piece_at(view, leads, place_of(blocked.rows, witness.row, worst.s, worst.t))
    near = contact(worst.clearance, witness.needed, witness.solid)
    met = fact("met", piece=piece, contact=near, when=_when(blocked, worst.t))
    return met, {"solid": witness.solid, "depth": round(-worst.clearance, 1)}


def _by_how_much(blocked: Blocked, witness: Witness) -> Fact:
    """Return what is asked of a pair that is too close to call, and what would have to be asked for it to be clear."""
    rows, pressing = blocked.rows, witness.needed < 0.0
    assert rows is not None  # asked only of what was certified
    here = witness.row
    pair = (rows.motion == rows.motion[here]) & (rows.solid == rows.solid[here]) & (rows.needed == witness.needed)
    rows = rows.take(pair & (rows.clamp == rows.clamp[here]))
    for less in LESS:
        if all(f.answer is Answer.CLEAR for f in certify(replace(rows, needed=rows.needed - less)).findings.values()):
            enough = witness.needed - less
            if pressing:
                allowed = kept(-witness.needed)
                return fact("clear-with-more-allowed", allowed=allowed, enough=needed(-enough), more=needed(less))
            asked = needed(witness.needed)
            return fact("clear-with-less-required", needed=asked, enough=kept(enough), less=needed(less))
    if pressing:
        return fact("may-press-in", allowed=kept(-witness.needed))
    return fact("required", needed=needed(witness.needed))


def _looked(nogood: NoGood, blocked: Blocked) -> Fact | None:
    """Return, where there is more than one way, that none goes, or which were tried."""
    proved = nogood.grade == "proved"
    if blocked.doing in ("move", "no path", "load", "unload"):
        return fact("by-any-path" if proved else "along-the-paths-tried")
    if blocked.doing == "return":
        return fact("however-run-forward" if proved else "in-any-way-tried")
    return None


def made_last(nogood: NoGood) -> int:
    """Return the bend that a no-good tells of, counted from the leading end.

    Where the arm cannot go home with a tube that stays in, that is the bend before the one that cannot follow.
    """
    evidence, pattern = nogood.evidence, nogood.pattern
    homing = isinstance(evidence, Struck) and any(entry.doing == "return" for entry in evidence.blocked)
    return pattern.bend - 1 if homing and pattern.event is Event.LINK else pattern.bend


def deepest_blocked(evidence: Struck) -> Blocked:
    """Return what blocked the longest clamp, the first that would have been taken, of those that stand in the way."""
    homing = [entry for entry in evidence.blocked if entry.doing == "return"]
    return homing[0] if homing else evidence.blocked[0]


def _formed(case: Case, nogood: NoGood, blocked: Blocked) -> Fact | None:
    """Return which bends must be formed for it, and which one not."""
    pattern = nogood.pattern
    low, high = pattern.ahead
    last = made_last(nogood) + (1 if blocked.doing == "return" else 0)
    made = tuple(sorted(case.number(pattern.leads, one) for one in range(high, last)))
    unmade = case.number(pattern.leads, low - 1) if low > 1 else None
    return fact("formed", made=made, unmade=unmade) if made or unmade else None


def _when(blocked: Blocked, t: float) -> Fact:
    """Return when in the motion."""
    motion = blocked.motion
    arm, y, roll = (pair[0] + t * (pair[1] - pair[0]) for pair in (motion.arm, motion.y, motion.rotation))
    if motion.phase is Phase.BEND:
        return fact("into-the-swing", angle=angle(arm, 0))
    if motion.phase is Phase.RETURN:
        return fact("arm-at", angle=angle(arm, 0))
    if motion.phase is Phase.PLACE and motion.rotation[0] != motion.rotation[1]:
        return fact("into-the-rotation", angle=angle(abs(roll), 0), advance=length(y))
    if motion.phase is Phase.PLACE:
        return fact("at-an-advance", advance=length(y))
    known = {Phase.OPEN: "while-dies-open", Phase.RUN: "as-the-carriage-runs", Phase.DROP: "as-the-die-drops"}
    return fact(known[motion.phase]) if motion.phase in known else fact("at", phase=motion.phase.value)
