"""The shop rules of a proof document: each forbids what it says it forbids, and rests on the numbers it says.

A rule that is written is confirmed if the rule that it names, asked anew, is broken by every arrival that its pattern
speaks of, whatever the pattern leaves open. A literal too few, or a span too wide, is refused. The claim itself does
not rest on these entries: it asks all rules anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from planner.audit import asked
from planner.audit.asked import Asked
from planner.audit.patterns import LOADED, Pattern, in_words, read_pattern
from planner.audit.refused import Refused
from planner.audit.shop import End, Pair, Shop, other
from planner.tolerances import PROVED_NUMBER, PROVED_SHARE, RULE_SLACK


def confirm_rules(document: Mapping[str, Any], shop: Shop) -> dict[str, int]:
    """Confirm every rule of a document; return how many there are. Raises Refused."""
    told_apart = [(float(a), float(b)) for a, b in document["claim"]["trims"]]
    for entry in document["rules"]:
        _confirm(shop, entry, told_apart)
    return {"rules": len(document["rules"])}


def _confirm(shop: Shop, entry: Mapping[str, Any], told_apart: list[Pair]) -> None:
    pattern = read_pattern(entry, shop.n)
    name, numbers = str(entry["rule"]), entry["numbers"]
    rules = list(_asked(shop, pattern, name, numbers))
    if not rules:
        return  # it speaks of a collet that cannot be opened there: of nothing
    for rule in rules:
        end = pattern.leads if rule.of == "lead" else other(pattern.leads)
        kept = _first_kept(shop, end, pattern.span_at(end), rule)
        if kept is not None:
            raise Refused(
                f'the rule "{name}" is not broken by all that it speaks of, {in_words(pattern)}: it is kept with'
                f" {kept:g} mm of trim at end {end}."
            )
    end = pattern.leads if rules[0].of == "lead" else other(pattern.leads)
    _same_numbers(pattern, name, numbers, rules[0].numbers(_greatest(pattern.span_at(end), end, told_apart)))


def _asked(shop: Shop, pattern: Pattern, name: str, numbers: Mapping[str, Any]) -> Iterator[Asked]:
    """Yield the rule that is named, once for every case that the pattern leaves open."""
    leads, bend = pattern.leads, pattern.bend
    is_regrip = name == "carriage reach" and "face" not in numbers and pattern.event == "re-grip"
    if pattern.event == "re-grip" and not is_regrip:
        raise Refused(f'the rule "{name}" is not one of a re-grip: {in_words(pattern)}.')
    if is_regrip:
        yield asked.regrip_window(shop, leads, bend)
    elif name == "largest angle":
        yield asked.largest_angle(shop, leads, bend)
    elif name == "rated capacity":
        yield asked.rated_capacity(shop)
    elif name == "shortest tail":
        yield asked.shortest_tail(shop, leads, bend)
    elif name == "pressure die":
        yield asked.pressure_die(shop, leads, bend)
    elif name == "clamp longer than the straight":
        _must(pattern.ahead[1] < bend, name, pattern, "with nothing formed ahead the clamp may overhang")
        yield asked.clamp(shop, leads, bend)
    elif name == "one set of dies":
        _must(pattern.event == "link", name, pattern, "with the tube put back other dies may be in the machine")
        yield asked.same_dies(shop, leads, bend)
    elif name == "shortest grip":
        _must(pattern.ahead[0] == bend, name, pattern, "with a bend formed ahead the clamp holds the straight")
        yield asked.shortest_grip(shop, leads, bend)
    elif name == "rod length":
        _must(pattern.event in LOADED, name, pattern, "only at a load does the tube go over the rod")
        yield asked.rod_length(shop, leads, bend)
    elif name == "carriage reach" and "face" in numbers:
        since, begun = _hold(name, pattern)
        yield from (asked.hold(shop, leads, since, begun, bend, released) for released in _released(shop, pattern))
    elif name == "carriage reach":
        yield from (asked.window(shop, leads, bend, released) for released in _released(shop, pattern))
    elif name == "chuck range":
        yield asked.chuck_range(shop, leads, *_hold(name, pattern), bend)
    else:
        raise Refused(f'there is no shop rule "{name}".')


def _must(holds: bool, name: str, pattern: Pattern, why: str) -> None:
    if not holds:
        raise Refused(f'the rule "{name}" does not forbid all that it speaks of, {in_words(pattern)}: {why}.')


def _hold(name: str, pattern: Pattern) -> tuple[int, str]:
    if pattern.hold is None:
        raise Refused(f'the rule "{name}" must name the hold that it speaks of: {in_words(pattern)}.')
    return pattern.hold


def _released(shop: Shop, pattern: Pattern) -> list[bool]:
    """Return whether the collet is open in the arrivals of a pattern: it may be for the job's last bend alone."""
    may = shop.may_release and pattern.bend == shop.n and pattern.ahead[0] == 1
    wanted = (False, True) if pattern.released is None else (pattern.released,)
    return [released for released in wanted if may or not released]


def _first_kept(shop: Shop, end: End, span: Pair, rule: Asked) -> float | None:
    """Return a trim of the span that can be cut and with which the rule is kept [mm], None if there is none."""
    least = shop.whole(end, max(span[0], rule.kept[0], 0.0))
    if least is None or least > min(span[1], rule.kept[1]) + RULE_SLACK:
        return None
    return least


def _greatest(span: Pair, end: End, told_apart: list[Pair]) -> float:
    """Return the greatest trim at an end that is told apart and lies in a span [mm]."""
    trims = [pair[0 if end == "A" else 1] for pair in told_apart]
    within = [trim for trim in trims if span[0] <= trim <= span[1]]
    if not within:
        raise Refused(
            f"a rule speaks of trims from {span[0]:g} to {span[1]:g} mm at end {end}: none is told apart there."
        )
    return max(within)


def _same_numbers(pattern: Pattern, name: str, found: Mapping[str, Any], truth: asked.Numbers) -> None:
    if set(found) != set(truth):
        raise Refused(f'the rule "{name}" rests on {sorted(truth)}, not on {sorted(found)}: {in_words(pattern)}.')
    for key, true in truth.items():
        said = found[key]
        pairs = zip(said, true, strict=True) if isinstance(true, list) else [(said, true)]
        for one, other_one in pairs:
            if not math.isclose(float(one), other_one, rel_tol=PROVED_SHARE, abs_tol=PROVED_NUMBER):
                raise Refused(
                    f'the rule "{name}" has {key} {float(one):.7g}, reckoned anew it is {other_one:.7g}:'
                    f" {in_words(pattern)}."
                )
