"""What must keep clear of what: the contact table, and the pairs of tube and solid that a cover must hold.

In every phase every piece keeps `required` (and what the leading part's length adds) to floor and profile's solids,
`to_tooling` to die, hub, wiper, clamp, pressure die, grip section, mandrel and rod, and the leading part `to_itself` to
the tail, but for what the shop lets touch:

- What lies in the groove may touch die and wiper, overlapping by 1 mm at most: tail, arc being formed and first
  straight always; the arc just formed and the straight after it while gripped, in the return, and while they slide
  straight out. Where that arc is about half a turn, what follows runs back in the die's far side as it slides out.
- The tail is not held against pressure die and carriage. Tail, first straight and the arc in the die are not held
  against clamp and pressure die while these grip; the arc at the gripped straight's far end may touch the clamp.
- The gripped straight rests on the arm beyond the clamp: it keeps `to_tooling` there, and what the clamp holds nothing.
- The tail is held against the leading part in the bend only (between bends they are one rigid body), and against the
  first straight beyond 90° of swing only.
- In the grip section's groove lie tail, first straight, the arc in the die and the one just formed: these may overlap
  it by 1 mm, and the straight after that one while gripped, in the return and while it slides straight out. The arc at
  the far end of the straight in the die begins where the section ends, and may touch it always.
- Tube that is on mandrel and rod is not held against them: the tail, the first straight (but beyond 90° of swing), the
  arc in the die or just formed up to half a turn, and of the straight after it what lies on nose and balls or within a
  diameter of them: as far from the tangent point, along the tube, as they reach and a diameter more.

**What lies in the groove stays in it.** Let R be the radius of the groove's centre circle and of the arc. A point at an
angle α of an arc that has slid out by y lies at ρ² = (R sin α + y)² + (R cos α)² = R² + 2Ry sin α + y² from the die
axis, and a point ℓ beyond its end at ρ² = R² + ℓ² + y² + 2y(R sin α + ℓ cos α) ≥ R² + (ℓ − y)². Up to α = 180° both
are R or more; on the tangent line ρ² = R² + x². A sphere of the groove's radius about a point at the groove's height
with ρ ≥ R touches the die at its lips at most, so these pairs need no cells. An arc that was bent round a larger die
stays out of its own circle, which holds the smaller die's; one that was bent round a smaller die does not fit, but for
the δ by which tooling may differ from a drawing that it fits: then it presses in by 2δ at most, far less than it may.
The wiper ends at x = 0. A cross-section at an angle α from the start reaches from R − r to R + r about the axis, and
x = y + ρ sin α + ℓ cos α is not negative up to 180° of arc, nor up to 90° for the straight beyond.

**The grip section** fills 0 ≤ X ≤ L, 0 ≤ Y ≤ depth ≤ R of the arm's frame, Y toward the die axis at (0, R), less the
bore Y² + z² < r². A point of the tube lies at a, a² + z² ≤ r², across the centreline in the arm's plane. Seen from an
arm at β the feed's line, and at β = γ the gripped straight when it has sprung back by γ, has

    X = ℓ cos β − (R − a) sin β,      Y = R − (R − a) cos β − ℓ sin β

with ℓ from the tangent point. Up to 90° the tail, ℓ ≤ 0, has X ≤ 0; beyond, up to 180°, Y ≥ R. The straight ahead,
ℓ ≥ 0, has X ≤ 0 beyond 90°, and X ≥ 0 before it only for ℓ ≥ (R − a) tan β: then Y ≤ R − (R − a)/cos β ≤ a, so that it
is out of the groove's mouth, Y < 0, or in the bore, Y² + z² ≤ a² + z². The arc in the die lies behind the section's
beginning, X = −ρ sin ψ ≤ 0 for ψ up to 180°. With the arm at home and the tube fed by y ≥ L the arc just formed and, up
to 90° of it, the straight beyond have x = y + ρ sin α + ℓ cos α ≥ L at every roll. None of these needs cells.

**What another motion covers.** The clamp's travel and the pressure die's is held against the leading part as the dies
close; in the bend the clamp turns with the leading part, which stands to it as then. Closing dies move nothing else:
all else stands as in the bend's first moment. The re-grip moves the carriage alone: the rest stands as in the bend's
last; so does a run of the open carriage. As the arm goes home past a tube that stands, frame and carriage stand as at
the end of the motion before. A rotation turns tail and come-out straight on the spot.
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
from planner.tolerances import HALF_TURN, SAME_PLACE, SAME_SIZE

Need = Literal["ease", "tooling", "itself", "required"]

Span = tuple[float, float]

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
                from_t, length = 0.0, float(body.chain.length[piece])
                if only_beyond_right_angle(role, solid, motion.phase):
                    if swing <= right_angle:
                        continue
                    from_t = right_angle / swing
                from_s = held_to(role, solid, motion.phase, motion.clamp)
                if solid.tool == "mandrel rod":
                    arc = float(body.chain.length[0]) if piece == 1 else 0.0
                    from_s = on_the_rod(role, float(body.chain.curvature[piece]), arc, motion.tooling, machine)
                yield Wanted(number, piece, solid, need, min(from_s, length), from_t)


def must_keep(role: Role, solid: Solid, motion: Motion) -> Need | None:
    """Return what a piece in a role must keep to a solid in a motion, None where they are not held apart."""
    phase, tool = motion.phase, solid.tool
    if max(motion.drop) > 0.0 and tool in ("bend die", "grip section"):
        return _to_lowered(role, tool, motion)
    if tool == "its own tail":
        return "itself" if phase == "bend" and role in ("first", "far arc", "earlier") else None
    if tool in ("floor", "solid"):
        if role == "tail" and solid.owner == "carriage":
            return None
        return "tooling" if _rests_on_arm(role, solid, phase) else "required"
    if tool == "grip section":
        always = role in ("just formed", "far arc")
        return "ease" if always or _lies_in_groove(role, motion) else "tooling"
    if tool == "mandrel rod":
        return None if role == "tail" or (role == "first" and phase != "bend") else "tooling"
    if tool in ("bend die", "wiper die") and _lies_in_groove(role, motion):
        return "ease"
    if tool == "bend die" and role in ("far arc", "earlier") and _slides_out(motion) and motion.arc >= HALF_TURN:
        return "ease"
    if tool in ("clamp die", "pressure die"):
        if role == "tail" and tool == "pressure die":
            return None
        if phase in GRIPPED and role in ("tail", "forming", "first", "just formed"):
            return None
        if phase in GRIPPED and role == "far arc" and tool == "clamp die":
            return "ease"
    return "tooling"


def _to_lowered(role: Role, tool: str, motion: Motion) -> Need | None:
    """Return what a piece must keep to a groove that has been lowered, goes down or comes up.

    How a die that drops frees itself of what lies in it is the machine's own doing, and not checked. What has been
    formed lies in it no longer as it comes up.
    """
    if motion.phase != "die drops":
        return "tooling"
    if motion.drop[1] < motion.drop[0] and role in ("just formed", "after it", "far arc"):
        return "ease" if (role, tool) == ("just formed", "grip section") else "tooling"
    if role == "far arc":
        return None if tool == "grip section" else "tooling"
    return "tooling" if role == "earlier" else None


def only_beyond_right_angle(role: Role, solid: Solid, phase: Phase) -> bool:
    """Say whether a pair counts beyond 90° of swing only: the gripped straight against what lies along the feed."""
    return role == "first" and phase == "bend" and solid.tool in ("its own tail", "wiper die", "mandrel rod")


def held_to(role: Role, solid: Solid, phase: Phase, clamp: float) -> float:
    """Return how much of a piece the clamp holds away from a solid [mm]: of what rests on the arm, its own length."""
    return clamp if _rests_on_arm(role, solid, phase) else 0.0


def on_the_rod(role: Role, curvature: float, arc: float, tooling: Tooling, machine: Machine) -> float:
    """Return how much of a piece, from its end nearer the tangent point, is not held against mandrel and rod [mm].

    arc: length of the arc just formed, before the straight after it [mm].
    """
    tip = machine.mandrel_of(tooling)
    if tip is None:
        return 0.0
    if role in ("forming", "just formed"):
        return math.pi / curvature
    return max(tip.reach + tooling.tube_diameter - arc, 0.0) if role == "after it" else 0.0


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
    """Say whether the lemmas of the module's docstring settle a pair that may touch."""
    slid = motion.arc > 0.0 and motion.arc_radius >= motion.tooling.bend_radius - SAME_SIZE - SAME_PLACE
    to_half_turn, to_right_angle = slid and motion.arc <= math.pi, slid and motion.arc <= math.pi / 2.0
    if solid.tool == "bend die":
        return role in ("tail", "first", "forming") or (role in ("just formed", "after it") and to_half_turn)
    if solid.tool == "grip section":
        return _clear_of_section(role, motion, to_half_turn, to_right_angle)
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


