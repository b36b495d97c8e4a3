"""The step list of a plan as rows of a table [mm], [deg], [s].

Notes and cautions stand under the step that they belong to.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.outputs.terminal import Page
from planner.plans.document import Plan, Step
from planner.tolerances import REPORT_CEILING
from planner.words import at_least, decimals_of, degrees, millimetres, minutes

NOT_CHECKED = "not checked yet"

COLUMNS = (
    ("no.", 4),
    ("do", 16),
    ("way round", 17),
    ("bend", 4),
    ("how much", 18),
    ("reading", 9),
    ("min:s", 6),
)
LAST = "clearance, to what"


@dataclass(frozen=True)
class Digits:
    """How many decimals the readouts of this machine show."""

    length: int
    angle: int

    @classmethod
    def of(cls, plan: Plan) -> Digits:
        """Read them from the resolutions in the plan's machine; one decimal where it gives none."""
        advance = plan.machine.get("advance") or {}
        rotation = plan.machine.get("rotation") or {}
        return cls(
            length=max(1, decimals_of(advance.get("resolution", 0.1))),
            angle=decimals_of(rotation.get("resolution", 0.1)),
        )


def print_steps(plan: Plan, page: Page) -> None:
    """Write the step list, with a line above every bend and every change of the leading end."""
    digits = Digits.of(plan)
    page.row([*COLUMNS, (LAST, None)], style="bold")
    for step, heading in _with_headings(plan.steps):
        if heading is not None:
            page.row([("", COLUMNS[0][1]), (heading, None)], style="bold")
        widths = [width for _, width in COLUMNS]
        page.row([*zip(_cells(step, digits), widths, strict=True), (clearance(step), None)])
        if step.note is not None:
            page.row([("", COLUMNS[0][1]), (step.note, None)])
        if step.caution is not None:
            page.row([("", COLUMNS[0][1]), (f"CAUTION: {step.caution}", None)], style="bold yellow")


def _with_headings(steps: tuple[Step, ...]) -> Iterator[tuple[Step, str | None]]:
    """Go through the steps, each with the heading that stands above it, if any."""
    said: tuple[int | None, str | None] = (None, None)
    for step in steps:
        heading = None
        if step.bend is not None and (step.bend, step.leads) != said:
            said = (step.bend, step.leads)
            heading = f"Bend {step.bend}" + (f", end {step.leads} leading" if step.leads is not None else "")
        yield step, heading


def _cells(step: Step, digits: Digits) -> tuple[str, ...]:
    """Return the cells of the columns of fixed width."""
    return (
        str(step.number),
        step.action,
        step.way or "",
        "" if step.bend is None else str(step.bend),
        how_much(step, digits),
        _reading(step, digits),
        minutes(step.time) if step.time > 0 else "",
    )


def how_much(step: Step, digits: Digits) -> str:
    """Return how far to go; for a bend the part's angle and, beside it, what the machine is set to.

    For an arm that goes home in steps: where it is left, from home.
    """
    if step.action == "bend" and step.angle is not None:
        part = degrees(step.angle, digits.angle)
        return part if step.setting is None else f"{part}, set {degrees(step.setting, digits.angle)}"
    if step.action in ("change clamp", "change dies") and step.amount is not None:
        return millimetres(step.amount)
    left_at = step.to.arm if step.action == "return" and step.to is not None else 0.0
    arm = f"to {degrees(left_at, digits.angle)}" if left_at > 0.0 else ""
    if step.amount is None:
        return arm
    if arm:
        return f"{millimetres(step.amount, digits.length)}, {arm}"
    return degrees(step.amount, digits.angle) if step.unit == "deg" else millimetres(step.amount, digits.length)


def _reading(step: Step, digits: Digits) -> str:
    """Return what the readout shows when the step is done."""
    if step.reading is None:
        return ""
    return degrees(step.reading, digits.angle) if step.unit == "deg" else millimetres(step.reading, digits.length)


def clearance(step: Step) -> str:
    """Return the proved smallest clearance of a step's motion and to what, or that it is not checked yet."""
    if not step.checked:
        return NOT_CHECKED
    if step.clearance is None:
        return ""
    more = step.clearance >= REPORT_CEILING
    distance = f"more than {millimetres(REPORT_CEILING)}" if more else at_least(step.clearance)
    return distance if step.nearest is None else f"{distance} to {step.nearest}"
