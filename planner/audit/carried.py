"""The plan itself, as its steps carry it out: the order, its re-clamps, and every shop rule as it is printed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from planner.audit.asked import broken_by
from planner.audit.patterns import Pattern
from planner.audit.patterns import in_words as pattern_words
from planner.audit.refused import Refused
from planner.audit.shop import Arrival, Pair, Shop
from planner.inputs.machine import Carriage
from planner.tolerances import WRITTEN


@dataclass(frozen=True)
class Made:
    """One bend as the steps make it.

    arrival: what it is in the order; step: its step; grip: collet's face to the tail's end [mm], None on a hand-fed
    bender; placed: collet's face to tangent point when the tube was last moved there [mm], None if it was laid in;
    regrip: the step of a re-grip at its end, if there is one.
    """

    arrival: Arrival
    step: Mapping[str, Any]
    grip: float | None
    placed: float | None
    regrip: Mapping[str, Any] | None


def confirm_plan(document: Mapping[str, Any], shop: Shop, no_goods: Sequence[Pattern]) -> None:
    """Confirm that the plan is what the claim says it is and keeps every shop rule, as printed. Raises Refused."""
    plan, claim = document["plan"], document["claim"]
    if plan["stock"] is None:
        if plan["verdict"] == "makeable" or plan["steps"] or plan["order"] or claim["reclamps"] is not None:
            raise Refused("there is no stock to cut for a plan.")
        return
    if plan["verdict"] == "not makeable":
        raise Refused("it is not makeable, but there is a plan.")
    trims = _trims(plan, shop)
    if claim["trim"] is None or not _near(claim["trim"], sum(trims)):
        raise Refused(f"the claim speaks of {claim['trim']} mm of trim, the plan has {sum(trims):g} mm.")
    made = list(_carried_out(plan["steps"], shop))
    ordered = [{"bend": shop.number(m.arrival.leads, m.arrival.bend), "leads": m.arrival.leads} for m in made]
    if ordered != plan["order"]:
        raise Refused(f"the steps make the bends in another order than the plan says: {ordered}.")
    if len(made) != shop.n:
        raise Refused(f"the steps make {len(made)} bends of {shop.n}.")
    _count(plan, claim, made)
    before: Arrival | None = None
    for bend in made:
        _keeps_rules(shop, bend, before, trims, no_goods)
        _keeps_reach(shop, bend, shop.length + (trims[1] if bend.arrival.leads == "A" else trims[0]))
        before = bend.arrival
    _keeps_chuck(plan["steps"], shop)


def _trims(plan: Mapping[str, Any], shop: Shop) -> Pair:
    """Return the trims at A and B [mm], and hold the length to cut against them."""
    stock = plan["stock"]
    trims = (float(stock["trim_a"]), float(stock["trim_b"]))
    if tuple(stock.get("unasked", ())) != shop.unasked:
        raise Refused(f"the trim of ends {list(stock['unasked'])} is said to be unasked, {list(shop.unasked)} are.")
    for end, trim, most in (("A", trims[0], shop.allowed("A")), ("B", trims[1], shop.allowed("B"))):
        if not 0.0 <= trim <= most + WRITTEN:
            raise Refused(f"{trim:g} mm of trim at end {end}: {most:g} mm are allowed.")
    if not _near(stock["developed_length"], shop.length):
        raise Refused(f"the developed length is {shop.length:.6f} mm, not {stock['developed_length']:.6f} mm.")
    if not _near(stock["cut_length"], shop.length + sum(trims)):
        raise Refused(f"{shop.length + sum(trims):.6f} mm are to be cut, not {stock['cut_length']:.6f} mm.")
    cut = sorted(step["amount"] for step in plan["steps"] if step["action"] == "trim")
    if not _alike(cut, sorted(trim for trim in trims if trim > 0.0)):
        raise Refused(f"the steps cut {cut} mm off the ends, the trims are {trims[0]:g} and {trims[1]:g} mm.")
    return trims


def _near(some: float, other: float, off: float = WRITTEN) -> bool:
    """Say whether two numbers are the same; what is no number is the same as none."""
    return abs(some - other) <= off


def _alike(some: Sequence[float], others: Sequence[float]) -> bool:
    return len(some) == len(others) and all(map(_near, some, others))


def _carried_out(steps: Sequence[Mapping[str, Any]], shop: Shop) -> Iterator[Made]:
    """Yield the bends as the steps make them, one after the other."""
    formed: set[int] = set()
    event, leads, hold, released = None, "", (0, "load"), False
    grip: float | None = None
    placed: float | None = None
    base, last, gripped = 0.0, None, False
    for place, step in enumerate(steps):
        action = step["action"]
        grip = grip if step["grip"] is None else float(step["grip"])
        if action in ("load", "turn", "reload"):
            _hold_load(step, event, leads)
            event, leads, base, last, placed = action, step["leads"], 0.0, None, None
        elif action == "carriage forward" or (action in ("advance", "rotate") and step["bend"] is not None):
            placed = step["to"]["face"]
        elif action == "close dies":
            gripped = True
        elif action == "open collet":
            released = gripped  # otherwise it is opened to take the tube off
        elif action == "re-grip":
            base, hold = step["to"]["rotation"], (0, "re-grip")
        elif action == "bend":
            if event is None or step["leads"] != leads:
                raise Refused(f"step {step['number']} bends with end {step['leads']} leading; {leads} is loaded.")
            seen = shop.number("A" if leads == "A" else "B", step["bend"])
            if last is None:
                hold = (seen, "load")
            elif hold[0] == 0:
                hold = (seen, "re-grip")
            made = _arrival(shop, step, formed, "link" if last is not None else event, hold, base, released)
            formed.add(step["bend"])
            gripped = False
            yield Made(made, step, grip, placed, _regrip_after(steps[place + 1 :]))
            base, last = step["to"]["rotation"], step["bend"]


def _hold_load(step: Mapping[str, Any], event: str | None, leads: str) -> None:
    """Hold a step that begins a load against the loads before it."""
    action, new = step["action"], step["leads"]
    if new not in ("A", "B"):
        raise Refused(f'step {step["number"]} loads the tube with end "{new}" leading.')
    if (action == "load") != (event is None):
        raise Refused(f"step {step['number']} is a {action}: the first load, and only that, is called so.")
    if event is not None and (action == "turn") != (new != leads):
        raise Refused(f"step {step['number']} is a {action}, with end {leads} leading before and {new} after it.")


def _arrival(
    shop: Shop,
    step: Mapping[str, Any],
    formed: set[int],
    event: str,
    hold: tuple[int, str],
    base: float,
    released: bool,
) -> Arrival:
    """Return what a bend is in the order; base: where the chuck stood before it [deg]."""
    leads, n = step["leads"], shop.n
    number = step["bend"]
    if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= n or number in formed:
        raise Refused(f"step {step['number']} makes bend {number}: there are {n}, each made once.")
    bend = shop.number(leads, number)
    ahead = min((shop.number(leads, one) for one in formed), default=bend)
    if {shop.number(leads, one) for one in formed} != set(range(ahead, bend)):
        raise Refused(f"step {step['number']} makes bend {number}, which is not next behind those that are formed.")
    if released and (len(formed) != n - 1 or not shop.may_release):
        raise Refused(f"the collet is open at bend {number}: it may be for the job's last bend, if at all.")
    way = 0
    if event == "link":
        way = _way(shop, leads, bend, step, step["from"]["rotation"] - base)
    return Arrival(event, leads, bend, ahead, *hold, way, released)


def _way(shop: Shop, leads: Any, bend: int, step: Mapping[str, Any], turned: float) -> int:
    """Return which way round the rotation to a bend goes: 0 the shorter, 1 the longer; turned: how far [deg]."""
    roll = math.degrees(shop.at(leads, bend).roll)
    off = math.degrees(shop.machine.rotation.resolution) + WRITTEN
    if not _near(math.remainder(turned - roll, 360.0), 0.0, off):
        raise Refused(
            f"before step {step['number']} the tube is rotated by {turned:.3f}°; the drawing asks for {roll:.3f}°."
        )
    return int(shop.chuck is not None and abs(turned - roll) > 180.0 and abs(roll) > off)


def _regrip_after(steps: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """Return the step of a re-grip at the end of a bend: before the next bend or load."""
    for step in steps:
        if step["action"] in ("bend", "load", "turn", "reload"):
            return None
        if step["action"] == "re-grip":
            return step
    return None


def _count(plan: Mapping[str, Any], claim: Mapping[str, Any], made: Sequence[Made]) -> None:
    """Hold the re-clamps that the plan says against those of its steps."""
    counts = {
        "turns": sum(bend.arrival.event == "turn" for bend in made),
        "reloads": sum(bend.arrival.event == "reload" for bend in made),
        "regrips": sum(step["action"] == "re-grip" for step in plan["steps"]),
        "released": sum(bend.arrival.released for bend in made),
    }
    for name, count in counts.items():
        if plan[name] != count:
            raise Refused(f"the steps have {count} {name}, the plan says {plan[name]}.")
    total = sum(counts.values())
    if plan["reclamps"] != total or claim["reclamps"] != total:
        raise Refused(
            f"the steps have {total} re-clamps, the plan says {plan['reclamps']}, the claim {claim['reclamps']}."
        )
    if counts["regrips"] != sum(bend.arrival.regripped for bend in made):
        raise Refused("there is a re-grip after which no bend is made in the same load.")


def _keeps_rules(shop: Shop, bend: Made, before: Arrival | None, trims: Pair, no_goods: Sequence[Pattern]) -> None:
    """Hold one bend against the shop rules and the no-goods."""
    arrival, step = bend.arrival, bend.step
    broken = broken_by(shop, arrival, before, trims)
    if broken:
        rule, numbers = broken[0]
        raise Refused(f'step {step["number"]} breaks the rule "{rule}": {numbers}.')
    for pattern in no_goods:
        if pattern.matches(arrival, before, trims):
            raise Refused(f"step {step['number']} is what a no-good forbids: {pattern_words(pattern)}.")
    lead = trims[0] if arrival.leads == "A" else trims[1]
    if step["clamp"] not in shop.clamps_for(arrival.leads, arrival.bend, arrival.ahead, lead):
        raise Refused(f"the clamp of {step['clamp']} mm at step {step['number']} does not fit.")
    at = shop.at(arrival.leads, arrival.bend)
    setting, off = math.degrees(at.printed), math.degrees(shop.machine.rotation.resolution) + WRITTEN
    if not _near(step["angle"], math.degrees(at.angle)) or not _near(step["setting"], setting, off):
        raise Refused(f"step {step['number']} bends to {step['angle']}°, set to {step['setting']}°.")
    largest = math.degrees(shop.machine.head.largest_angle)
    if step["setting"] < step["angle"] - WRITTEN or step["setting"] > largest + WRITTEN:
        raise Refused(f"step {step['number']} is set to {step['setting']}° for {step['angle']}°.")


def _keeps_reach(shop: Shop, bend: Made, stock: float) -> None:
    """Hold the collet's places at one bend against the carriage's reach; stock: length of the tube to its tail [mm]."""
    carriage, at = shop.carriage, shop.at(bend.arrival.leads, bend.arrival.bend)
    number = bend.step["number"]
    if carriage is None:
        return
    if bend.grip is None:
        raise Refused(f"step {number} does not say where the collet holds the tube.")
    _fills(carriage, bend.grip, number)
    off = shop.n * shop.machine.advance.resolution + WRITTEN  # the rounded places' errors are carried, not added up
    if not bend.arrival.released:
        face, end = float(bend.step["from"]["face"]), float(bend.step["to"]["face"])
    else:  # laid in at the bend, the face stands where the grip says, as near as the readout shows it
        face = end = stock - bend.grip - at.start if bend.placed is None else float(bend.placed)
    if not _near(stock - bend.grip - face, at.start, off):
        raise Refused(f"at step {number} the collet's face stands {face:.3f} mm off: its grip says otherwise.")
    _reaches(carriage, face, end, off if bend.arrival.released and bend.placed is None else WRITTEN, number)
    if bend.regrip is not None:
        moved = float(bend.regrip["to"]["face"])
        back = at.radius * math.radians(bend.step["setting"] - bend.step["angle"])
        _fills(carriage, float(bend.regrip["grip"]), bend.regrip["number"])
        _reaches(carriage, moved + back, moved, WRITTEN, bend.regrip["number"])


def _fills(carriage: Carriage, grip: float, number: int) -> None:
    """The tube fills the collet, and reaches out behind it only where it can."""
    most = math.inf if carriage.passes_through else carriage.grip_length + WRITTEN
    if not carriage.grip_length - WRITTEN <= grip <= most:
        raise Refused(
            f"at step {number} the collet holds {grip:.3f} mm before the tail's end, {carriage.grip_length:g} it takes."
        )


def _reaches(carriage: Carriage, farthest: float, nearest: float, off: float, number: int) -> None:
    closest, most = carriage.reach
    if not (closest - off <= nearest and farthest <= most + off):
        raise Refused(
            f"at step {number} the collet's face stands {farthest:.3f} to {nearest:.3f} mm from the tangent point;"
            f" it reaches {most:g} to {closest:g} mm."
        )


def _keeps_chuck(steps: Sequence[Mapping[str, Any]], shop: Shop) -> None:
    """Hold the chuck's angle against its range at every step that the collet turns the tube."""
    if shop.chuck is None:
        return
    low, high = (math.degrees(angle) for angle in shop.chuck)
    for step in steps:
        if step["bend"] is None or step["from"] is None:
            continue  # in free hands
        for angle in (step["from"]["rotation"], step["to"]["rotation"]):
            if not low - WRITTEN <= angle <= high + WRITTEN:
                raise Refused(
                    f"at step {step['number']} the chuck stands at {angle:.3f}°: its range is {low:g}° to {high:g}°."
                )
