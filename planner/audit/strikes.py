"""Witnesses of the document: where the tube's material and the solid are at that moment, and how much too near.

Everything is reckoned from phase, place, advance, rotation, arm and collet as the witness says them, in a state of the
tube that the auditor built itself: which bends are formed, which end leads, how much trim there is. A moment that never
is (an arm beyond the setting, a collet with no place) is refused, and so is a solid that proves nothing in a phase.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from planner.audit.bench import State
from planner.audit.looks import Look
from planner.audit.material import Ints, Lean, Standing
from planner.audit.motions import Phase
from planner.audit.refused import Refused
from planner.audit.shapes import Array
from planner.audit.solids import TAIL_END, Solid
from planner.tolerances import PROVED_ANGLE, PROVED_FORWARD, PROVED_LENGTH

PHASES: Final[tuple[Phase, ...]] = ("dies close", "bend", "re-grip", "dies open", "return", "place")
TAILS: Final = ("its own tail", TAIL_END)
LEANS: Final[tuple[Lean, Lean]] = (1, -1)


@dataclass(frozen=True)
class Witness:
    """One witness as the document writes it; lengths [mm], angles [rad]."""

    phase: Phase
    place: float
    solid: str
    clamp: float | None
    advance: float
    rotation: float
    arm: float
    tube: float
    face: float | None
    pressure: float
    slides: bool

    def __str__(self) -> str:
        return (
            f'"{self.phase}", at {self.place:.1f} mm of the tube against {self.solid}, advance {self.advance:.1f} mm,'
            f" rotation {math.degrees(self.rotation):.2f}°, arm {math.degrees(self.arm):.2f}°"
        )


def read_witness(record: Mapping[str, Any]) -> Witness:
    """Return a witness of the document; refuses what is none."""
    phase = record["phase"]
    if phase not in PHASES:
        raise Refused(f'a witness speaks of the phase "{phase}": there is no such phase.')
    numbers = {key: float(record[key]) for key in ("place", "advance", "rotation", "arm", "tube", "pressure")}
    clamp, face = (None if record[key] is None else float(record[key]) for key in ("clamp", "face"))
    known = [*numbers.values(), *(value for value in (clamp, face) if value is not None)]
    if not all(math.isfinite(value) for value in known) or numbers["advance"] < -PROVED_LENGTH:
        raise Refused(f'a witness of "{phase}" has numbers that are none, or goes back behind the start: {known}.')
    rotation, arm, tube = (math.radians(numbers[key]) for key in ("rotation", "arm", "tube"))
    at_rest = {"place": (arm, tube), "return": (rotation, tube)}.get(phase, (rotation,))
    if any(abs(value) > PROVED_ANGLE for value in at_rest):
        raise Refused(
            f'a witness of "{phase}" has a rotation of {numbers["rotation"]:g}°, the arm at {numbers["arm"]:g}° and'
            f" {numbers['tube']:g}° of arc in the die: what stands still then is not at 0."
        )
    return Witness(
        phase, numbers["place"], str(record["solid"]), clamp, max(numbers["advance"], 0.0), rotation, arm, tube, face,
        numbers["pressure"], record["slides"] is True,
    )  # fmt: skip


# ---------------------------------------------------------------------- the bend, from dies close to dies open


def deep_in_bend(state: State, witnesses: Sequence[Witness], clamp: float, stands: float | None = None) -> Array:
    """Return how deep witnesses (N,) of the bend are [mm], with a clamp of this length [mm].

    What the carriage carries stands where they say that the collet's face is, or where it waits with the collet open
    (stands) [mm]. A re-grip moves the carriage alone: the tube stands as in the bend's last moment.
    """
    moments = np.array([_moment(state, witness) for witness in witnesses]).reshape(-1, 2)
    angle, arm = moments[:, 0], moments[:, 1]
    place, face = columns(witnesses, "place"), columns(witnesses, "face")
    if stands is not None:
        face = np.full_like(place, stands)
    deep = np.full(len(witnesses), -math.inf)
    for lean in LEANS:
        points = state.gripped.points(place, angle, lean)
        for at, (said, name, tail) in _groups([(w.phase, w.solid, _tail(state, w)) for w in witnesses]):
            phase: Phase = "bend" if said == "re-grip" else said
            look = Look(state, phase, _solid_in_bend(state, phase, name, clamp, tail), arm[at], face[at], clamp)
            deep[at] = np.maximum(deep[at], look.deep(points.take(at), angle[at]))
        if not points.near_end:
            break
    return deep


def _moment(state: State, witness: Witness) -> tuple[float, float]:
    """Return the arc in the die and the arm's angle [rad] of a witness of the bend; refuses what never is."""
    setting, angle, arm, tube = state.here.printed, state.here.angle, witness.arm, witness.tube
    spans = {
        "dies close": ((0.0, 0.0), (0.0, 0.0)),
        "bend": ((0.0, setting), (arm, arm)),
        "re-grip": ((setting, setting), (setting, setting)),
        "dies open": ((setting, setting), (angle, setting)),
    }
    if witness.phase not in spans:
        raise Refused(f"a witness of the bend is one of another phase: {witness}.")
    for value, (low, high) in zip((arm, tube), spans[witness.phase], strict=True):
        if not low - PROVED_ANGLE <= value <= high + PROVED_ANGLE:
            raise Refused(
                f"there is no such moment: {witness}, {math.degrees(tube):.4f}° of arc in the die; the arm goes to"
                f" {math.degrees(setting):.4f}°, the tube springs back to {math.degrees(angle):.4f}°."
            )
    swing = {"bend": arm, "dies open": setting, "re-grip": setting}.get(witness.phase, 0.0)
    forward = state.here.radius * swing if state.tooling.pressure_die_follows else 0.0
    _check_pressure(witness, forward, forward)
    return min(max(tube, 0.0), setting), min(max(arm, 0.0), setting)


