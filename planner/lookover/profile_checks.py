"""What a profile says of the whole machine: is anything missing, stands all where it should, do lengths go together?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from planner.clearance.solids import Owner, toward
from planner.inputs.machine import Machine, Tooling
from planner.lookover.remarks import Remark
from planner.lookover.upright_bodies import UprightBody, own_bodies
from planner.tolerances import RULE_SLACK

LOWEST: Final = 300.0
HIGHEST: Final = 2500.0
"""Heights of the centreline over the floor that a bender at which somebody works may have [mm]: common practice, no
source."""

ANCHOR_BEHIND: Final = 50.0
"""The rod's anchor begins within so far behind the rod's end, which is where the longest tube ends [mm]: common
practice, no source."""

OTHER_SIDE: Final = {"right": "left", "left": "right"}


def missing(machine: Machine) -> Iterator[Remark]:
    """Yield a remark for each of bed, arm, post, carriage and rod anchor that no solid of the profile stands for."""
    own = own_bodies(machine)
    frame = [body for body in own if body.owner is Owner.FRAME]
    if not any(_under_the_tail(machine, body) for body in frame):
        yield Remark("missing", ("bed",))
    if not any(body.owner is Owner.ARM for body in own):
        yield Remark("missing", ("arm",))
    yield from _post(machine, frame)
    if machine.carriage is not None and not any(body.owner is Owner.CARRIAGE for body in own):
        yield Remark("missing", ("carriage",))
    if machine.mandrel is not None and not anchors(machine):
        yield Remark("missing", ("rod anchor",), found=machine.mandrel.rod_length)


def anchors(machine: Machine) -> frozenset[str]:
    """Return the names of the solids that the mandrel's rod is anchored in."""
    rod = machine.mandrel
    if rod is None:
        return frozenset()
    frame = [body for body in own_bodies(machine) if body.owner is Owner.FRAME]
    return frozenset(body.name for body in frame if _anchors(body, rod.rod_length))


def before_its_face(machine: Machine) -> Iterator[Remark]:
    """Yield a remark for each solid of the carriage that is drawn in front of the collet's face."""
    for body in own_bodies(machine):
        front = float(body.outline.x1) + body.outline.edge
        if body.owner is Owner.CARRIAGE and front > 0.0:
            y = (float(body.outline.y0) + float(body.outline.y1)) / 2.0
            place = (front, y, (body.low + body.high) / 2.0)
            yield Remark("carriage before its face", (body.name,), depth=front, place=place)


def height(machine: Machine) -> Iterator[Remark]:
    """Yield a remark if nobody could work at the centreline's height."""
    found = machine.head.centreline_height
    if not LOWEST <= found <= HIGHEST:
        yield Remark("centreline height", (), found=found, needed=LOWEST if found < LOWEST else HIGHEST)


def too_short(machine: Machine, tooling: Tooling) -> Remark | None:
    """Return a remark if a pressure die that travels with the tube does not last to the largest setting."""
    largest = machine.head.largest_angle
    needed = tooling.bend_radius * largest + tooling.rest
    if not tooling.pressure_die_follows or tooling.pressure_die_length + RULE_SLACK >= needed:
        return None
    return Remark(
        "pressure die too short", ("pressure die",), (tooling.tube_diameter, tooling.bend_radius),
        angle=max(tooling.pressure_die_length - tooling.rest, 0.0) / tooling.bend_radius,
        found=tooling.pressure_die_length, needed=needed, setting=largest,
    )  # fmt: skip


def _post(machine: Machine, frame: list[UprightBody]) -> Iterator[Remark]:
    """Yield a remark if no solid of the frame stands under the die, or one does where the other head's would be."""
    side = toward(machine)
    if any(_under(body, tooling, side) for body in frame for tooling in machine.tooling):
        return
    bends = machine.head.bends_toward
    for body in frame:
        if any(_under(body, tooling, -side) for tooling in machine.tooling):
            yield Remark("post on the wrong side", (body.name, OTHER_SIDE[bends], bends))
            return
    yield Remark("missing", ("post",))


def _under(body: UprightBody, tooling: Tooling, side: float) -> bool:
    """Return whether a body stands under the axis of a die, below the die."""
    return body.outline.covers(0.0, side * tooling.bend_radius) and body.high <= -tooling.die_height / 2.0


def _under_the_tail(machine: Machine, body: UprightBody) -> bool:
    """Return whether a body lies under the feed line behind the pressure dies."""
    behind = max(tooling.pressure_die_length for tooling in machine.tooling)
    return body.high < 0.0 and body.outline.covers(min(-behind, float(body.outline.x0)), 0.0)


def _anchors(body: UprightBody, rod_length: float) -> bool:
    """Return whether a body stands on the feed's axis at the end of the rod."""
    front, back = float(body.outline.x1) + body.outline.edge, float(body.outline.x0) - body.outline.edge
    across = body.outline.covers(float(body.outline.x1), 0.0)
    return across and body.low <= 0.0 <= body.high and back <= -rod_length <= front + ANCHOR_BEHIND
