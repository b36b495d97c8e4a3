"""Each shop rule by itself: for which trims it is kept, and the numbers that it rests on.

A rule that depends on trim depends on that of one end, and is kept in one span of it: from some length on, where it
asks for more tube, or up to some length, where it asks for less.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal, NamedTuple

from planner.audit.shop import Arrival, End, Pair, Shop
from planner.tolerances import ANGLE_SLACK, CHUCK_SLACK, RELATIVE_SLACK, RULE_SLACK

Numbers = dict[str, float | list[float]]
ALWAYS: Pair = (-math.inf, math.inf)
NEVER: Pair = (math.inf, -math.inf)
TURN = 2.0 * math.pi


class Asked(NamedTuple):
    """A rule asked of one bend.

    rule: its short name; of: the end whose trim it depends on, as it is loaded; kept: the least and the greatest trim
    there with which it is kept [mm]; numbers: what it rests on with so much trim there [mm, deg, N mm].
    """

    rule: str
    of: Literal["lead", "tail"]
    kept: Pair
    numbers: Callable[[float], Numbers]

    def keeps(self, trim: float) -> bool:
        """Say whether it is kept with so much trim [mm]."""
        return self.kept[0] - RULE_SLACK <= trim <= self.kept[1] + RULE_SLACK


def largest_angle(shop: Shop, leads: End, bend: int) -> Asked:
    """The setting must not pass the machine's largest angle."""
    setting, largest = shop.at(leads, bend).setting, shop.machine.head.largest_angle
    kept = ALWAYS if setting <= largest + ANGLE_SLACK else NEVER
    numbers: Numbers = {"setting": math.degrees(setting), "largest": math.degrees(largest)}
    return Asked("largest angle", "tail", kept, lambda _: numbers)


def rated_capacity(shop: Shop) -> Asked:
    """The tube's plastic moment must not pass that of the tube the machine is rated for, where both are known."""
    rated, part = shop.machine.rated, shop.part
    if rated is None or part.yield_strength is None:
        return Asked("rated capacity", "tail", ALWAYS, lambda _: {})
    moment = _plastic(part.outside_diameter, part.wall, part.yield_strength)
    limit = _plastic(rated.tube_diameter, rated.wall, rated.yield_strength)
    kept = ALWAYS if moment <= limit * (1.0 + RELATIVE_SLACK) else NEVER
    return Asked("rated capacity", "tail", kept, lambda _: {"moment": moment, "rated": limit})


def _plastic(outside: float, wall: float, strength: float) -> float:
    """Return the moment at which a tube has yielded through and through [N mm]."""
    return strength / 6.0 * (outside**3 - (outside - 2.0 * wall) ** 3)


def clamp(shop: Shop, leads: End, bend: int) -> Asked:
    """Between formed bends the straight must hold one of the clamps, and the grip section that goes with it."""
    at = shop.at(leads, bend)
    shortest = min(map(at.taken_by, at.clamps))
    numbers: Numbers = {"straight": at.gap, "shortest_clamp": shortest}
    kept = ALWAYS if shortest <= at.gap + RULE_SLACK else NEVER
    return Asked("clamp longer than the straight", "lead", kept, lambda _: numbers)


def same_dies(shop: Shop, leads: End, bend: int) -> Asked:
    """A link goes on with the dies that have made the neighbour ahead: they are not changed on a half-bent tube."""
    if bend == 1:
        return Asked("one set of dies", "lead", ALWAYS, lambda _: {})
    own, ahead = (shop.at(leads, b).tooling.bend_radius for b in (bend, bend - 1))
    numbers: Numbers = {"radius": own, "ahead": ahead}
    return Asked("one set of dies", "lead", ALWAYS if own == ahead else NEVER, lambda _: numbers)


def pressure_die(shop: Shop, leads: End, bend: int) -> Asked:
    """A pressure die that follows the tube must leave its rest behind the tangent point when the swing ends.

    It goes forward with the tube, by CLR · setting.
    """
    at = shop.at(leads, bend)
    if not at.tooling.pressure_die_follows:
        return Asked("pressure die", "tail", ALWAYS, lambda _: {})
    left, needed = at.tooling.pressure_die_length - at.radius * at.setting, at.tooling.rest
    kept = ALWAYS if left + RULE_SLACK >= needed else NEVER
    return Asked("pressure die", "tail", kept, lambda _: {"left": left, "needed": needed})


def shortest_grip(shop: Shop, leads: End, bend: int) -> Asked:
    """With nothing formed ahead the clamp must hold so much of the leading end."""
    at = shop.at(leads, bend)
    return Asked(
        "shortest grip",
        "lead",
        (at.shortest_grip - at.start, math.inf),
        lambda trim: {"held": at.start + trim, "needed": at.shortest_grip},
    )


def shortest_tail(shop: Shop, leads: End, bend: int) -> Asked:
    """When the swing ends, so much tube must be left behind the tangent point."""
    at, length = shop.at(leads, bend), shop.length
    return Asked(
        "shortest tail",
        "tail",
        (at.swing + at.shortest_tail - length, math.inf),
        lambda trim: {"left": length + trim - at.swing, "needed": at.shortest_tail},
    )


def rod_length(shop: Shop, leads: End, bend: int) -> Asked:
    """At the first bend after a load no more tube may lie behind the tangent point than goes over the mandrel's rod."""
    start, length, mandrel = shop.at(leads, bend).start, shop.length, shop.machine.mandrel
    if mandrel is None:
        return Asked("rod length", "tail", ALWAYS, lambda _: {})
    return Asked(
        "rod length",
        "tail",
        (-math.inf, mandrel.rod_length + start - length),
        lambda trim: {"behind": length + trim - start, "rod": mandrel.rod_length},
    )


