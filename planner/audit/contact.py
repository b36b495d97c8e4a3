"""What must keep clear of what: the contact table, and the pairs of tube and solid that a cover must hold.

In every phase every piece keeps `required` (and what the leading part's length adds) to floor and profile's solids,
`to_tooling` to die, hub, wiper, clamp and pressure die, and the leading part `to_itself` to the tail, but for what the
shop lets touch:

- What lies in the groove may touch die and wiper, overlapping by 1 mm at most: tail, arc being formed and first
  straight always; the arc just formed and the straight after it while gripped, in the return, and while they slide
  straight out. Where that arc is about half a turn, what follows runs back in the die's far side as it slides out.
- The tail is not held against pressure die and carriage. Tail, first straight and the arc in the die are not held
  against clamp and pressure die while these grip; the arc at the gripped straight's far end may touch the clamp.
- The gripped straight rests on the arm beyond the clamp: it keeps `to_tooling` there, and what the clamp holds nothing.
- The tail is held against the leading part in the bend only (between bends they are one rigid body), and against the
  first straight beyond 90° of swing only.

**What lies in the groove stays in it.** Let R be the radius of the groove's centre circle and of the arc. A point at an
angle α of an arc that has slid out by y lies at ρ² = (R sin α + y)² + (R cos α)² = R² + 2Ry sin α + y² from the die
axis, and a point ℓ beyond its end at ρ² = R² + ℓ² + y² + 2y(R sin α + ℓ cos α) ≥ R² + (ℓ − y)². Up to α = 180° both
are R or more; on the tangent line ρ² = R² + x². A sphere of the groove's radius about a point at the groove's height
with ρ ≥ R touches the die at its lips at most, so these pairs need no cells. An arc that was bent round a larger die
stays out of its own circle, which holds the smaller die's; one that was bent round a smaller die does not fit.
The wiper ends at x = 0. A cross-section at an angle α from the start reaches from R − r to R + r about the axis, and
x = y + ρ sin α + ℓ cos α is not negative up to 180° of arc, nor up to 90° for the straight beyond.

**What another motion covers.** The clamp's travel and the pressure die's is held against the leading part as the dies
close; in the bend the clamp turns with the leading part, which stands to it as then. Closing dies move nothing else:
all else stands as in the bend's first moment. The re-grip moves the carriage alone: the rest stands as in the bend's
last. As the arm goes home tube, frame and carriage stand as at the end of the motion before. A rotation turns tail and
come-out straight on the spot.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from planner.audit import solids
from planner.audit.motions import Motion, Phase, Role
from planner.audit.solids import Solid
from planner.inputs.machine import Machine, Tooling

Need = Literal["ease", "tooling", "itself", "required"]

HALF_TURN = math.radians(175.0)
"""From this angle of arc on what follows it runs back along the die's far side [rad]."""

SAME_RADIUS = 0.05
"""An arc fits a die that is larger by this at most [mm], as tooling fits a drawing."""

GRIPPED: tuple[Phase, ...] = ("dies close", "bend", "re-grip", "dies open")


@dataclass(frozen=True)
class Wanted:
    """A pair that must be covered: a piece of a body, a solid in its state, what it needs, and which part of the cover.

    from_s: only what lies beyond this counts [mm]; from_t: only from this moment on.
    """

    body: int
    piece: int
    solid: Solid
    need: Need
    from_s: float = 0.0
    from_t: float = 0.0


def wanted(motion: Motion, machine: Machine) -> Iterator[Wanted]:
    """Yield the pairs that the cover of a motion must hold."""
    right_angle = math.pi / 2.0
    swing = motion.arm[1] - motion.arm[0]
    for solid in solids_about(motion, machine):
        for number, body in enumerate(motion.bodies):
            for piece, role in enumerate(body.roles):
                need = must_keep(role, solid, motion)
                if need is None or (need == "ease" and _stays_in_groove(role, body.runs, solid, motion)):
                    continue
                from_s = from_t = 0.0
                if role == "first" and motion.phase == "bend" and solid.tool in ("its own tail", "wiper die"):
                    if swing <= right_angle:
                        continue
                    from_t = right_angle / swing
                if _rests_on_arm(role, solid, motion.phase):
                    from_s = min(motion.clamp, float(body.chain.length[piece]))
                yield Wanted(number, piece, solid, need, from_s, from_t)