def _clear_of_section(role: Role, motion: Motion, to_half_turn: bool, to_right_angle: bool) -> bool:
    """Say whether a piece that may touch the grip section never does, by the lemma of the module's docstring."""
    if role in ("tail", "first", "forming"):
        return max(motion.arm) <= math.pi
    section = motion.tooling.section(motion.clamp)
    if section is None or motion.arm != (0.0, 0.0) or motion.past < section.length - SAME_PLACE:
        return False
    return (role == "just formed" and to_half_turn) or (role == "after it" and to_right_angle)


def solids_about(motion: Motion, machine: Machine) -> tuple[Solid, ...]:
    """Return the solids that a motion is held against, in the state they have in it."""
    arm_alone = motion.phase == "return" and motion.arm[0] != motion.arm[1] and not motion.feeds
    return _about(
        motion.phase, arm_alone, motion.face is not None, motion.clamp, motion.pressure,
        (motion.tail, motion.fed) if motion.phase == "bend" else (0.0, 0.0), motion.wall,
        _Known(machine, motion.tooling),
    )  # fmt: skip


def solids_in(
    phase: Phase,
    machine: Machine,
    tooling: Tooling,
    wall: float,
    clamp: float,
    forward: float = 0.0,
    tail: float = 0.0,
) -> tuple[Solid, ...]:
    """Return all solids that some tube is held against in a phase, whatever moves, in the state they have in it.

    clamp: its length; forward: of the pressure die once it follows; tail: left behind the tangent point [mm].
    """
    return _about(phase, False, True, clamp, (forward, forward), (tail, 0.0), wall, _Known(machine, tooling))