def window(shop: Shop, leads: End, bend: int, released: bool) -> Asked:
    """The collet must find a place on the tube from which it serves the bend, or places it where it is released.

    No nearer than closest when the bend ends (or starts, if released), no farther than farthest when it starts, and
    filled by tube; one that cannot be passed through holds the very end.
    """
    carriage, at = shop.carriage, shop.at(leads, bend)
    if carriage is None:
        return Asked("carriage reach", "tail", ALWAYS, lambda _: {})
    (closest, farthest), grip, through = carriage.reach, carriage.grip_length, carriage.passes_through
    low, high = (at.start if released else at.swing) + closest, at.start + farthest
    kept = (low + grip - shop.length, math.inf if through else high + grip - shop.length)

    def numbers(trim: float) -> Numbers:
        end = shop.length + trim - grip
        return {"least": low if through else max(low, end), "greatest": min(high, end)}

    return Asked("carriage reach", "tail", kept if low <= high + RULE_SLACK else NEVER, numbers)


def regrip_window(shop: Shop, leads: End, bend: int) -> Asked:
    """The collet must find a new hold at the end of a bend: within reach before the tube springs back, and after."""
    carriage, at = shop.carriage, shop.at(leads, bend)
    if carriage is None:
        return Asked("carriage reach", "tail", NEVER, lambda _: {})
    (closest, farthest), grip, length = carriage.reach, carriage.grip_length, shop.length
    low, high = at.swing + closest, at.end + farthest
    return Asked(
        "carriage reach",
        "tail",
        (low + grip - length, math.inf) if low <= high + RULE_SLACK else NEVER,
        lambda trim: {"least": low, "greatest": min(high, length + trim - grip)},
    )


def hold(shop: Shop, leads: End, since: int, begun: str, bend: int, released: bool) -> Asked:
    """A hold must still be behind the closest place when the swing of a later bend ends, or starts if released.

    Its face stands as far back as its first bend and the stock allow, after a re-grip the bend before it too. Later
    bends may stand farther back: they do not move it.
    """
    carriage, at = shop.carriage, shop.at(leads, bend)
    if carriage is None:
        return Asked("carriage reach", "tail", ALWAYS, lambda _: {})
    (closest, farthest), grip, length = carriage.reach, carriage.grip_length, shop.length
    least = (at.start if released else at.swing) + closest
    back = shop.at(leads, since).start + farthest
    if begun == "re-grip":
        back = min(back, shop.at(leads, since - 1).end + farthest)
    return Asked(
        "carriage reach",
        "tail",
        (least + grip - length, math.inf) if least <= back + RULE_SLACK else NEVER,
        lambda trim: {"least": least, "face": min(back, length + trim - grip)},
    )


def chuck_range(shop: Shop, leads: End, since: int, begun: str, bend: int) -> Asked:
    """From 0 the chuck must keep in its range with every rotation of a hold one way round or the other.

    A load lays the tube in at its first bend; after a re-grip the chuck stands at 0 and turns to it.
    """
    if shop.chuck is None:
        return Asked("chuck range", "tail", ALWAYS, lambda _: {})
    first = since if begun == "load" else since - 1
    rolls = [at.roll for at in shop.sides[leads][first:bend]]
    low, high = shop.chuck
    numbers: Numbers = {
        "rolls": [math.degrees(roll) for roll in rolls],
        "from": math.degrees(low),
        "to": math.degrees(high),
    }
    return Asked("chuck range", "tail", ALWAYS if _turns(rolls, shop.chuck) else NEVER, lambda _: numbers)


def _turns(rolls: list[float], limits: Pair) -> bool:
    """Say whether the chuck keeps in its limits [rad]; noted are whole turns beside the sum of the shorter ways."""
    turns, total = {0}, 0.0
    for roll in rolls:
        total += roll
        ways = (0,) if abs(roll) <= CHUCK_SLACK else (0, -1 if roll > 0.0 else 1)
        reached = {before + way for before in turns for way in ways}
        turns = {k for k in reached if limits[0] - CHUCK_SLACK <= total + k * TURN <= limits[1] + CHUCK_SLACK}
    return bool(turns)


def asked_of(shop: Shop, arrival: Arrival, before: Arrival | None) -> list[Asked]:
    """Return every rule that is asked of an arrival, given the one before it."""
    leads, bend, since, begun = arrival.leads, arrival.bend, arrival.since, arrival.begun
    rules = [
        largest_angle(shop, leads, bend),
        rated_capacity(shop),
        pressure_die(shop, leads, bend),
        shortest_grip(shop, leads, bend) if arrival.ahead == bend else clamp(shop, leads, bend),
        shortest_tail(shop, leads, bend),
        window(shop, leads, bend, arrival.released),
        hold(shop, leads, since, begun, bend, arrival.released),
        chuck_range(shop, leads, since, begun, bend),
    ]
    rules.append(same_dies(shop, leads, bend) if arrival.event == "link" else rod_length(shop, leads, bend))
    if arrival.regripped and before is not None:
        rules.append(regrip_window(shop, leads, before.bend))
    return rules


def broken_by(shop: Shop, arrival: Arrival, before: Arrival | None, trims: Pair) -> list[tuple[str, Numbers]]:
    """Return the rules that an arrival breaks with trims at A and B [mm], each with its numbers."""
    lead, tail = trims if arrival.leads == "A" else trims[::-1]
    of = {"lead": lead, "tail": tail}
    asked = asked_of(shop, arrival, before)
    return [(one.rule, one.numbers(of[one.of])) for one in asked if not one.keeps(of[one.of])]
