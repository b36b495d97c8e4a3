"""The tube at a bend's station, before, in and after the bend: one builder for exact numbers and for printed ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.clearance.solids import toward
from planner.feasibility.bend_check import Bending
from planner.feasibility.bend_checks import farthest_forward, rolls_allowed
from planner.feasibility.homing import most_room
from planner.feasibility.loading import free_hands
from planner.feasibility.stations import Station
from planner.inputs.machine import Machine, Tooling
from planner.tube.motions import InDie, Standing
from planner.tube.partly_bent import Pieces

PiecesAt = Callable[[float, int, int, int], Pieces]
"""The leading part with a stock coordinate [mm] at the tangent point, the bends first … last formed (none if first >
last), laid in the plane of a bend."""

Room = tuple[float, float | None]
"""How far the tube may be run forward before the arm is home, and where it is in free hands, if it comes there [mm]."""


@dataclass(frozen=True)
class Tube:
    """The tube of a load; tail_end: stock coordinate of the tail's end, counted from the leading end [mm].

    ahead is everywhere the number of the first formed bend, or of the bend itself where none is formed.
    """

    machine: Machine
    pieces: PiecesAt
    tail_end: float

    def put(self, bend: int, ahead: int, u: float, radius: float, face: float | None) -> Standing:
        """Return the tube as a load begins with a bend, with stock coordinate u at the tangent point [mm].

        radius: of the dies [mm]; face: the collet's to the tangent point, None where there is no carriage [mm].
        """
        pieces = self.pieces(u, ahead, bend - 1, bend)
        return Standing(pieces, False, self.tail_end - u, u, face, radius, toward(self.machine))

    def gripped(self, st: Station, ahead: int, tooling: Tooling) -> InDie:
        """Return the tube gripped for its bend."""
        return InDie(
            self.pieces(st.start, ahead, st.bend - 1, st.bend),
            st.radius,
            toward(self.machine),
            st.angle,
            st.setting,
            st.start,
            self.tail_end - st.start,
            None if st.released else st.face,
            tooling.pressure_die_follows,
            st.advance,
            stands=self._stands(),
        )

    def bent(self, bend: int, ahead: int, end: float, radius: float, face: float | None) -> Standing:
        """Return the tube once a bend is made and the dies are open.

        end: the bend's, as a stock coordinate [mm]; face: the collet's to the tangent point [mm], None where it is
        open.
        """
        pieces = self.pieces(end, ahead, bend, bend)
        side = toward(self.machine)
        return Standing(pieces, True, self.tail_end - end, end, face, radius, side, self._stands())

    def room(self, st: Station, after: Standing, tooling: Tooling, gap: float | None) -> Room:
        """Return the room for the way home after a bend.

        gap: to the next bend in the same load, past which it may go where it can come back; None where the tube is
        taken off: then the collet may be opened, else there are no free hands.
        """
        machine, leading = self.machine, after.leading
        straight = leading.count > 1 and leading.curvature[1] == 0.0
        most = most_room(tooling, st.angle, float(leading.length[1]) if straight else 0.0)
        room = 0.0 if st.released else min(farthest_forward(machine, after), most)
        if gap is not None and machine.carriage is not None and not machine.carriage.may_go_back:
            room = min(room, gap)
        return round(room, 6), None if gap is not None else free_hands(machine, tooling, after)

    def bending(
        self,
        st: Station,
        ahead: int,
        tooling: Tooling,
        clamps: tuple[float, ...],
        before: Standing,
        after: Standing,
        gap: float | None,
        shown: tuple[float, float] = (0.0, 0.0),
    ) -> Bending:
        """Return one bend with the tube before, in and after it.

        clamps: those that fit, longest first [mm]; gap: as in `room`; shown: by the advance readout before it and at
        its end [mm].
        """
        room, off = self.room(st, after, tooling, gap)
        rolls = rolls_allowed(self.machine, st, before.formed_arc)
        grip = self.gripped(st, ahead, tooling)
        return Bending(st, clamps, before, grip, after, room, off, *shown, rolls)

    def _stands(self) -> float | None:
        carriage = self.machine.carriage
        return None if carriage is None else carriage.waits_at


def plus(value: float | None, more: float) -> float | None:
    """Return a place shifted, where there is one."""
    return None if value is None else value + more