def must_keep(role: Role, solid: Solid, motion: Motion) -> Need | None:
    """Return what a piece in a role must keep to a solid in a motion, None where they are not held apart."""
    phase, tool = motion.phase, solid.tool
    if tool == "its own tail":
        return "itself" if phase == "bend" and role in ("first", "far arc", "earlier") else None
    if tool in ("floor", "solid"):
        if role == "tail" and solid.owner == "carriage":
            return None
        return "tooling" if _rests_on_arm(role, solid, phase) else "required"
    if tool in ("bend die", "wiper die") and _lies_in_groove(role, motion):
        return "ease"
    if tool == "bend die" and role == "earlier" and _slides_out(motion) and motion.arc >= HALF_TURN:
        return "ease"
    if tool in ("clamp die", "pressure die"):
        if role == "tail" and tool == "pressure die":
            return None
        if phase in GRIPPED and role in ("tail", "forming", "first", "just formed"):
            return None
        if phase in GRIPPED and role == "far arc" and tool == "clamp die":
            return "ease"
    return "tooling"


def _lies_in_groove(role: Role, motion: Motion) -> bool:
    if role in ("tail", "forming", "first"):
        return True
    if role not in ("just formed", "after it"):
        return False
    return motion.phase in ("re-grip", "dies open", "return") or _slides_out(motion)


def _slides_out(motion: Motion) -> bool:
    return motion.phase == "place" and motion.slides


def _rests_on_arm(role: Role, solid: Solid, phase: Phase) -> bool:
    return role == "first" and solid.owner == "arm" and solid.tool == "solid" and phase == "bend"


def _stays_in_groove(role: Role, runs: bool, solid: Solid, motion: Motion) -> bool:
    """Say whether the lemma of the module's docstring settles a pair that may touch."""
    slid = motion.arc > 0.0 and motion.arc_radius >= motion.tooling.bend_radius - SAME_RADIUS
    to_half_turn, to_right_angle = slid and motion.arc <= math.pi, slid and motion.arc <= math.pi / 2.0
    if solid.tool == "bend die":
        return role in ("tail", "first", "forming") or (role in ("just formed", "after it") and to_half_turn)
    if solid.tool != "wiper die":
        return False
    if role == "forming":
        return max(motion.arm) <= math.pi
    return (
        role == "tail"
        or (role == "first" and runs)
        or (role == "just formed" and to_half_turn)
        or (role == "after it" and to_right_angle)
    )


def solids_about(motion: Motion, machine: Machine) -> tuple[Solid, ...]:
    """Return the solids that a motion is held against, in the state they have in it."""
    return _about(
        motion.phase, motion.arm[0] != motion.arm[1], motion.face is not None, motion.clamp, motion.pressure,
        motion.tail if motion.phase == "bend" else 0.0, _Known(machine, motion.tooling),
    )  # fmt: skip


class _Known:
    """Machine and tooling, the same wherever they are the same objects."""

    def __init__(self, machine: Machine, tooling: Tooling) -> None:
        self.machine, self.tooling = machine, tooling

    def __hash__(self) -> int:
        return hash((id(self.machine), id(self.tooling)))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Known) and self.machine is other.machine and self.tooling is other.tooling


@lru_cache(maxsize=512)
def _about(
    phase: Phase, arm_moves: bool, held: bool, clamp: float, pressure: tuple[float, float], tail: float, known: _Known
) -> tuple[Solid, ...]:
    machine, tooling = known.machine, known.tooling
    every = solids.machine_solids(machine, tooling)
    frame = tuple(solid for solid in every if solid.owner in ("frame", "bend die"))
    arm = tuple(solid for solid in every if solid.owner == "arm")
    carriage = tuple(solid for solid in every if solid.owner == "carriage") if held else ()
    opens, away = tooling.clamp_block.opens, tooling.pressure_block.opens
    forward = (min(pressure), max(pressure))

    def block(opening: tuple[float, float], way: tuple[float, float]) -> Solid:
        return replace(solids.pressure_block(machine, tooling, opening, way), owner="frame")

    open_clamp = solids.clamp_block(machine, tooling, clamp, (opens, opens))
    if phase == "dies close":
        return (block((0.0, away), (0.0, 0.0)), solids.clamp_block(machine, tooling, clamp, (0.0, opens)))
    if phase == "bend":
        closed = solids.pressure_block(machine, tooling, (0.0, 0.0))
        behind = solids.tail(tail, tooling.tube_diameter / 2.0)
        return (*frame, *carriage, *arm, closed, behind)
    if phase == "re-grip":
        return carriage
    if phase == "dies open":
        return (*frame, *carriage, *arm, open_clamp, block((0.0, away), forward))
    if phase == "return" and arm_moves:
        return (*arm, open_clamp, block((away, away), forward))
    return (*frame, *carriage, *arm, open_clamp, block((away, away), forward))
