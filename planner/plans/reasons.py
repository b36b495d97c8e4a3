"""Sentences: what failed, at which bend, with its numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.clearance.bounds import Cells, bounds
from planner.clearance.certify import place_of
from planner.clearance.rows import Rows
from planner.clearance.verdicts import Answer, Witness
from planner.inputs.part import Part
from planner.plans.document import OrderedBend, Reason
from planner.rules.broken import Broken, End
from planner.search.orders import Order
from planner.search.trial import Failure, Trial
from planner.tube.motions import Phase

GRID = 41
"""Points a side of the grid on which the deepest point of a strike is sought."""

ROUNDS = 4
"""Times the grid is drawn closer about the deepest point."""


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


@dataclass(frozen=True)
class Deepest:
    """The worst point near a witness: arc length s [mm], t, clearance [mm]."""

    s: float
    t: float
    clearance: float


def deepest(rows: Rows, witness: Witness) -> Deepest:
    """Return the deepest point of a strike over the whole of its row, by a grid drawn closer about the worst point."""
    piece, block = rows.pieces[:, rows.piece[witness.row]], rows.blocks[:, rows.block[witness.row]]
    low, high = np.array([piece[10], block[10]]), np.array([piece[11], block[11]])
    best = Deepest(witness.s, witness.t, witness.clearance)
    near, far = low, high
    for _ in range(ROUNDS):
        s, t = (a.ravel() for a in np.meshgrid(np.linspace(near[0], far[0], GRID), np.linspace(near[1], far[1], GRID)))
        zero = np.zeros_like(s)
        found = bounds(rows, Cells(np.full(s.shape, witness.row), s, zero, t, zero)).upper
        k = int(found.argmin())
        if found[k] < best.clearance:
            best = Deepest(float(s[k]), float(t[k]), float(found[k]))
        step = (far - near) / (GRID - 1)
        centre = np.array([best.s, best.t])
        near, far = np.maximum(centre - step, low), np.minimum(centre + step, high)
    return best


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


def from_failure(trial: Trial, failure: Failure) -> Reason:
    """Return what kept an order from being carried out as a reason with its numbers."""
    order = trial.stationed.ready.order
    leads = order[failure.load].leads
    number, finding = failure.station.number, failure.finding
    may_ease_off = trial.stationed.ready.case.machine.head.may_ease_off
    eased = " in any way tried" if may_ease_off else ""
    doing = {
        "bend": f"Bend {number} cannot be made",
        "return": f"The arm cannot go home after bend {number}{eased}",
        "move": f"The tube cannot be brought to bend {number} along the paths tried",
        "no path": f"The tube cannot be brought to bend {number} along the paths tried",
    }[failure.doing]
    opening = f"{doing} with end {leads} leading{_formed_before(order, failure)}"
    extra = {"bend": number, "leads": leads, "order": ordered(order)}
    witness = finding.witness
    if witness is None or failure.rows is None:
        sentence = f"{opening}: the straight before it leaves no room to rotate ({failure.station.advance:.1f} mm)."
        return Reason(sentence=sentence, grade="unproved", rule="no path found", **extra)
    view = trial.stationed.view(failure.load)
    if finding.answer is Answer.CLOSE:
        name = place_name(view, leads, witness.place)
        sentence = (
            f"{opening}: {name} against {the(witness.solid)} is too close to call, {max(witness.needed, 0.0):.1f} mm"
            " required."
        )
        return Reason(sentence=sentence, grade="unproved", rule="too close to call", solid=witness.solid, **extra)
    worst = deepest(failure.rows, witness)
    place = place_of(failure.rows, witness.row, worst.s, worst.t)
    what = touching(worst.clearance, witness.needed, witness.solid)
    sentence = f"{opening}: {place_name(view, leads, place)} {what}{_when(failure, worst.t)}."
    some_ways = failure.doing == "move" or (failure.doing == "return" and may_ease_off)
    grade = "unproved" if some_ways else "proved"
    return Reason(
        sentence=sentence, grade=grade, rule="strike", solid=witness.solid, depth=round(-worst.clearance, 1), **extra
    )


def _formed_before(order: Order, failure: Failure) -> str:
    """Say which bends are formed by then."""
    made: list[int] = []
    for number, run in enumerate(order):
        if number == failure.load:
            made.extend(run.bends[: run.bends.index(failure.station.number)])
            break
        made.extend(run.bends)
    if failure.doing == "return":
        made.append(failure.station.number)
    if not made:
        return ""
    return f" once bend {made[0]} is formed" if len(made) == 1 else f" once bends {_listed(sorted(made))} are formed"


def _listed(numbers: Sequence[int]) -> str:
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return ", ".join(str(n) for n in numbers[:-1]) + f" and {numbers[-1]}"


def _when(failure: Failure, t: float) -> str:
    """Say when in the motion."""
    motion = failure.motion
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
    return f", while {motion.phase.value}" if motion.phase is Phase.OPEN else f", at {motion.phase.value}"
