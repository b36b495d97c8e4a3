"""A plan as a page for the operator: verdict, stock, order, steps, what was checked and what was not.

Only the plan document is read, so a plan from a file prints like one just made.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from planner.outputs import hand
from planner.outputs.step_list import Digits, print_steps
from planner.outputs.terminal import Page
from planner.plans.document import OrderedBend, Plan, Reason, Step
from planner.tolerances import REPORT_CEILING
from planner.wording.figures import LengthUnit, at_least_shown, at_most_shown
from planner.wording.say import say
from planner.words import counted, duration, listed, millimetres, numbers, plain, size

PEOPLE = '"Clear" means clear of the machine, never of people.'
AGAINST = "A plan is checked against the profile and for this order only, not against the machine in front of you."
HAND = (
    "Check the first part made against the drawing: a table read with the wrong sign makes a mirror image, "
    "and no check here can see that."
)
TURN = "turn end for end"

COLOURS = {"makeable": "green", "not makeable": "red", "undecided": "yellow"}

WHY_UNDECIDED = {
    "time limit": "the time limit came first",
    "too close": "a clearance is too close to call",
    "no path found": "no way past what is struck was found, nor proved not to exist",
    "orders not tried": "none of the orders tried works, and there are orders that were not tried",
    "engines disagree": "the two searches disagree",
}


def print_plan(plan: Plan, page: Page, file_sign: str = "right-handed") -> None:
    """Write the whole page; file_sign: how the part's file counted rotations (a plan counts right-handed)."""
    page.text(verdict(plan), style=f"bold {COLOURS[plan.verdict]}")
    for line in (*_reclamp_lines(plan), *_opinion_lines(plan)):
        page.text(line)
    page.blank()
    _print_head(plan, page, file_sign)
    _print_said(page, "Why", [_reason(reason) for reason in plan.reasons])
    _print_said(page, "What would make it possible", [entry.sentence for entry in plan.changes])
    _print_said(page, "Cautions", plan.cautions)
    _print_said(page, "Set-up", plan.setup.list)
    if plan.steps:
        page.heading("Steps")
        print_steps(plan, page)
    _print_said(page, "Other ways", [entry.sentence for entry in plan.alternatives])
    page.heading("What was checked")
    page.bullets(checked_lines(plan))
    _print_said(page, "What was not checked", [*_unchecked_lines(plan.steps), *plan.warnings])
    page.blank()
    page.text(PEOPLE, style="bold")


def verdict(plan: Plan) -> str:
    """Return the verdict in words."""
    part, machine = plain(plan.part.get("name", "the part")), plain(plan.machine.get("name", "the machine"))
    if plan.verdict == "makeable":
        more = more_stock(plan)
        return f"MAKEABLE{f' with {more}, sawn off afterwards' if more else ''}: {part} can be bent on the {machine}."
    if plan.verdict == "not makeable":
        return f"NOT MAKEABLE: {part} cannot be bent on the {machine} in any order."
    because = "" if plan.undecided_because is None else f": {WHY_UNDECIDED[plan.undecided_because]}"
    return f"UNDECIDED: whether {part} can be bent on the {machine} is not settled{because}."


def more_stock(plan: Plan, unit: LengthUnit = "mm") -> str:
    """Return the stock that nobody has stated and without which nothing goes, in words; empty where there is none."""
    more = {} if plan.stock is None else plan.stock.more
    decimals = 0 if unit == "mm" else None
    return listed(f"{at_most_shown(trim, unit, decimals)} more stock at end {end}" for end, trim in more.items())


def reclamps(plan: Plan) -> str:
    """Return the re-clamps in words, one kind after the other; a turn is written out at this first use."""
    kinds = (
        (plan.turns, TURN, "turns end for end"),
        (plan.regrips, "re-grip", None),
        (plan.reloads, "reload", None),
        (plan.released, "last bend with the collet open", "last bends with the collet open"),
    )
    kept = [counted(count, one, many) for count, one, many in kinds if count]
    total = counted(plan.reclamps or 0, "re-clamp")
    return f"{total} ({listed(kept)})" if kept else ("no re-clamp" if not plan.reclamps else total)


