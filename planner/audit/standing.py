"""What stands where while a plan is carried out: the tube as it is built by and by, and the hold on it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from planner.audit.refused import Refused
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tolerances import WRITTEN

End = Literal["A", "B"]
Step = dict[str, Any]


@dataclass(frozen=True)
class Bent:
    """One bend as the plan makes it.

    bend: counted from the leading end; number: from end A; start: stock coordinate at the tangent point as the dies
    close; u: that of the collet's face, None where nothing holds [mm]; clamp [mm]; setting [rad]; released: the collet
    stands open; regripped: it takes a new hold at the end.
    """

    bend: int
    number: int
    start: float
    u: float | None
    clamp: float
    setting: float
    released: bool = False
    regripped: bool = False


@dataclass
class Load:
    """One load: the end that leads, the bends formed before (from the leading end), trims [mm], the bends made in it.

    event: load, turn or reload; holds: the stock coordinates of the collet's face, one after the other [mm].
    """

    event: str
    leads: End
    formed: tuple[int, ...]
    trim_lead: float
    trim_tail: float
    holds: list[float] = field(default_factory=list)
    bends: list[Bent] = field(default_factory=list)


class Built:
    """The part as the plan's numbers make it: starts [mm] and rotations [rad] of the bends, counted from end A."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.starts = np.array(part.bend_starts)
        self.rotations = np.array(part.rotations)
        self.made: set[int] = set()
        self._views: dict[End, Part] = {}

    def number(self, leads: End, bend: int) -> int:
        """Return a bend's number from end A for its number from the leading end, or back."""
        return bend if leads == "A" else self.part.n_bends + 1 - bend

    def formed(self, leads: End) -> tuple[int, ...]:
        """Return the numbers from the leading end of the bends made so far."""
        return tuple(sorted(self.number(leads, number) for number in self.made))

    def view(self, leads: End) -> Part:
        """Return the part as built so far, from the leading end; what is not made yet is as the drawing has it."""
        if leads not in self._views:
            ends = np.append(self.starts, self.part.developed_length)
            begins = np.append(0.0, self.starts + self.part.arc_lengths)
            built = replace(self.part, straights=np.maximum(ends - begins, 0.0), rotations=self.rotations)
            self._views[leads] = built if leads == "A" else built.reversed()
        return self._views[leads]

    def make(self, leads: End, bend: int, start: float, roll: float | None) -> None:
        """Note a bend's start from the leading end [mm], and the rotation to it from its neighbour ahead [rad]."""
        number = self.number(leads, bend)
        arc = float(self.part.arc_lengths[number - 1])
        self.starts[number - 1] = start if leads == "A" else self.part.developed_length - start - arc
        if roll is not None:
            self.turn(leads, bend, roll)
        self._views.clear()

    def turn(self, leads: End, bend: int, roll: float) -> None:
        """Note the rotation to a bend from its neighbour ahead [rad]."""
        number = self.number(leads, bend)
        self.rotations[(number if leads == "A" else number + 1) - 1] = roll
        self._views.clear()

    def start_drawn(self, leads: End, bend: int) -> float:
        """Return where a bend starts on the drawing, counted from the leading end [mm]."""
        number = self.number(leads, bend)
        if leads == "A":
            return float(self.part.bend_starts[number - 1])
        return self.part.developed_length - float(self.part.bend_ends[number - 1])

    def rotation_drawn(self, leads: End, bend: int) -> float:
        """Return the drawing's rotation from the neighbour ahead to a bend [rad]."""
        number = self.number(leads, bend)
        return float(self.part.rotations[(number if leads == "A" else number + 1) - 1])


@dataclass
class Now:
    """Where everything stands: as positions in the document, the roll from how the tube lay at y = 0 [deg] with them.

    tangent_u: stock coordinate at the tangent point at y = 0 [mm]; held: that of the collet's face, None while it is
    open or where there is none; forward: of the pressure die, lowered: the die [mm]; arc: bend just formed, still at
    the die's end, None after a load; turned: it was rotated since; closed: the dies hold the tube; by_hand: the tube is
    moved by hand on its way on ("load") or off ("unload"); due: the action that has to come next, whatever it is.
    """

    y: float = 0.0
    rotation: float = 0.0
    arm: float = 0.0
    face: float | None = None
    roll: float = 0.0
    tangent_u: float = 0.0
    held: float | None = None
    forward: float = 0.0
    lowered: float = 0.0
    arc: int | None = None
    turned: bool = False
    closed: bool = False
    by_hand: Literal["load", "unload"] | None = None
    due: str | None = None


def number(step: Step, name: str) -> float:
    """Return a number of a step; it must be one."""
    value = step[name]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise refused(step, f"its {name} is {value!r}, no number")
    return float(value)


def position(step: Step, when: Literal["from", "to"], name: str) -> float:
    """Return a number of the position where a step begins or ends."""
    return number({**step, name: step[when][name]}, name)


def refused(step: Step, what: str) -> Refused:
    """Return what is said of a step that does not hold."""
    return Refused(f"Step {step['number']} ({step['action']}): {what}.")


def near(step: Step, what: str, found: float | None, wanted: float | None, within: float = WRITTEN) -> None:
    """Refuse a number that is not what it must be."""
    if found is None and wanted is None:
        return
    if found is None or wanted is None or not abs(found - wanted) <= within:
        raise refused(step, f"{what} is {_said(found)}, not {_said(wanted)}")


def _said(value: float | None) -> str:
    return "none" if value is None else f"{value:.6g}" if abs(value) < 1e3 else f"{value:.3f}"


def begins(step: Step, now: Now) -> None:
    """Refuse a step that does not begin where everything stands."""
    first = step["from"]
    for name, value in (("y", now.y), ("rotation", now.rotation), ("arm", now.arm), ("face", now.face)):
        near(step, f"where it begins, {name}", first[name], value)


def changes(step: Step, **ways: float) -> None:
    """Refuse a step that changes a position by anything but what is named."""
    first, last = step["from"], step["to"]
    for name in ("y", "rotation", "arm", "face"):
        if first[name] is None or last[name] is None:
            near(step, f"where it ends, {name}", last[name], first[name])
            continue
        near(step, f"the change of {name}", last[name] - first[name], ways.get(name, 0.0))


def carriage_reaches(step: Step, machine: Machine) -> None:
    """Refuse a place of the collet that the carriage's travel does not reach."""
    if machine.carriage is None:
        return
    closest, farthest = machine.carriage.reach
    for place in (step["from"]["face"], step["to"]["face"]):
        if place is not None and not closest - WRITTEN <= place <= farthest + WRITTEN:
            raise refused(
                step, f"the collet's face is {place:.3f} mm from the tangent point, {closest:g} to {farthest:g} mm is"
                " its travel"
            )  # fmt: skip
