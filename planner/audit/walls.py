"""Walls: that nothing gets past a rotation, out of an end of the plane, past the arm or round the collet's place.

A strike by d is one still when the tube, or what it strikes, is shifted by less than d, for distances never grow faster
than the way gone. Strikes whose reaches overlap from one end of a span to the other leave no way through it:

- across: at one rotation, at every advance that there is; whoever goes round past that rotation strikes;
- home: at every advance of the tube it strikes, with the arm at one angle that it must pass on its way home. Where it
  strikes something that stands whatever the arm does, it comes no farther: all beyond is covered. So is all beyond a
  strike of the straight that has come out of the die, which only grows as long as tube comes after it. A tube that
  stays in for its next bend goes as far as the closed collet runs. One that may be taken off needs a strike against
  what stands, however far the others reach: else it could be drawn off past the arm at another angle, which goes home
  without it. Or it strikes up to one advance, and at that one (`side`) with the arm anywhere from there to the
  setting: then the tube does not leave the corner in which the bend has left it. With the arm turned by β a point ρ
  from the die axis moves by less than ρβ, seen from what turns with it: a strike by d reaches d/ρ;
- held: at every distance of the collet's face from the tangent point at the bend's start.

Where the leading part's length adds to what is required (by σ for each mm, of floor and the profile's own solids),
going back by δ takes σδ off that: a strike by d reaches back by d/(1 + σ) only. Tube behind the tangent point reaches
forward only: there it comes out of the die, and never needs less for it; on the way back it may become the tail.

- cells: blocked rectangles of advance and rotation, each looked at anew, a touch larger than they are written, that
  part the two ends of a move, a load or an unload (`plane`).
- bare: a straight tube on its straight way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.audit.bench import State
from planner.audit.material import Standing
from planner.audit.plane import Blocked, Plane, Region, parts
from planner.audit.refused import Refused
from planner.audit.shapes import Array
from planner.audit.strikes import (
    Witness,
    columns,
    deep_in_bend,
    deep_in_place,
    deep_in_return,
    deep_over_cells,
    read_witness,
    solid_in_place,
    turning_about,
)  # fmt: skip
from planner.tolerances import (
    BEYOND_SNAP,
    LEAST_ADVANCE,
    LEAST_TURN,
    PROVED_ANGLE,
    PROVED_LENGTH,
    SNAP,
    SNAP_TURN,
    WALL_CELLS,
)


@dataclass
class Counts:
    """How much was confirmed."""

    witnesses: int = 0
    cells: int = 0


def strikes_in(record: Mapping[str, Any], key: str = "strikes") -> list[Witness]:
    """Return the witnesses of a wall."""
    return [read_witness(entry) for entry in record[key]]


def must_strike(witnesses: Sequence[Witness], deep: Array, counts: Counts) -> None:
    """Refuse the first witness that is not confirmed."""
    for witness, by in zip(witnesses, deep.tolist(), strict=True):
        if not by > 0.0:
            short = "nothing there asks for room" if by == -math.inf else f"{-by:.3f} mm are missing"
            raise Refused(f"nothing is struck: {witness}; {short}.")
    counts.witnesses += len(witnesses)


def must_cover(kind: str, span: tuple[float, float], low: Array, high: Array, unit: str = "mm") -> None:
    """Refuse reaches (N,) of strikes that leave a gap in a span [unit], ends included."""
    covered = span[0]
    for first, last in sorted(zip(low.tolist(), high.tolist(), strict=True)):
        if first > covered or covered >= span[1]:
            break
        covered = max(covered, last)
    if not (low.size and covered >= span[1] and low.min() <= span[0]):
        raise Refused(f'the wall "{kind}" covers {span[0]:.2f} to {covered:.2f} {unit}, not up to {span[1]:.2f}.')


def _reaches(state: State, tube: Standing, witnesses: Sequence[Witness], deep: Array) -> tuple[Array, Array]:
    """Return from which advance to which strikes hold at one pose (N,) [mm]."""
    y, leading = columns(witnesses, "advance"), columns(witnesses, "place") <= tube.tangent_u
    sag = np.array([state.bench.sag_to(witness.solid) for witness in witnesses])
    return y - np.where(leading, deep / (1.0 + sag), 0.0), y + deep


def home(state: State, record: Mapping[str, Any], clamp: float, farthest: float, counts: Counts) -> None:
    """Confirm that the arm cannot go home past the tube, at whatever advance that stands, with one clamp.

    farthest: the greatest advance there is [mm], infinite where the tube may be drawn off.
    """
    arm, witnesses = math.radians(float(record["arm"])), strikes_in(record)
    if not 0.0 <= arm <= state.here.printed + PROVED_ANGLE:
        raise Refused(f"the arm does not pass {math.degrees(arm):.3f}° on its way home.")
    if "side" in record:
        farthest = _side(state, strikes_in(record, "side"), arm, clamp, counts)
    passing = [witness for witness in witnesses if witness.phase == "return"]
    standing = [witness for witness in witnesses if witness.phase != "return"]
    if any(abs(witness.arm - arm) > PROVED_ANGLE for witness in passing):
        raise Refused(f"a wall with the arm at {math.degrees(arm):.3f}° has strikes with it elsewhere.")
    for witness in standing:
        if not witness.slides or state.bench.moves_by_itself(witness.solid):
            raise Refused(f"that the tube comes no farther, whatever the arm does, is not what it shows: {witness}.")
    tube = state.after
    moved = (deep_in_return(state, passing, clamp), deep_in_place(state, tube, standing, clamp))
    reaches = []
    for some, deep in zip((passing, standing), moved, strict=True):
        must_strike(some, deep, counts)
        reaches.append(_reaches(state, tube, some, deep))
    low = np.concatenate([first for first, _ in reaches])
    place, y = columns(passing, "place"), columns(passing, "advance")
    out = (place > tube.tangent_u + PROVED_LENGTH) & (tube.tangent_u + y - place > PROVED_LENGTH)
    behind = math.inf if math.isfinite(farthest) else tube.stock - tube.tangent_u
    high = np.where(out, np.maximum(reaches[0][1], behind), reaches[0][1])
    must_cover("home", (0.0, max(farthest, 0.0)), low, np.concatenate((high, np.full(len(standing), math.inf))))


def _side(state: State, witnesses: Sequence[Witness], arm: float, clamp: float, counts: Counts) -> float:
    """Confirm strikes at one advance with the arm from an angle [rad] to the setting; return the advance [mm]."""
    advances = columns(witnesses, "advance")
    if not advances.size or np.ptp(advances) > PROVED_LENGTH:
        raise Refused("the side of a wall against the arm's way home is not at one advance.")
    deep = deep_in_return(state, witnesses, clamp)
    must_strike(witnesses, deep, counts)
    about = turning_about(state, witnesses, clamp)
    reach = np.where(np.isnan(about), math.inf, np.rad2deg(deep / about))
    at = np.rad2deg(columns(witnesses, "arm"))
    span = (math.degrees(arm), math.degrees(state.here.printed))
    must_cover("home", span, at - reach, at + reach, "°")
    return float(advances.min())


def held(state: State, record: Mapping[str, Any], clamp: float, faces: tuple[float, float], counts: Counts) -> None:
    """Confirm that something is struck in the bend wherever the collet's face is at its start, in `faces` [mm].

    From the dies' closing on the carriage comes forward with the tail, and goes back with it when the tube springs
    back: with so much arc in the die it stands to the tube as it did in the swing, whatever hold comes after. What the
    carriage does not carry is struck wherever it is.
    """
    if record["kind"] != "held":
        raise Refused(f'a bend is not walled off by a wall "{record["kind"]}".')
    witnesses = strikes_in(record)
    if any(witness.phase not in ("dies close", "bend", "dies open") for witness in witnesses):
        raise Refused("a wall wherever the collet holds speaks of another moment than of the bend's.")
    deep = deep_in_bend(state, witnesses, clamp)
    must_strike(witnesses, deep, counts)
    carried = np.array([state.bench.carried(witness.solid) for witness in witnesses], dtype=bool)
    at = columns(witnesses, "face") + state.here.radius * columns(witnesses, "tube")
    low, high = np.where(carried, at - deep, -math.inf), np.where(carried, at + deep, math.inf)
    if faces[0] > faces[1]:
        raise Refused(f"the collet has no place from {faces[0]:.1f} to {faces[1]:.1f} mm: no wall speaks of that.")
    must_cover("held", faces, low, high)


@dataclass(frozen=True)
class Moving:
    """A tube that moves with the arm at home, and where to.

    state: whose tooling and clamps are in the machine; tube: as it stands at an advance of 0; shortest: the shortest
    clamp that may be there [mm]; farthest: the greatest advance that there is [mm]; slides: an arc just formed lies in
    the groove and slides straight out at first.
    """

    state: State
    tube: Standing
    shortest: float
    farthest: float
    slides: bool


def across(moving: Moving, record: Mapping[str, Any], counts: Counts) -> float:
    """Confirm a wall at one rotation over all advances; return the rotation [rad]."""
    roll, witnesses = math.radians(float(record["roll"])), strikes_in(record)
    if any(abs(witness.rotation - roll) > PROVED_ANGLE or witness.slides for witness in witnesses):
        raise Refused(f"a wall at {math.degrees(roll):.2f}° has strikes at another rotation.")
    deep = deep_in_place(moving.state, moving.tube, witnesses, moving.shortest)
    must_strike(witnesses, deep, counts)
    low, high = _reaches(moving.state, moving.tube, witnesses, deep)
    must_cover("across", (0.0, max(moving.farthest, 0.0)), low, high)
    return roll


def between(rolls: Sequence[float], roll: float) -> bool:
    """Say whether one of some walls' rotations lies between 0 and `roll` [rad], on the way from one to the other."""
    low, high = min(roll, 0.0) + PROVED_ANGLE, max(roll, 0.0) - PROVED_ANGLE
    turn = 2.0 * math.pi
    return any(low < wall + turn * math.ceil((low - wall) / turn) < high for wall in rolls)


