"""One bend with the tube as it stands before, in and after it, and the motions by which it is made."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Literal

from planner.clearance.rows import Rows
from planner.clearance.verdicts import Finding
from planner.feasibility.homing import Leaving, WayHome
from planner.feasibility.moves import PlainPath
from planner.feasibility.stations import Station, settable
from planner.inputs.machine import Machine
from planner.tolerances import NO_LENGTH
from planner.tube import motions
from planner.tube.bodies import Motion
from planner.tube.motions import InDie, Standing

Doing = Literal["bend", "return", "move", "no path", "load", "unload", "carriage run"]


@dataclass(frozen=True)
class Blocked:
    """What keeps a bend from being carried out with one clamp: what was being done, and the finding.

    rows: of the batch in which it was found; None where there was nothing to certify.
    """

    doing: Doing
    finding: Finding
    motion: Motion
    rows: Rows | None


@dataclass(frozen=True, eq=False)
class Bending:
    """One bend with the tube before, in and after it.

    clamps: those that fit, longest first [mm]; room: how far the tube may be run forward before the arm is home, the
    collet closed; off: where it is in free hands, None where it stays in the machine [mm]; shown_before, shown_after:
    what the advance readout shows at an advance of 0 from the place before and from the end of the bend; rolls: the
    ways round that the move may go [rad]; eased_before: where the way home after the bend before left the tube [mm].
    """

    station: Station
    clamps: tuple[float, ...]
    standing_before: Standing
    grip: InDie
    standing: Standing
    room: float
    off: float | None
    shown_before: float
    shown_after: float
    rolls: tuple[float, ...]
    eased_before: float = 0.0

    def checked(self, **found: Any) -> BendCheck:
        """Return the bend with what is found of it."""
        return BendCheck(**{field.name: getattr(self, field.name) for field in fields(Bending)}, **found)


@dataclass(frozen=True, eq=False)
class BendCheck(Bending):
    """One bend and what is found of it.

    fitting: numbers of the clamps with which all so far is clear; home: the way home, with its motions `returning`;
    blocked: for each clamp what was in the way, of the first thing that fails with all of them.
    """

    gripping: tuple[Motion, ...] = ()
    home: WayHome | None = None
    returning: tuple[Motion, ...] = ()
    path: PlainPath | None = None
    placing: tuple[Motion, ...] = ()
    fitting: tuple[int, ...] = ()
    blocked: tuple[Blocked, ...] = ()

    def only(self, clamp: float | None) -> BendCheck | None:
        """Return the same with one of the clamps with which all of it is clear, None if it is none of them."""
        fits = [c for c in self.fitting if self.clamps[c] == clamp]
        return replace(self, clamps=(self.clamps[fits[0]],), fitting=(0,)) if fits else None

    def stopped(self, blocked: tuple[Blocked, ...]) -> BendCheck:
        """Return the same where something is in the way."""
        return replace(self, blocked=blocked)

    def home_by(self, way: WayHome, returning: tuple[Motion, ...], fitting: tuple[int, ...]) -> BendCheck:
        """Return the same with a way home that is clear with some clamps."""
        return replace(self, home=way, returning=returning, fitting=fitting, blocked=())

    def placed_by(self, path: PlainPath, placing: tuple[Motion, ...], fitting: tuple[int, ...]) -> BendCheck:
        """Return the same with a path to its place that is clear with some clamps."""
        return replace(self, path=path, placing=placing, fitting=fitting, blocked=())

    @property
    def lowered(self) -> float:
        """How far the way home leaves the die lowered [mm]."""
        return 0.0 if self.home is None else self.home.lowered

    @property
    def eased(self) -> float:
        """Where the way home leaves the tube [mm]."""
        return 0.0 if self.home is None else self.home.eased


def gripping_motions(attempt: Bending) -> list[Motion]:
    """Return the motions from the dies' closing to their opening, the laying in of a formed part before them."""
    st, grip = attempt.station, attempt.grip
    made = [motions.close_dies(replace(grip, face=st.face)), motions.bend(grip)]
    if st.released and st.face is not None and grip.stands is not None:
        made.insert(1, motions.run_carriage_back(grip, (st.face, grip.stands)))
    after_swing = None if grip.face is None else grip.face - st.swing_feed
    if st.regrip is not None:
        made.append(motions.regrip(grip, st.regrip))
        after_swing = st.regrip[1]
    made.append(motions.open_dies(grip, after_swing))
    if st.laid_in and attempt.standing_before.leading.count:
        made.insert(0, motions.laid_in(attempt.standing_before))
    return made


def leaving_of(machine: Machine, attempt: Bending) -> Leaving:
    """Return what the ways home of an attempt are sought for."""
    st, leading = attempt.station, attempt.standing.leading
    straight = leading.count > 1 and leading.curvature[1] == 0.0
    step, zero = machine.advance.resolution, attempt.shown_after

    def shown_from(way: float) -> float:
        near = settable(way, step, zero)
        return near if near >= way - NO_LENGTH else settable(way + step, step, zero)

    leg = float(leading.length[1]) if straight else 0.0
    return Leaving(st.angle, st.setting, leg, attempt.room, attempt.off, shown_from)


def home_motions(attempt: Bending, way: WayHome) -> tuple[Motion, ...]:
    """Return the motions of a way home; the pressure die goes home as the arm first moves."""
    standing, forward = attempt.standing, attempt.station.swing_feed if attempt.grip.follows else 0.0
    if way.by_hand:
        standing = standing.opened(attempt.grip.stands)
    made = []
    for leg in way.legs:
        if leg.drop[0] != leg.drop[1]:
            made.append(motions.lower_die(standing, (leg.y[0], 0.0), leg.drop, leg.arm[0], forward))
            standing = replace(standing, lowered=leg.drop[1])
            continue
        left = 0.0 if leg.arm[0] != leg.arm[1] else forward
        made.append(motions.homing(standing, leg.arm, leg.y, (forward, left)))
        forward = left
    return tuple(made)


def straight_home(attempt: Bending) -> Motion:
    """Return the arm going home past the tube as it stands at the end of the bend."""
    forward = attempt.station.swing_feed if attempt.grip.follows else 0.0
    return motions.homing(attempt.standing, (attempt.station.setting, 0.0), (0.0, 0.0), (forward, 0.0))


def moves(attempt: Bending, path: PlainPath) -> tuple[Motion, ...]:
    """Return the motions of a path to a bend; the carriage goes along, and a die that was lowered comes up there."""
    standing, legs = attempt.standing_before, legs_of(attempt.standing_before, path)
    if standing.lowered == 0.0:
        return legs
    there = (attempt.station.advance, path.roll)
    return (*legs, motions.lower_die(standing, there, (standing.lowered, 0.0)))


def legs_of(standing: Standing, path: PlainPath) -> tuple[Motion, ...]:
    """Return the motions of a path, one a leg."""
    made = []
    for leg in path.legs:
        if leg.kind == "rotate":
            made.append(motions.rotate(standing, leg.at, (leg.start, leg.end)))
        else:
            made.append(motions.advance(standing, (leg.start, leg.end), leg.at, leg.turned_before))
    return tuple(made)
