"""The clearances of a plan as a table: for every motion how near it comes, where on the tube, to what, and when."""

from __future__ import annotations

from planner.inputs.files import part_from_data
from planner.outputs.step_list import Digits, clearance
from planner.outputs.terminal import Page
from planner.plans.document import Plan, Step
from planner.plans.reasons import piece_at
from planner.wording.say import say
from planner.words import degrees, number

HEAD = (
    "no.",
    "do",
    "bend",
    "clearance, to what",
    "where on the tube",
    "from end A",
    "advance",
    "rotation",
    "arm",
    "face",
)
UNITS = ("", "", "", "", "", "mm", "mm", "", "", "mm")


def print_clearances(plan: Plan, page: Page) -> None:
    """Write the table; every clearance is a proved lower bound [mm]."""
    digits = Digits.of(plan)
    rows = [UNITS, *(_cells(plan, step, digits) for step in plan.steps if step.from_ is not None or not step.checked)]
    page.heading("Clearances")
    page.table(HEAD, rows, left=5)
    page.text(
        "Each is proved: nothing comes nearer in that motion. From end A: developed length of tube, negative in trim."
        " Advance, rotation, arm and face are where the machine stands when it is nearest; face is how far the collet's"
        " face stands behind the tangent point."
    )


def _cells(plan: Plan, step: Step, digits: Digits) -> tuple[str, ...]:
    said = (str(step.number), step.action, "" if step.bend is None else str(step.bend), clearance(step))
    at = step.nearest_at
    if at is None:
        return (*said, "", "", "", "", "", "")
    where = say(piece_at(part_from_data(plan.part), "A", at.place))
    return (
        *said,
        where,
        number(at.place),
        number(at.y, digits.length),
        degrees(at.rotation, digits.angle),
        degrees(at.arm, digits.angle),
        "" if at.face is None else number(at.face, digits.length),
    )