def order(plan: Plan) -> str:
    """Return the order of a plan with the re-clamps of its steps in their places."""
    return in_words(plan.order, _between_bends(plan.steps))


def in_words(bends: Sequence[OrderedBend], between: Sequence[Sequence[str]] = ()) -> str:
    """Return an order in words: "1 2 3 with end A leading, turn end for end, 5 4 with end B leading".

    between: the re-clamps before each bend; without them only a turn is seen, where the leading end changes.
    """
    said: list[str] = []
    run: list[OrderedBend] = []
    for i, bend in enumerate(bends):
        reclamps_here = list(between[i]) if i < len(between) else []
        if run and (bend.leads != run[-1].leads or reclamps_here):
            said += [_run_in_words(run), *(reclamps_here or [TURN])]
            run = []
        run.append(bend)
    return ", ".join([*said, _run_in_words(run)] if run else said)


def _run_in_words(run: Sequence[OrderedBend]) -> str:
    """Return bends that are made one after the other without a re-clamp."""
    return f"{' '.join(str(bend.bend) for bend in run)} with end {run[-1].leads} leading"


def _between_bends(steps: Sequence[Step]) -> list[list[str]]:
    """Return for each bend of the order the re-clamps that come before it and after the bend before it."""
    named = {"turn": TURN, "reload": "reload", "re-grip": "re-grip"}
    between: list[list[str]] = [[]]
    for step in steps:
        if step.action == "bend":
            between.append([])
        elif step.action in named:
            between[-1].append(named[step.action])
    return between


def _reclamp_lines(plan: Plan) -> list[str]:
    """Return what the plan costs, and what of it is proved; nothing where there is no plan."""
    if not plan.order:
        return []
    handling = "" if plan.cycle_time is None else f", about {duration(plan.cycle_time)} a part at the machine"
    handling += f", after {duration(plan.setup.time)} of set-up" if plan.setup.time else ""
    best = "The plan has" if plan.verdict == "makeable" else "The best plan so far, which is not proved to work, has"
    claims = {
        "that it can be made": plan.proved.makeable,
        "that no plan needs fewer re-clamps": plan.proved.reclamps,
        "that no plan needs less trim": plan.proved.trim,
        "that no plan is faster": plan.proved.time,
    }
    if plan.verdict == "makeable" and not plan.proved.makeable:
        del claims["that it can be made"]
        claims["that it can be loaded and unloaded (not checked yet)"] = False
    proved = [claim for claim, holds in claims.items() if holds]
    believed = [claim for claim, holds in claims.items() if not holds]
    lines = [f"{best} {reclamps(plan)}{handling}."]
    lines += [f"Proved: {listed(proved)}."] if proved else []
    return lines + ([f"Not proved: {listed(believed)}."] if believed else [])


def _opinion_lines(plan: Plan) -> list[str]:
    """Return what the engines say of the proof, where both were asked."""
    if plan.confirmed:
        return [f"Proved by two engines, {listed(sorted(plan.opinions))}: {next(iter(plan.opinions.values()))}."]
    return [f"The {name} engine says: {said}." for name, said in sorted(plan.opinions.items())]


def _print_head(plan: Plan, page: Page, file_sign: str) -> None:
    """Write part, machine, hand, stock and order."""
    page.field("Part", *part_lines(plan.part))
    page.field("Machine", *_machine_lines(plan))
    rotations = [row[1] for row in plan.part["shape"]["lra"][:-1]]
    page.field("Rotation", *rotation_lines(plan.part, Digits.of(plan).angle, file_sign))
    if len(rotations) > 1:
        shown = hand.first_turning(rotations)
        page.drawing(hand.picture(shown + 1, rotations[shown]))
    if plan.stock is not None:
        page.field("Stock", *_stock_lines(plan))
    if plan.order:
        page.field("Order", order(plan))


