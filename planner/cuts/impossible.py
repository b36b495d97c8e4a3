"""Bends that break a shop rule in every order: the only ground on which a part is called not makeable here.

Each bend is judged at its best: either end leading, all the trim that is allowed, nothing formed ahead unless it must
be.
With a mandrel (or a closed collet) everything behind the bend is unformed, so the later of two neighbouring bends
always has the other one formed ahead of it, at the far end of the straight that the clamp must hold.
"""

from __future__ import annotations

from planner.facts import fact, length, needed
from planner.feasibility.orders import Case
from planner.inputs.part import Part
from planner.inputs.springback import Setting
from planner.rules.bending import largest_angle, rated_capacity
from planner.rules.broken import Broken, End, keeps, other
from planner.rules.carriage import grip_window
from planner.rules.grip import Loaded, grip_kept, pressure_die_lasts, tail_left
from planner.sequencing.events import Trims
from planner.tolerances import RULE_SLACK
from planner.tube.partly_bent import bend_seen, seen_from

NO_TRIM = Trims(0.0, 0.0)


def broken_in_every_order(case: Case) -> list[Broken]:
    """Return what makes the part impossible on this machine, whatever the order; empty if nothing does."""
    found: list[Broken] = []
    rating = rated_capacity(case.machine, case.part)
    if isinstance(rating, Broken):
        found.append(rating)
    for bend in range(1, case.part.n_bends + 1):
        angle, setting = float(case.part.angles[bend - 1]), Setting(case.settings[bend - 1], "measured")
        too_far = largest_angle(case.machine, bend, angle, setting)
        if too_far is not None:
            found.append(too_far)
        lasts = pressure_die_lasts(case.loaded("A", NO_TRIM), bend, setting.value, case.tooling[bend - 1])
        if lasts is not None:
            found.append(lasts)
        either = [_broken_at_best(case, bend, end) for end in ("A", "B")]
        if all(either):
            found.extend(broken for broken in either if broken is not None)
    if case.machine.mandrel is not None or case.machine.carriage is not None:
        found.extend(_straights_too_short(case))
    return found


def _broken_at_best(case: Case, number: int, leads: End) -> Broken | None:
    """Return a rule that the bend breaks with this end leading even at its best, or None."""
    part, trims = case.part, case.allowed
    loaded = Loaded(seen_from(part, leads), leads, trims.at(leads), trims.at(other(leads)))
    bend, setting = bend_seen(number, leads, part.n_bends), case.settings[number - 1]
    tooling, carriage = case.tooling[number - 1], case.machine.carriage
    short = tail_left(loaded, bend, setting, tooling)
    if short is not None:
        return short
    if carriage is not None:
        # Only for the tried trim does a collet at the very end stand in one place; with less trim it may stand anywhere
        # in this window, so the window of a collet that the tube passes through is the best case.
        free = carriage.model_copy(update={"passes_through": True})
        windows = [grip_window(loaded, bend, setting, free, released) for released in (False, True)]
        usable = windows if carriage.finish_released else windows[:1]
        if all(low > high + RULE_SLACK for low, high in usable):
            gap = min(low - high for low, high in usable)
            said = fact("collet-cannot-hold", bend=number, leads=leads, missing=needed(gap))
            return Broken("carriage reach", number, leads, said)
    if bend == 1:
        held = float(loaded.view.bend_starts[0]) + loaded.trim_lead
        if not keeps(grip_kept(loaded.view, bend, tooling), loaded.trim_lead):
            least = needed(tooling.shortest_grip)
            said = fact("grip-too-short-with-all-trim", bend=number, leads=leads, held=length(held), needed=least)
            return Broken("shortest grip", number, leads, said)
    return None


def _straights_too_short(case: Case) -> list[Broken]:
    """Return a broken rule for every straight between two bends that no clamp fits, whichever bend comes later."""
    part: Part = case.part
    found = []
    for k in range(1, part.n_bends):
        straight = float(part.straights[k])
        shortest = min(case.tooling[k - 1].shortest_straight, case.tooling[k].shortest_straight)
        if straight + RULE_SLACK < shortest:
            said = fact(
                "straight-under-the-clamp-either-way",
                straight=k,
                first=k,
                second=k + 1,
                there=length(straight),
                shortest=length(shortest),
            )
            found.append(Broken("clamp longer than the straight", k, "A", said))
    return found