class _Known:
    """Machine and tooling, the same wherever they are the same objects."""

    def __init__(self, machine: Machine, tooling: Tooling) -> None:
        self.machine, self.tooling = machine, tooling

    def __hash__(self) -> int:
        return hash((id(self.machine), id(self.tooling)))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Known) and self.machine is other.machine and self.tooling is other.tooling


def pressure_die(machine: Machine, tooling: Tooling, opening: Span, way: Span) -> tuple[Solid, ...]:
    """Return the pressure die and what moves with it, swept over an opening and a way forward [mm], as they stand."""
    swept = (
        solids.pressure_block(machine, tooling, opening, way),
        *solids.beside_pressure_die(machine, opening, way),
    )
    return tuple(replace(solid, owner="frame") for solid in swept)


@lru_cache(maxsize=512)
def _about(
    phase: Phase, arm_alone: bool, carried: bool, clamp: float, pressure: Span, tail: Span, wall: float, known: _Known
) -> tuple[Solid, ...]:
    machine, tooling = known.machine, known.tooling
    every = solids.machine_solids(machine, tooling)
    carriage = tuple(solid for solid in every if solid.owner == "carriage") if carried else ()
    opens, away = tooling.clamp_block.opens, tooling.pressure_block.opens
    forward = (min(pressure), max(pressure))
    if phase == "dies close":
        clamp_travel = solids.clamp_block(machine, tooling, clamp, (0.0, opens))
        return (*pressure_die(machine, tooling, (0.0, away), (0.0, 0.0)), clamp_travel)
    if phase in ("re-grip", "carriage run"):
        return carriage
    if phase == "die drops":
        dies = (solid for solid in every if solid.owner == "bend die")
        return (*dies, *solids.grip_section(machine, tooling, clamp))
    drawn_back = phase == "place" and machine.mandrel is not None and machine.mandrel.draws_back
    standing = (
        *(solid for solid in every if solid.owner in ("frame", "bend die")), *carriage,
        *solids.mandrel_rod(machine, tooling, wall, drawn_back),
    )  # fmt: skip
    arm = (*(solid for solid in every if solid.owner == "arm"), *solids.grip_section(machine, tooling, clamp))
    if phase == "bend":
        closed = (solids.pressure_block(machine, tooling, (0.0, 0.0)), *solids.beside_pressure_die(machine, (0.0, 0.0)))
        return (*standing, *arm, *closed, *solids.tail(tail[0], tooling.tube_diameter / 2.0, tail[1]))
    opening = (0.0, away) if phase == "dies open" else (away, away)
    opened = (
        *arm, solids.clamp_block(machine, tooling, clamp, (opens, opens)),
        *pressure_die(machine, tooling, opening, forward),
    )  # fmt: skip
    return opened if arm_alone else (*standing, *opened)