def part_lines(part: dict[str, Any]) -> list[str]:
    """Return the name of the part and its tube."""
    tube = part["tube"]
    made_of = f", {tube['material']}" if tube.get("material") else ""
    bends = counted(len(part["shape"]["lra"]) - 1, "bend")
    return [
        str(part.get("name", "")),
        f"tube {size(tube['outside_diameter'])} x {size(tube['wall'])} mm{made_of}, {bends}",
    ]


def rotation_lines(part: dict[str, Any], decimals: int, file_sign: str) -> list[str]:
    """Return how the rotations were counted, which way the first bends point, and what to check.

    part: the normalised part, which counts right-handed; file_sign: how its file counted.
    """
    rotations = [row[1] for row in part["shape"]["lra"][:-1]]
    if len(rotations) < 2:
        return hand.sentences(rotations)
    lines = ["counted right-handed seen from end A to end B.", *hand.sentences(rotations, decimals)]
    if file_sign != "right-handed":
        lines.insert(1, f"The part's file counts {file_sign}: here its rotations stand with their signs changed.")
    return lines if all(hand.is_flat(rotation) for rotation in rotations) else [*lines, HAND]


def _machine_lines(plan: Plan) -> list[str]:
    """Return the machine's name, its head and whether it has a mandrel."""
    machine = plan.machine
    mandrel = "with a mandrel" if machine.get("mandrel") else "no mandrel"
    return [str(machine.get("name", "")), f"bends toward the {machine['head']['bends_toward']}, {mandrel}"]


def _stock_lines(plan: Plan) -> list[str]:
    """Return what to cut, and what to cut off after the last bend."""
    stock = plan.stock
    if stock is None:
        return []
    lines = [f"cut {millimetres(stock.cut_length)} of tube; developed length {millimetres(stock.developed_length)}"]
    trims = [
        f"{millimetres(trim)} at end {end}" for trim, end in ((stock.trim_a, "A"), (stock.trim_b, "B")) if trim > 0
    ]
    return [*lines, f"trim, cut off after the last bend: {listed(trims)}" if trims else "no trim"]


def checked_lines(plan: Plan, unit: LengthUnit = "mm") -> list[str]:
    """Return what the verdict rests on."""
    lines = [AGAINST]
    if plan.smallest_clearance is not None:
        more = "more than " if plan.smallest_clearance >= REPORT_CEILING else ""
        least = at_least_shown(min(plan.smallest_clearance, REPORT_CEILING), unit)
        lines.append(f"Smallest proved clearance: {more}{least}{_where_least(plan)}.")
    if plan.hangs_on:
        lines.append(f"It hangs on these solids: {listed(plan.hangs_on)}.")
    return [*lines, *(f"Keep clear: {say(entry.fact, unit)}" for entry in plan.keep_clear)]


def _where_least(plan: Plan) -> str:
    """Return the step with the smallest clearance and the solid it is to."""
    measured = [step for step in plan.steps if step.clearance is not None and step.checked]
    if not measured:
        return ""
    least = min(measured, key=lambda step: step.clearance if step.clearance is not None else 0.0)
    to = "" if least.nearest is None else f", to {least.nearest}"
    return f"{to}, in step {least.number}"


def _unchecked_lines(steps: Sequence[Step]) -> list[str]:
    """Return the steps that are not checked yet, by their action."""
    actions = dict.fromkeys(step.action for step in steps if not step.checked)
    unchecked = {action: [s.number for s in steps if s.action == action and not s.checked] for action in actions}
    return [
        f"Not checked yet: {action} (step {numbers(found)})." if len(found) == 1
        else f"Not checked yet: {action} (steps {numbers(found)})."
        for action, found in unchecked.items()
    ]  # fmt: skip


def _reason(reason: Reason) -> str:
    """Return a reason, with the order that it speaks of and a remark if it is not proved."""
    spoken_of = f"{in_words(reason.order)}: " if reason.order else ""
    return f"{spoken_of}{reason.sentence}{'' if reason.grade == 'proved' else ' (not proved)'}"


def _print_said(page: Page, heading: str, words: Sequence[str]) -> None:
    """Write a heading and its sentences; nothing where there are none."""
    if words:
        page.heading(heading)
        page.bullets(words)
