"""What a motion is checked against: which solids, in which state, by phase."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from planner.clearance import solids as build
from planner.clearance.solids import Owner, Solid
from planner.inputs.machine import Machine, Tooling
from planner.tube.motions import Motion, Phase


@dataclass(frozen=True, eq=False)
class Group:
    """Solids that move with one thing; groups of the same `key` are the same to the contact table."""

    solids: tuple[Solid, ...]
    key: str

    @classmethod
    def of(cls, solids: tuple[Solid, ...]) -> Group:
        """Put solids together."""
        return cls(solids, ",".join(f"{solid.tool.value}/{solid.owner.value}" for solid in solids))


Groups = tuple[tuple[Owner, Group], ...]
ByClamp = tuple[tuple[float, Group], ...]


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Machine and tooling about a tube.

    radius: the tube's [mm]; to_itself: what leading part and tail keep [mm], already capped by the drawing's own gap;
    envelope, dies: the solids that look the same in every phase; whole: a step is held against all that it moves past,
    also where another one of the same bend passes the same poses; pairs: what `rows` found to check, kept for the next
    batch.
    """

    machine: Machine
    tooling: Tooling
    radius: float
    to_itself: float
    envelope: tuple[Solid, ...]
    dies: tuple[Solid, ...]
    whole: bool = False
    _known: dict[tuple[object, ...], tuple[Groups, ByClamp]] = field(default_factory=dict)
    pairs: dict[tuple[object, ...], Any] = field(default_factory=dict)

    @classmethod
    def of(cls, machine: Machine, tooling: Tooling, radius: float, to_itself: float) -> Surroundings:
        """Build the solids that stand or turn as they are."""
        return cls(machine, tooling, radius, to_itself, build.envelope(machine), build.die_solids(machine, tooling))

    def solids_for(self, motion: Motion, lengths: tuple[float, ...]) -> tuple[Groups, ByClamp]:
        """Return the solids that a motion is checked against, by owner, and those that depend on the clamp [mm].

        What another motion of the same bend has already checked in the same relative pose is left out: the clamp's
        whole travel counts once in `close` (leading part and clamp turn together in the bend); frame and dies once in
        the bend (springing back and the return of the arm pass over the same poses of the tube, the die turns about
        its own axis).
        """
        key = (
            motion.phase,
            lengths,
            motion.pressure,
            motion.arm[0] == motion.arm[1],
            motion.face is None,
            motion.tail_length if motion.phase in (Phase.BEND, Phase.LOAD) else 0.0,
        )
        if key not in self._known:
            self._known[key] = self._build(motion, lengths)
        return self._known[key]

    def in_whole(self) -> Surroundings:
        """Return the same for the clearance of each step by itself."""
        return Surroundings(
            self.machine, self.tooling, self.radius, self.to_itself, self.envelope, self.dies, whole=True
        )

    def _owned(self, owner: Owner) -> tuple[Solid, ...]:
        return tuple(solid for solid in self.envelope if solid.owner is owner)

    def _clamps(self, lengths: tuple[float, ...], opening: tuple[float, float]) -> ByClamp:
        return tuple((c, Group.of((build.clamp_block(self.machine, self.tooling, c, opening),))) for c in lengths)

    def _pressure(self, opening: tuple[float, float], forward: tuple[float, float]) -> Group:
        return Group.of((build.pressure_block(self.machine, self.tooling, opening, forward),))

    def _build(self, motion: Motion, lengths: tuple[float, ...]) -> tuple[Groups, ByClamp]:
        phase, opens, away = motion.phase, self.tooling.clamp_block.opens, self.tooling.pressure_block.opens
        low, high = sorted(motion.pressure)
        tail = Group.of((build.tail_solid(motion.tail_length, self.radius),))
        carriage = (Owner.CARRIAGE, Group.of(() if motion.face is None else self._owned(Owner.CARRIAGE)))
        wiper = tuple(solid for solid in self.dies if solid.owner is Owner.FRAME)
        standing: Groups = (
            (Owner.FRAME, Group.of(self._owned(Owner.FRAME) + wiper)),
            (Owner.DIE, Group.of(tuple(solid for solid in self.dies if solid.owner is Owner.DIE))),
            carriage,
        )
        # Only while it grips does the clamp hide a part of the tube from the arm.
        opened, arm = self._clamps(lengths, (opens, opens)), (Owner.ARM, Group.of(self._owned(Owner.ARM)))
        if phase is Phase.CLOSE:
            travel = self._pressure((0.0, away), (0.0, 0.0))
            return ((Owner.FRAME, travel),), self._clamps(lengths, (0.0, opens))
        if phase is Phase.BEND:
            closed = self._pressure((0.0, 0.0), (0.0, 0.0))
            return (*standing, (Owner.FRAME, tail), (Owner.PRESSURE, closed)), tuple((c, arm[1]) for c in lengths)
        if phase is Phase.REGRIP:
            return (carriage,), ()
        if phase is Phase.OPEN:
            passed = standing if self.whole else (carriage,)
            return (*passed, (Owner.FRAME, self._pressure((0.0, away), (low, high))), arm), opened
        if phase is Phase.LOAD:
            return ((Owner.FRAME, tail),), ()
        away_block = (Owner.FRAME, self._pressure((away, away), (low, high)))
        if phase is Phase.RETURN and motion.arm[0] != motion.arm[1]:
            return (away_block, arm), opened
        return (*standing, away_block, arm), opened
