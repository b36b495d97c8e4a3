"""One step of a plan in the words and numbers of its screen: what to do, what to set, how near it comes.

Numbers stand as the machine's own readouts show them; a length may be shown in inches instead, its reading to a
thousandth [mm, deg in; text out].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from planner.outputs.step_list import Digits
from planner.plans.document import Plan, Step
from planner.tolerances import REPORT_CEILING
from planner.wording.figures import LengthUnit, at_least_shown, shown
from planner.wording.say import say
from planner.words import counted, degrees

DO: Final = {
    "load": "Load the tube",
    "change dies": "Change the dies",
    "change clamp": "Change the clamp",
    "open collet": "Open the collet",
    "carriage back": "Run the carriage back",
    "carriage forward": "Run the carriage to its hold",
    "zero": "Set to 0",
    "advance": "Advance",
    "rotate": "Rotate",
    "close dies": "Close the dies",
    "bend": "Bend",
    "open dies": "Open the dies",
    "die down": "Lower the die",
    "run forward": "Run the tube forward",
    "return": "Arm home",
    "die up": "Raise the die",
    "re-grip": "Re-grip",
    "turn": "Turn end for end",
    "reload": "Put back the same way round",
    "unload": "Take the tube off",
    "trim": "Cut off",
    "check": "Check the part",
}
"""What to do, by action."""


MOVES: Final = ("advance", "rotate", "re-grip", "run forward", "return", "die down", "die up")
"""Actions that go by an amount; some until a readout shows a reading."""


@dataclass(frozen=True)
class Number:
    """A number to be read from far away: what it is of, how much, in which unit."""

    of: str
    much: str
    unit: str


@dataclass(frozen=True)
class Told:
    """A step as its screen tells it; great: the number to set, the others beside it."""

    do: str
    where: str
    great: Number | None
    others: tuple[Number, ...]
    clearance: str
    note: str
    caution: str


def told(step: Step, plan: Plan, unit: LengthUnit) -> Told:
    """Return what the screen of a step says."""
    great, others = _numbers(step, Digits.of(plan), unit)
    where = "" if step.bend is None else f"bend {step.bend}"
    if step.leads is not None:
        where = f"{where}{', ' if where else ''}end {step.leads} leading"
    return Told(
        do=_do(step),
        where=where,
        great=great,
        others=others,
        clearance=clearance(step, unit),
        note=" ".join(say(one, unit) for one in step.fact.get("note", ())),
        caution=" ".join(say(one, unit) for one in step.fact.get("caution", ())),
    )


def _do(step: Step) -> str:
    """Return what to do, with the way round or how far where that is part of it."""
    if step.action == "rotate" and step.way is not None:
        return f"{DO[step.action]} {step.way}"
    if step.action == "advance" and step.amount is not None and step.amount < 0.0:
        return "Draw back"
    if step.action == "run forward" and step.reading is None:  # no readout where the collet is open
        return "Push the tube forward by hand"
    if step.action == "return":
        home = "Arm home" if _arm_left_at(step) == 0.0 else "Arm part of the way home"
        return home if step.amount is None else f"{home}, the tube with it"
    return DO[step.action]


def _arm_left_at(step: Step) -> float:
    """Return where a step leaves the arm, from home [deg]; without positions it goes home by itself."""
    return 0.0 if step.to is None else step.to.arm


def clearance(step: Step, unit: LengthUnit) -> str:
    """Return how near the tube comes in a step, and to what; never more than is proved."""
    if not step.checked:
        return "Not checked: clear of the machine is proved only where the tube is in it."
    if step.clearance is None:
        return ""
    if step.clearance >= REPORT_CEILING:
        return f"More than {at_least_shown(REPORT_CEILING, unit)} clear."
    to = "" if step.nearest is None else f" to {step.nearest}"
    return f"{at_least_shown(step.clearance, unit)}{to}"


def _numbers(step: Step, digits: Digits, unit: LengthUnit) -> tuple[Number | None, tuple[Number, ...]]:
    """Return the number to set and those beside it."""
    if step.action == "bend" and step.setting is not None and step.angle is not None:
        setting = _angle("set the bend to", step.setting, digits)
        return setting, (_angle("on the part", step.angle, digits),)
    left_at = _arm_left_at(step) if step.action == "return" else 0.0
    arm = (_angle("until the arm stands from home at", left_at, digits),) if left_at > 0.0 else ()
    if step.action == "return" and step.amount is None:
        return (arm[0], ()) if arm else (None, ())
    if step.action in MOVES and step.amount is not None:
        amount = _amount("by", step, abs(step.amount), digits, unit)
        if step.reading is None:
            return amount, arm
        readout = "until the dial shows" if step.unit == "deg" else "until the readout shows"
        return _amount(readout, step, step.reading, digits, unit), (amount, *arm)
    if step.action == "carriage forward" and step.grip is not None:
        return _length("collet's face from the tail end", step.grip, digits.length, unit), ()
    if step.action == "carriage back" and step.to is not None and step.to.face is not None:
        return _length("collet's face from the tangent point", step.to.face, digits.length, unit), ()
    if step.action == "trim" and step.amount is not None:
        return _length("cut off", step.amount, digits.length, unit), ()
    if step.action == "change clamp" and step.clamp is not None:
        return _length("clamp", step.clamp, digits.length, unit), ()
    if step.action == "change dies" and step.amount is not None:
        return _length("bend radius", step.amount, digits.length, unit), ()
    return None, ()


def _amount(of: str, step: Step, value: float, digits: Digits, unit: LengthUnit) -> Number:
    return _angle(of, value, digits) if step.unit == "deg" else _length(of, value, digits.length, unit)


def _angle(of: str, value: float, digits: Digits) -> Number:
    return Number(of, degrees(value, digits.angle), "")


def _length(of: str, value: float, decimals: int, unit: LengthUnit) -> Number:
    much, _, said = shown(value, unit, decimals if unit == "mm" else 3).partition(" ")
    return Number(of, much, said)


def place(number: int, plan: Plan) -> str:
    """Return where in the job a step stands: "Step 4 of 31"."""
    return f"Step {number} of {counted(len(plan.steps), 'step').partition(' ')[0]}"
