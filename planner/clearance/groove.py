"""What is settled by geometry, without cells: what stays in the grooves that it lies in, and what is on the rod."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.clearance.solids import Tool
from planner.tube.bodies import Path, Phase, Role
from planner.tube.frames import Array


@dataclass(frozen=True)
class Groove:
    """What decides whether tube stays in the grooves.

    arc: angle of the arc just formed, swing: the greatest of the arm in the motion [rad]; past_section: the arc at the
    end of the straight in the die begins at or beyond the grip section's end.
    """

    arc: float
    swing: float
    past_section: bool = False


def stays_in_groove(role: Role, tool: Tool, path: Path, groove: Groove) -> bool:
    """Say whether a piece that may touch die, wiper or grip section provably never presses into it, by (5) and (6).

    With R the radius of the groove's centre, the point at an angle α of an arc that slides out by y, and the point ℓ
    beyond its end, lie at a distance ρ from the die axis of

        ρ² = R² + 2 R y sin α + y²,      ρ² = R² + ℓ² + 2 y (R sin α + ℓ cos α) + y²          (5)

    so ρ ≥ R for an arc up to 180° and for the straight behind it: ℓ² + y² + 2 y ℓ cos α ≥ (ℓ − y)². On the tangent line
    ρ² = R² + x². With ρ ≥ R at the groove's height the tube, as thick as the groove, does not press into the die.

    The wiper ends at x = 0. A cross-section across the tube at α reaches from R − r to R + r about the die axis, so
    x = y + ρ sin α + ℓ cos α is never negative up to 180° of arc, nor on a straight up to 90° (`only_beyond`); on the
    feed's axis the tube lies in the wiper's bore.

    The grip section fills 0 ≤ x ≤ L, −depth ≤ y ≤ 0 of the arm's frame, depth ≤ R. Seen from an arm at β the feed's
    line is the tangent at −β of the groove's circle: x = −R sin β + ℓ cos β, y = −R + R cos β + ℓ sin β, ℓ from the
    tangent point. Behind it (the tail, ℓ < 0) all of the tube has x ≤ 0 up to 90° and y ≤ −R from there to 180°; before
    it,

        y + A (1 − cos β) ≥ (1 − cos β)(R − A)/cos β ≥ 0 wherever x ≥ 0, A² = r² − z²          (6)

    up to 90°, so that it comes out of the groove's mouth, and x ≤ 0 from there on. The arc in the die has x ≤ 0 up to
    180°. What begins at the section's end has x ≥ L up to 180° of arc, and on the straight after it up to 90°. A piece
    that none of this covers is checked like any other.
    """
    arc, half_swing = groove.arc, groove.swing <= np.pi
    to_half_turn, to_right_angle = 0.0 < arc <= np.pi, 0.0 < arc <= np.pi / 2.0
    on_line, past = path is Path.LINE, groove.past_section
    roles = (Role.TAIL, Role.FIRST, Role.FORMING, Role.FORMED, Role.AFTER)
    settled = {
        Tool.DIE: (True, True, True, to_half_turn, to_half_turn),
        Tool.WIPER: (True, on_line, half_swing, to_half_turn, to_right_angle),
        Tool.SECTION: (half_swing, half_swing, half_swing, past and to_half_turn, past and to_right_angle),
    }
    return tool in settled and dict(zip(roles, settled[tool], strict=True)).get(role, False)


def only_beyond(role: Role, tool: Tool, phase: Phase) -> bool:
    """Say whether a pair counts only beyond 90° of swing: the gripped straight against tail, rod or wiper."""
    return phase is Phase.BEND and role is Role.FIRST and tool in (Tool.TAIL, Tool.WIPER, Tool.ROD)


def off_the_rod(roles: tuple[Role, ...], curvature: Array, length: Array, on_mandrel: float) -> Array:
    """Return from which arc length on each piece of a body is off the rod, and so held against it (m,) [mm].

    The arc in the die, or just out of it, is on the rod or leaves the feed's line, and comes back to it only beyond
    half a turn. on_mandrel: how far past the tangent point nose and balls reach, and a tube's diameter more [mm]: of an
    arc shorter than that the straight after it begins on them.
    """
    found = np.zeros(len(roles))
    for i, role in enumerate(roles):
        if role in (Role.FORMING, Role.FORMED):
            found[i] = np.pi / curvature[i]
        elif role is Role.AFTER:
            found[i] = max(on_mandrel - float(length[0]), 0.0)
    return found
