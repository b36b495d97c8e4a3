"""The claim of a proof document: that no plan is below its bound, or that there is none at all.

All orders are looked at, by dynamic programming (`fewest`), with the shop rules asked anew and the no-goods that were
confirmed, for every pair of trims that stands for those that can be cut (`Shop.pairs`, and those that the document
tells apart). Handling time is not audited.

What the claim speaks of is the planner's model: trims in whole millimetres or all that is allowed; a rotation goes the
shorter or the longer way round, never more than a whole turn; at a re-grip the open chuck is turned back to 0; a hold
stands as far back as its first bend and the stock allow. On a bender without a mandrel and without a carriage the
formed bends need be no run of neighbours: there only what cannot be less than nothing may be claimed, and that a bend
cannot be made in any order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from planner.audit.asked import largest_angle, pressure_die, rated_capacity, shortest_grip, shortest_tail
from planner.audit.carried import confirm_plan
from planner.audit.fewest import NO, Fewest
from planner.audit.order import Orders, in_words
from planner.audit.patterns import Pattern, read_pattern
from planner.audit.refused import Refused
from planner.audit.shop import ENDS, End, Pair, Shop, other
from planner.audit.tables import Tables
from planner.tolerances import SAME_TRIM

VERDICTS = ("makeable", "not makeable", "undecided")
PREFERENCES = ("fewer re-clamps", "less trim")
MOST_AT_ONCE = 512
"""Pairs of trims that are looked at in one go."""


class Bound(NamedTuple):
    """What no plan is below: trim that nobody has stated [mm] before all, then re-clamps and all the trim [mm] as
    `prefer` counts them.
    """

    reclamps: int
    trim: float
    unasked: float = 0.0


def confirm_claim(document: Mapping[str, Any], shop: Shop, no_goods: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """Confirm the claim of a document and that its plan is what the claim says; return what was looked at.

    no_goods: those that are confirmed, as the document writes them. Raises Refused.
    """
    claim, plan = document["claim"], document["plan"]
    patterns = [read_pattern(record, shop.n) for record in no_goods]
    prefer, bound = claim["prefer"], read_bound(claim["bound"])
    if prefer not in PREFERENCES:
        raise Refused(f'the claim prefers "{prefer}": {PREFERENCES[0]} or {PREFERENCES[1]} are there to prefer.')
    if claim["verdict"] not in VERDICTS:
        raise Refused(f'"{claim["verdict"]}" is no verdict.')
    if claim["verdict"] != plan["verdict"]:
        raise Refused(f'the claim is "{claim["verdict"]}", the plan\'s verdict "{plan["verdict"]}".')
    if claim["verdict"] != "makeable" and (claim["reclamps"], claim["trim"]) != (None, None):
        raise Refused("the claim tells the re-clamps or the trim of a plan that there is not.")
    confirm_plan(document, shop, patterns)
    confirm_flags(plan, shop, prefer, bound)
    if claim["verdict"] == "undecided" and bound is None:
        return {"states": 0}  # it claims nothing
    if not shop.runs_only:
        _confirm_any_order(shop, bound)
        return {"states": 0}
    pairs = pairs_to_try(shop, claim["trims"], patterns)
    return {"states": confirm_bound(shop, patterns, pairs, prefer, bound)}


def read_bound(record: Any) -> Bound | None:
    """Return the bound that a document writes."""
    if record is None:
        return None
    reclamps, trim, unasked = record["reclamps"], float(record["trim"]), float(record.get("unasked", 0.0))
    finite = math.isfinite(trim) and math.isfinite(unasked)
    if isinstance(reclamps, bool) or not isinstance(reclamps, int) or not finite:
        raise Refused(f"a bound of {reclamps} re-clamps and {trim} mm of trim, {unasked} of it unasked, is none.")
    return Bound(reclamps, trim, unasked)


def pairs_to_try(shop: Shop, told_apart: Sequence[Sequence[float]], no_goods: Sequence[Pattern]) -> list[Pair]:
    """Return pairs of trims that stand for all that can be cut (see `Shop.pairs`), and those of the document [mm].

    Where a no-good speaks of trims up to a length only, the next trim beyond is one of them.
    """
    values = {end: set(shop.break_points(end)) for end in ENDS}
    for pattern in no_goods:
        for end in ENDS:
            beyond = pattern.span_at(end)[1]
            if 0.0 <= beyond < shop.allowed(end):
                values[end].add(min(math.floor(beyond) + 1.0, shop.allowed(end)))
    pairs = {(a, b) for a in values["A"] for b in values["B"]}
    for a, b in told_apart:
        if not (0.0 <= a <= shop.allowed("A") + SAME_TRIM and 0.0 <= b <= shop.allowed("B") + SAME_TRIM):
            raise Refused(f"trims of {a:g} and {b:g} mm are told apart: more than is allowed, or less than nothing.")
        pairs.add((float(a), float(b)))
    return sorted(pairs, key=lambda pair: (pair[0] + pair[1], pair))


def confirm_bound(
    shop: Shop, no_goods: Sequence[Pattern], pairs: Sequence[Pair], prefer: str, bound: Bound | None
) -> int:
    """Confirm that no order with any of the pairs of trims is below a bound; None: that there is no order.

    Returns how many states were looked at. Raises Refused, with an order that is below it.
    """
    states, best = 0, None
    for first in range(0, len(pairs), MOST_AT_ONCE):
        some = pairs[first : first + MOST_AT_ONCE]
        found = Fewest(Tables(shop, some, no_goods))
        states += found.states
        for trims, reclamps in zip(some, found.fewest.tolist(), strict=True):
            if reclamps < NO and (best is None or key(shop, prefer, reclamps, trims) < key(shop, prefer, *best)):
                best = (reclamps, trims)
    if best is not None and (bound is None or _below(shop, prefer, best, bound)):
        raise Refused(_not_excluded(shop, no_goods, best, bound))
    return states


def key(shop: Shop, prefer: str, reclamps: int, trims: Pair) -> tuple[float, float, float]:
    """Return by what orders are compared: unasked trim, re-clamps and trim [mm], what counts first in front."""
    total, unasked = trims[0] + trims[1], shop.more(trims)
    return (unasked, float(reclamps), total) if prefer == "fewer re-clamps" else (unasked, total, float(reclamps))


def _below(shop: Shop, prefer: str, best: tuple[int, Pair], bound: Bound) -> bool:
    """Say whether an order is below a bound, trims that are the same within rounding being no less."""
    reclamps, trim, unasked = best[0], best[1][0] + best[1][1], shop.more(best[1])
    if abs(unasked - bound.unasked) > SAME_TRIM:
        return unasked < bound.unasked
    fewer, less = reclamps < bound.reclamps, trim < bound.trim - SAME_TRIM
    if prefer == "fewer re-clamps":
        return fewer or (reclamps == bound.reclamps and less)
    return less or (trim <= bound.trim + SAME_TRIM and fewer)


def _not_excluded(shop: Shop, no_goods: Sequence[Pattern], best: tuple[int, Pair], bound: Bound | None) -> str:
    reclamps, trims = best
    found = Orders(shop, trims, no_goods).first()
    order = "" if found is None else f": {in_words(shop, found[1])}"
    claimed = "there is no plan"
    if bound is not None:
        asked = f" ({bound.unasked:g} mm of it unasked)" if bound.unasked else ""
        claimed = f"none is below {bound.reclamps} re-clamps, {bound.trim:g} mm{asked}"
    return (
        f"{claimed}, it says, but an order with {reclamps} re-clamps and trims of {trims[0]:g} mm at A and"
        f" {trims[1]:g} mm at B is not excluded{order}."
    )


def _confirm_any_order(shop: Shop, bound: Bound | None) -> None:
    """Confirm what can be claimed where the formed bends need be no run of neighbours."""
    if bound is None:
        if not any(impossible(shop, number) for number in range(1, shop.n + 1)):
            raise Refused("there is no plan, it says, but no bend breaks a rule in every order there is.")
    elif bound.reclamps > 0 or max(bound.trim, bound.unasked) > SAME_TRIM:
        raise Refused(
            f"none is below {bound.reclamps} re-clamps, {bound.trim:g} mm, it says, but without a mandrel and a"
            " carriage there are more orders than were looked at."
        )


def impossible(shop: Shop, number: int) -> bool:
    """Say whether a bend (from end A) breaks a rule in every order, at its best: with all the trim that is allowed.

    The bend nearest the end that leads has nothing ahead of it, so that the clamp must hold the shortest grip there.
    """

    def broken(leads: End) -> bool:
        bend = shop.number(leads, number)
        rules = [rated_capacity(shop), largest_angle(shop, leads, bend), pressure_die(shop, leads, bend)]
        rules.append(shortest_tail(shop, leads, bend))
        if bend == 1:
            rules.append(shortest_grip(shop, leads, bend))
        return any(not rule.keeps(shop.allowed(leads if rule.of == "lead" else other(leads))) for rule in rules)

    return all(broken(end) for end in ENDS)


def confirm_flags(plan: Mapping[str, Any], shop: Shop, prefer: str, bound: Bound | None) -> None:
    """Confirm what the plan says is proved: never more than the bound shows. Its time is not audited."""
    verdict, proved = plan["verdict"], plan["proved"]
    flags = {name: proved[name] for name in ("makeable", "reclamps", "trim", "time")}
    if any(not isinstance(flag, bool) for flag in flags.values()):
        raise Refused(f"what is proved must be true or false, not {flags}.")
    if verdict == "undecided" and any(flags.values()):
        raise Refused("it is undecided, but says that something is proved.")
    if verdict == "not makeable" and (bound is not None or flags["reclamps"] or flags["trim"] or flags["time"]):
        raise Refused("it is not makeable, but speaks of plans: of a bound, or of what is proved of one.")
    if verdict != "makeable":
        return
    if bound is None:
        raise Refused("it is makeable, but the claim is that there is no plan.")
    if flags["makeable"] and shop.machine.mandrel is None:
        raise Refused("without a mandrel putting in and taking out are not checked: makeable cannot be proved.")
    trims = (float(plan["stock"]["trim_a"]), float(plan["stock"]["trim_b"]))
    reclamps, trim, same = plan["reclamps"], sum(trims), abs(shop.more(trims) - bound.unasked) <= SAME_TRIM
    least = {"reclamps": reclamps == bound.reclamps, "trim": abs(trim - bound.trim) <= SAME_TRIM}
    first, second = ("reclamps", "trim") if prefer == "fewer re-clamps" else ("trim", "reclamps")
    least[first] = least[first] and same
    least[second] = least[second] and least[first]
    least["reclamps"] = least["reclamps"] or reclamps == 0  # it cannot be less than nothing
    for name in ("reclamps", "trim"):
        if flags[name] and not least[name]:
            raise Refused(
                f"{name} are said to be the least there are: the plan has {reclamps} re-clamps and {trim:g} mm, the"
                f" bound is {bound.reclamps} and {bound.trim:g} mm."
            )