def _check_pressure(witness: Witness, least: float, most: float) -> None:
    if not least - PROVED_FORWARD <= witness.pressure <= most + PROVED_FORWARD:
        raise Refused(f"the pressure die stands {witness.pressure:.3f} mm forward in no such moment: {witness}.")


def _tail(state: State, witness: Witness) -> float:
    """Return the tube left behind the tangent point in a bend where the tail is what is struck [mm], else 0."""
    if witness.solid not in TAILS:
        return 0.0
    return max(state.stock - state.here.start - state.here.radius * max(witness.tube, 0.0), 0.0)


def _solid_in_bend(state: State, phase: Phase, name: str, clamp: float, tail: float) -> Solid:
    """Return a solid as it stands in a phase of the bend; refuses one that is not held against the tube then.

    Whichever part of the tail is named, it is all of the tail that is left at that moment.
    """
    solid = state.solid(phase, TAILS[0] if name in TAILS else name, clamp, tail)
    if solid is None:
        raise Refused(f'in the phase "{phase}" no part of the tube is held against "{name}".')
    return solid


# ---------------------------------------------------------------------- the arm's return


def deep_in_return(state: State, witnesses: Sequence[Witness], clamp: float) -> Array:
    """Return how deep witnesses (N,) of the arm's way home are [mm], the tube run forward to where they say."""
    for w in witnesses:
        if w.phase != "return" or abs(w.rotation) > PROVED_ANGLE:
            raise Refused(f"a witness of the arm's return is none: {w}.")
        if not -PROVED_ANGLE <= w.arm <= state.here.printed + PROVED_ANGLE:
            raise Refused(f"the arm does not go so far, {math.degrees(state.here.printed):.4f}° at most: {w}.")
        _check_pressure(w, 0.0, state.followed)
    tube, place, y = state.after, columns(witnesses, "place"), columns(witnesses, "advance")
    arm = np.clip(columns(witnesses, "arm"), 0.0, state.here.printed)
    deep, nowhere = np.full(len(witnesses), -math.inf), np.full(len(witnesses), math.nan)
    for lean in LEANS:
        points = tube.points(place, y, np.zeros_like(y), lean)
        for at, (name,) in _groups([(w.solid,) for w in witnesses]):
            solid = _solid_in_return(state, name, clamp)
            look = Look(
                state, "return", solid, arm[at], nowhere[at], clamp, arc=tube.arc, arc_length=tube.arc_length
            )  # fmt: skip
            deep[at] = np.maximum(deep[at], look.deep(points.take(at), arm[at]))
        if not points.near_end:
            break
    return deep


def turning_about(state: State, witnesses: Sequence[Witness], clamp: float) -> Array:
    """Return how far from the die axis the tube's surface is at most at witnesses of the return (N,) [mm].

    No number where what is struck does not turn with the arm: the tube stands to it as it does whatever the arm.
    """
    place, y = columns(witnesses, "place"), columns(witnesses, "advance")
    axis = state.bench.toward * state.here.radius
    found = np.zeros(len(witnesses))
    for lean in LEANS:
        x = state.after.points(place, y, np.zeros_like(y), lean).x
        found = np.maximum(found, np.hypot(x[0], x[1] - axis) + state.bench.radius)
    turns = [_solid_in_return(state, witness.solid, clamp).owner == "arm" for witness in witnesses]
    return np.where(turns, found, math.nan)


