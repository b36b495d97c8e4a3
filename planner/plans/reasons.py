"""Sentences: what failed, at which bend, with its numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from planner.clearance.certify import certify, place_of
from planner.clearance.deepest import deepest
from planner.clearance.verdicts import Answer, Witness
from planner.cuts.strike_cuts import Struck
from planner.feasibility.bend_check import Blocked
from planner.feasibility.orders import Case, Order
from planner.inputs.part import Part
from planner.plans.document import OrderedBend, Reason
from planner.rules.broken import Broken, End
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
    return Reason(
        sentence=broken.sentence,
        grade="proved",
        rule=broken.rule,
        bend=broken.bend,
        leads=broken.leads,
        order=() if order is None else ordered(order),
    )


def place_name(view: Part, leads: End, place: float) -> str:
    """Return the piece of tube at a stock coordinate counted from the leading end: "straight 2", "bend 3"."""
    n = view.n_bends
    if place < 0.0:
        return f"the trim at end {leads}"
    if place > view.developed_length:
        return f"the trim at end {'B' if leads == 'A' else 'A'}"
    for i in range(n):
        if place < view.bend_starts[i]:
            return f"straight {i if leads == 'A' else n - i}"
        if place <= view.bend_ends[i]:
            return f"bend {i + 1 if leads == 'A' else n - i}"
    return f"straight {n if leads == 'A' else 0}"


def the(solid: str) -> str:
    """Return a solid's name with its article."""
    return solid if solid.startswith("its ") else f"the {solid}"


def touching(clearance: float, needed: float, solid: str) -> str:
    """Say how near: an overlap strikes, otherwise it comes too near what is required."""
    if clearance < 0.0 and needed >= 0.0:
        return f"strikes {the(solid)}, {-clearance:.1f} mm deep"
    if needed < 0.0:
        return f"presses {-clearance:.1f} mm into {the(solid)}, {-needed:.1f} allowed"
    return f"comes within {max(clearance, 0.0):.1f} mm of {the(solid)}, {needed:.1f} required"


DOING = {
    "bend": "Bend {number} cannot be made",
    "return": "The arm cannot go home after bend {number}",
    "move": "The tube cannot be brought to bend {number}",
    "no path": "The tube cannot be brought to bend {number}",
    "load": "The tube cannot be put on for bend {number}",
    "unload": "The tube cannot be taken off after bend {number}",
    "carriage run": "The carriage cannot run along the tail at bend {number}",
}


def from_nogood(search: Search, nogood: NoGood) -> Reason:
    """Return a no-good as a reason: a shop rule as it stands, a strike with its numbers and what is formed for it."""
    pattern, evidence = nogood.pattern, nogood.evidence
    number = search.case.number(pattern.leads, made_last(nogood))
    at = {"bend": number, "leads": pattern.leads, "grade": nogood.grade, "rule": nogood.rule}
    if not isinstance(evidence, Struck):
        return Reason(sentence=nogood.sentence, **at)
    blocked = deepest_blocked(evidence)
    opening = DOING[blocked.doing].format(number=number) + _looked(nogood, blocked)
    opening = f"{opening} with end {pattern.leads} leading{_formed(search.case, nogood, blocked)}"
    witness = blocked.finding.witness
    if witness is None or blocked.rows is None:
        advance = evidence.attempt.station.advance
        sentence = f"{opening}: the straight before it leaves no room to rotate ({advance:.1f} mm)."
        return Reason(sentence=sentence, **at)
    view = search.checks.leading(pattern.leads).view
    if blocked.finding.answer is Answer.CLOSE:
        name = place_name(view, pattern.leads, witness.place)
        sentence = (
            f"{opening}: {name} against {the(witness.solid)} is too close to call, {_by_how_much(blocked, witness)}."
        )
        return Reason(sentence=sentence, solid=witness.solid, **at)
    worst = deepest(blocked.rows, witness)
    place = place_of(blocked.rows, witness.row, worst.s, worst.t)
    what = touching(worst.clearance, witness.needed, witness.solid)
    sentence = f"{opening}: {place_name(view, pattern.leads, place)} {what}{_when(blocked, worst.t)}."
    return Reason(sentence=sentence, solid=witness.solid, depth=round(-worst.clearance, 1), **at)


def _by_how_much(blocked: Blocked, witness: Witness) -> str:
    """Say what is proved of a pair that is too close to call, and what would have to be required of it to be clear."""
    rows = blocked.rows
    assert rows is not None  # asked only of what was certified
    here = witness.row
    pair = (rows.motion == rows.motion[here]) & (rows.solid == rows.solid[here]) & (rows.needed == witness.needed)
    rows = rows.take(pair & (rows.clamp == rows.clamp[here]))
    wanted = f"{-witness.needed:.1f} mm may press in" if witness.needed < 0.0 else f"{witness.needed:.1f} mm required"
    for less in LESS:
        if all(f.answer is Answer.CLEAR for f in certify(replace(rows, needed=rows.needed - less)).findings.values()):
            enough = witness.needed - less
            asked = f"{enough:.1f} mm required, {less:.1f} mm less"
            if witness.needed < 0.0:
                asked = f"{-enough:.1f} mm allowed, {less:.1f} mm more"
            return f"{wanted}; with {asked}, this would be clear"
    return wanted


def _looked(nogood: NoGood, blocked: Blocked) -> str:
    """Say, where there is more than one way, that none goes, or which were tried."""
    proved = nogood.grade == "proved"
    if blocked.doing in ("move", "no path", "load", "unload"):
        return " by any path" if proved else " along the paths tried"
    if blocked.doing == "return":
        return ", however the tube is run forward meanwhile," if proved else " in any way tried"
    return ""


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


def _formed(case: Case, nogood: NoGood, blocked: Blocked) -> str:
    """Say which bends must be formed for it, and which not."""
    pattern = nogood.pattern
    low, high = pattern.ahead
    bend = made_last(nogood)
    made = [case.number(pattern.leads, one) for one in range(high, bend)]
    if blocked.doing == "return":
        made.append(case.number(pattern.leads, bend))
    said = ""
    if made:
        said = (
            f" once bend {made[0]} is formed" if len(made) == 1 else f" once bends {_listed(sorted(made))} are formed"
        )
    if low > 1:
        behind = case.number(pattern.leads, low - 1)
        said += f" and bend {behind} is not" if made else f" while bend {behind} is not formed"
    return said


def _listed(numbers: Sequence[int]) -> str:
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(str(n) for n in numbers[:-1]) + f" and {numbers[-1]}"


def _when(blocked: Blocked, t: float) -> str:
    """Say when in the motion."""
    motion = blocked.motion
    if motion.phase is Phase.BEND:
        return f", {math.degrees(motion.arm[0] + t * (motion.arm[1] - motion.arm[0])):.0f}° into the swing"
    if motion.phase is Phase.RETURN:
        return f", with the arm at {math.degrees(motion.arm[0] + t * (motion.arm[1] - motion.arm[0])):.0f}°"
    y = motion.y[0] + t * (motion.y[1] - motion.y[0])
    if motion.phase is Phase.PLACE and motion.rotation[0] != motion.rotation[1]:
        roll = motion.rotation[0] + t * (motion.rotation[1] - motion.rotation[0])
        return f", {math.degrees(abs(roll)):.0f}° into the rotation at an advance of {y:.1f} mm"
    if motion.phase is Phase.PLACE:
        return f", at an advance of {y:.1f} mm"
    said = {Phase.OPEN: "while dies open", Phase.RUN: "as the carriage runs", Phase.DROP: "as the die drops"}
    return f", {said.get(motion.phase, f'at {motion.phase.value}')}"