def cells(moving: Moving, record: Mapping[str, Any], plane: Plane, goals: Sequence[Region], counts: Counts) -> bool:
    """Confirm every blocked cell of a wall and that the arc slides no farther; say if they part start and goals."""
    clamp, start = float(record["clamp"]), Region((0.0, 0.0), (0.0, 0.0))
    if not (math.isfinite(clamp) and 0.0 < clamp <= moving.shortest + PROVED_LENGTH):
        raise Refused(f"cells with a clamp of {clamp:g} mm say nothing of the one of {moving.shortest:g} mm.")
    if moving.slides:
        start = Region((0.0, _slides_to(moving, record, plane.y[1], counts)), (0.0, 0.0))
    if float(record["y"][1]) < plane.y[1] - PROVED_LENGTH:
        raise Refused(f"its plane ends at {float(record['y'][1]):.2f} mm, the tube may go to {plane.y[1]:.2f} mm.")
    blocked = _blocked(moving, record, clamp, counts)
    wide = Plane(
        (plane.y[0], max(plane.y[1], plane.y[0] + LEAST_ADVANCE)),
        (plane.rolls[0], max(plane.rolls[1], plane.rolls[0] + LEAST_TURN)),
        plane.goes_round,
    )
    return parts(wide, blocked, [start], goals)


