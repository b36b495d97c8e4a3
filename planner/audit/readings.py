"""What the readouts must show where the tube stands as the steps say, and the settings of the bend."""

from __future__ import annotations

import math

from planner.audit.standing import Load, Now, Step, near, number, position, refused
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from planner.tolerances import WRITTEN


def advance_shows(step: Step, machine: Machine, load: Load, now: Now) -> None:
    """Refuse an advance whose reading is not where the tube then stands, or cannot be set on the readout."""
    y = position(step, "to", "y")
    reading, counts = number(step, "reading"), machine.advance
    at = now.tangent_u + y
    if counts.zeroed:
        wanted = y
    elif counts.absolute_zero == "leading end at tangent" or machine.carriage is None or not load.holds:
        wanted = at + load.trim_lead
    else:
        closest, farthest = machine.carriage.reach
        face = load.holds[-1] - at  # an open collet has stood there last
        wanted = farthest - face if counts.absolute_zero == "collet at farthest" else face - closest
    near(step, "the reading", reading, wanted)
    _settable(step, reading, counts.resolution)


def dial_shows(step: Step, machine: Machine, now: Now) -> None:
    """Refuse a rotation whose reading is not where the chuck then stands, or outside the chuck's range [deg]."""
    dial = machine.rotation
    reading, chuck = number(step, "reading"), position(step, "to", "rotation")
    since = now.roll + chuck - now.rotation if dial.zeroed else chuck
    wanted = since if dial.counts == "clockwise" else -since
    near(step, "the dial's reading", wanted + math.remainder(reading - wanted, 360.0), wanted)
    _settable(step, reading, math.degrees(dial.resolution))
    if dial.range != "continuous":
        low, high = (math.degrees(end) for end in dial.range)
        if not low - WRITTEN <= chuck <= high + WRITTEN:
            raise refused(step, f"the chuck stands at {chuck:.3f}°, {low:g}° to {high:g}° is its range")


def _settable(step: Step, reading: float, resolution: float) -> None:
    if abs(math.remainder(reading, resolution)) > WRITTEN:
        raise refused(step, f"{reading:.6g} cannot be set on a readout that shows {resolution:g}")


def right_setting(step: Step, machine: Machine, part: Part, index: int) -> float:
    """Return a bend's setting [rad]; refuse one that does not give the part's angle, or that the head cannot make."""
    angle, radius = float(part.angles[index]), float(part.radii[index])
    near(step, "the angle", number(step, "angle"), math.degrees(angle))
    setting, same = math.radians(number(step, "setting")), math.radians(WRITTEN)
    wanted, resolution = setting_for(angle, machine, part, radius).value, machine.rotation.resolution
    if setting < angle - same or abs(setting - wanted) > resolution + same:
        found, right = math.degrees(setting), math.degrees(wanted)
        raise refused(step, f"it is set to {found:.3f}°, {right:.3f}° gives the part's angle")
    if setting > machine.head.largest_angle + same:
        largest = math.degrees(machine.head.largest_angle)
        raise refused(step, f"it is set to {math.degrees(setting):.3f}°, the head makes {largest:g}° at most")
    return setting