def _solid_in_return(state: State, name: str, clamp: float) -> Solid:
    """Return a solid on the arm's way home; refuses the pressure die, which stands forward or at home, as it likes."""
    if state.bench.with_pressure_die(name):
        raise Refused(f'on the arm\'s way home a strike against "{name}" proves nothing.')
    return _standing_by(state, name, "return", clamp)


def _standing_by(state: State, name: str, phase: Phase, clamp: float) -> Solid:
    """Return a solid that stands by whatever the collet holds; refuses what the carriage carries, or may be lowered."""
    elsewhere = state.bench.carried(name) or state.bench.may_be_down(name)
    solid = None if elsewhere else state.solid(phase, name, clamp)
    if solid is None:
        raise Refused(f'in the phase "{phase}" a strike against "{name}" proves nothing.')
    return solid


# ---------------------------------------------------------------------- between bends, on and off


def deep_in_place(state: State, tube: Standing, witnesses: Sequence[Witness], shortest: float) -> Array:
    """Return how deep witnesses (N,) of a tube that moves between bends, or on or off, are [mm].

    state: the one whose tooling is in the machine; shortest: the shortest clamp that may be there [mm].
    """
    for w in witnesses:
        if w.phase != "place" or abs(w.arm) > PROVED_ANGLE or abs(w.pressure) > PROVED_FORWARD:
            raise Refused(f"a witness of a tube that moves with the arm at home is none: {w}.")
        if w.slides and abs(w.rotation) > PROVED_ANGLE:
            raise Refused(f"an arc does not slide straight out once it is rotated: {w}.")
    place, y, roll = (columns(witnesses, name) for name in ("place", "advance", "rotation"))
    deep = np.full(len(witnesses), -math.inf)
    for lean in LEANS:
        points = tube.points(place, y, roll, lean)
        for at, (name, slides, clamp) in _groups([(w.solid, w.slides, w.clamp) for w in witnesses]):
            look = look_in_place(state, tube, solid_in_place(state, name, clamp, shortest), at.size, slides)
            deep[at] = np.maximum(deep[at], look.deep(points.take(at), np.zeros(at.size)))
        if not points.near_end:
            break
    return deep


def look_in_place(state: State, tube: Standing, solid: Solid, size: int, slides: bool = False) -> Look:
    """Return the look at so many points of a tube that moves with the arm at home."""
    nowhere = np.full(size, math.nan)
    return Look(
        state, "place", solid, np.zeros(size), nowhere, slides=slides, arc=tube.arc, arc_length=tube.arc_length
    )  # fmt: skip


def solid_in_place(state: State, name: str, clamp: float | None, shortest: float) -> Solid:
    """Return a solid as it stands while the tube moves between bends: the arm at home, the blocks open.

    A longer clamp begins at the same place as the one of the strike, and so does its grip section: none that may be
    there must be shorter.
    """
    length = shortest if clamp is None else clamp
    if name in ("clamp die", "grip section") and (clamp is None or not clamp <= shortest + PROVED_LENGTH):
        said = "no clamp" if clamp is None else f"a clamp of {clamp:g} mm"
        raise Refused(f"a strike with {said} says nothing of the one of {shortest:g} mm that may be there.")
    return _standing_by(state, name, "place", length)


def deep_over_cells(
    state: State, tube: Standing, solid: Solid, place: Array, y: tuple[Array, Array], roll: tuple[Array, Array]
) -> Array:
    """Return how deep material at `place` (N,) is against a solid at least, all over cells of advance and rotation.

    y, roll: midpoints and half-widths (N,) [mm], [rad]. What comes out of the die is another thing at every advance: it
    does not count.
    """
    deep = np.full(place.size, -math.inf)
    look = look_in_place(state, tube, solid, place.size)
    leading = place <= tube.tangent_u
    for lean in LEANS:
        points = tube.points(place, y[0], roll[0], lean)
        points = replace(points, exists=points.exists & leading)
        deep = np.maximum(deep, look.deep_over(points, y[1], roll[1]))
        if not points.near_end:
            break
    return deep


def columns(witnesses: Sequence[Witness], name: str) -> Array:
    """Return one number of some witnesses (N,), not a number where there is none."""
    values = [getattr(witness, name) for witness in witnesses]
    return np.array([math.nan if value is None else float(value) for value in values])


def _groups(keys: Sequence[tuple[Any, ...]]) -> Iterator[tuple[Ints, tuple[Any, ...]]]:
    """Yield the numbers of those that have a key in common, with the key."""
    found: dict[tuple[Any, ...], list[int]] = {}
    for number, key in enumerate(keys):
        found.setdefault(key, []).append(number)
    for key, numbers in found.items():
        yield np.array(numbers, dtype=np.int64), key