def _slides_to(moving: Moving, record: Mapping[str, Any], end: float, counts: Counts) -> float:
    """Return the advance beyond which the arc cannot slide straight out of the groove [mm], as its strikes show.

    It may have slid there while the arm stood out and the pressure die forward: what moves with those proves nothing.
    """
    out, witnesses = float(record["slides_to"]), strikes_in(record, "slide_strikes")
    if not out >= 0.0:
        raise Refused(f"the arc slides straight out to {out:g} mm: there is no such advance.")
    for witness in witnesses:
        if not witness.slides or witness.advance > out + PROVED_LENGTH:
            raise Refused(f"that the arc slides no farther than {out:.2f} mm is not what it shows: {witness}.")
        if moving.state.bench.moves_by_itself(witness.solid):
            raise Refused(f"the tube may have been run forward while that stood elsewhere: {witness}.")
    must_strike(witnesses, deep_in_place(moving.state, moving.tube, witnesses, moving.shortest), counts)
    if not witnesses and out < end - PROVED_LENGTH:
        raise Refused(f"nothing shows that the arc slides straight out no farther than {out:.2f} mm, of {end:.2f} mm.")
    return out if witnesses else max(out, end)


def _blocked(moving: Moving, record: Mapping[str, Any], clamp: float, counts: Counts) -> Blocked:
    """Return the blocked cells of a wall, each looked at anew; refuses the first that is not blocked all over."""
    rows = record["cells"]
    if len(rows) > WALL_CELLS:
        raise Refused(f"a wall has {len(rows):,} cells: {WALL_CELLS:,} are more than any plane is cut into.")
    y, dy, roll, droll, place = (np.array([float(row[k]) for row in rows]) for k in range(5))
    roll, droll = np.deg2rad(roll), np.deg2rad(droll)
    if not (np.isfinite([y, dy, roll, droll, place]).all() and (dy >= 0.0).all() and (droll >= 0.0).all()):
        raise Refused("a wall has cells whose sides are none.")
    names = np.array([str(row[5]) for row in rows])
    for name in dict.fromkeys(names.tolist()):
        at = np.flatnonzero(names == name)
        solid = solid_in_place(moving.state, name, clamp, moving.shortest)
        wide = (dy[at] + BEYOND_SNAP * SNAP, droll[at] + BEYOND_SNAP * SNAP_TURN)
        deep = deep_over_cells(moving.state, moving.tube, solid, place[at], (y[at], wide[0]), (roll[at], wide[1]))
        for k, by in zip(at.tolist(), deep.tolist(), strict=True):
            if not by > 0.0:
                short = "" if by == -math.inf else f", {-by:.3f} mm are missing"
                raise Refused(
                    f"the cell at {y[k]:.2f} ± {dy[k]:.2f} mm, {np.rad2deg(roll[k]):.2f} ± {np.rad2deg(droll[k]):.2f}°"
                    f" is not blocked by {name} at {place[k]:.1f} mm of the tube{short}."
                )
    counts.cells += len(rows)
    return Blocked(y, dy, roll, droll)
