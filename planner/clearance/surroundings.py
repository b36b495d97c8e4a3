"""What a motion is checked against: which solids, in which state, by phase."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from planner.clearance import solids as build
from planner.clearance.solids import Owner, Solid
from planner.inputs.machine import Machine, Tooling
from planner.tube.bodies import Motion, Phase


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
ByClamp = tuple[tuple[float, Groups], ...]
Pair = tuple[float, float]
TAIL_OWNERS = (Owner.FRAME, Owner.TAIL)


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Machine and tooling about a tube.

    radius, wall: the tube's [mm], a wall of 0 stands for one that is not known; to_itself: what leading part and tail
    keep [mm], already capped by the drawing's own gap; envelope, dies: the solids that look the same in every phase;
    whole: a step is held against all that it moves past,
    also where another one of the same bend passes the same poses; pairs: what `rows` found to check, kept for the next
    batch.
    """

    machine: Machine
    tooling: Tooling
    radius: float
    to_itself: float
    envelope: tuple[Solid, ...]
    dies: tuple[Solid, ...]
    wall: float = 0.0
    whole: bool = False
    _known: dict[tuple[object, ...], tuple[Groups, ByClamp]] = field(default_factory=dict)
    pairs: dict[tuple[object, ...], Any] = field(default_factory=dict)

    @classmethod
    def of(cls, machine: Machine, tooling: Tooling, radius: float, to_itself: float, wall: float = 0.0) -> Surroundings:
        """Build the solids that stand or turn as they are."""
        dies = build.die_solids(machine, tooling)
        return cls(machine, tooling, radius, to_itself, build.envelope(machine), dies, wall)

    @property
    def on_mandrel(self) -> float:
        """How far past the tangent point tube may lie on nose and balls, and a diameter more [mm]."""
        tip = self.machine.mandrel_of(self.tooling)
        return 0.0 if tip is None else tip.reach + self.tooling.tube_diameter

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
            motion.y[0] == motion.y[1],
            motion.face is None,
            (motion.tail_length, motion.y) if motion.phase in (Phase.BEND, Phase.LOAD) else 0.0,
        )
        if key not in self._known:
            self._known[key] = self._build(motion, lengths)
        return self._known[key]

    def in_whole(self) -> Surroundings:
        """Return the same for the clearance of each step by itself."""
        return replace(self, whole=True, _known={}, pairs={})

    def _owned(self, owner: Owner) -> tuple[Solid, ...]:
        return tuple(solid for solid in self.envelope if solid.owner is owner)

    def _by_clamp(self, lengths: tuple[float, ...], opening: Pair | None, arm: bool, section: bool) -> ByClamp:
        """Return what depends on the clamp: the block swept over an opening, the arm that it hides, the grip section.

        Only while it grips (no opening) does the clamp hide a part of the tube from the arm.
        """
        found = []
        for length in lengths:
            groups: list[tuple[Owner, Group]] = []
            if opening is not None:
                block = build.clamp_block(self.machine, self.tooling, length, opening)
                groups.append((Owner.ARM, Group.of((block,))))
            if arm:
                groups.append((Owner.ARM, Group.of(self._owned(Owner.ARM))))
            if section:
                groups.append((Owner.SECTION, Group.of(build.grip_section(self.machine, self.tooling, length))))
            found.append((length, tuple(groups)))
        return tuple(found)

    def _pressure(self, opening: Pair, forward: Pair) -> Group:
        block = build.pressure_block(self.machine, self.tooling, opening, forward)
        return Group.of((block, *build.beside_pressure_die(self.machine, opening, forward)))

    def _standing(self, motion: Motion) -> Groups:
        """Return what stands, or goes with tube or carriage, whatever the arm does."""
        back = motion.phase is Phase.PLACE and self.machine.mandrel is not None and self.machine.mandrel.draws_back
        rod = build.mandrel_solids(self.machine, self.tooling, self.wall, back)
        wiper = tuple(solid for solid in self.dies if solid.owner is Owner.FRAME)
        return (
            (Owner.FRAME, Group.of(self._owned(Owner.FRAME) + wiper)),
            (Owner.DIE, Group.of(tuple(solid for solid in self.dies if solid.owner is Owner.DIE))),
            (Owner.ROD, Group.of(rod)),
            self._carriage(motion),
        )

    def _carriage(self, motion: Motion) -> tuple[Owner, Group]:
        return Owner.CARRIAGE, Group.of(() if motion.face is None else self._owned(Owner.CARRIAGE))

    def _build(self, motion: Motion, lengths: tuple[float, ...]) -> tuple[Groups, ByClamp]:
        phase, opens, away = motion.phase, self.tooling.clamp_block.opens, self.tooling.pressure_block.opens
        way: Pair = (min(motion.pressure), max(motion.pressure))
        if phase is Phase.RUN:
            return (self._carriage(motion),), ()
        if phase is Phase.LOAD:
            return ((Owner.FRAME, Group.of((build.tail_solid(motion.tail_length, self.radius),))),), ()
        if phase is Phase.CLOSE:
            return ((Owner.FRAME, self._pressure((0.0, away), (0.0, 0.0))),), self._by_clamp(
                lengths, (0.0, opens), arm=False, section=False
            )
        if phase is Phase.REGRIP:
            return (self._carriage(motion),), ()
        standing = self._standing(motion)
        if phase is Phase.BEND:
            closed = (Owner.PRESSURE, self._pressure((0.0, 0.0), (0.0, 0.0)))
            fed = build.fed_tail(motion.tail_length, motion.y[1] - motion.y[0], self.radius)
            parts = tuple((owner, Group.of(tuple(s for s in fed if s.owner is owner))) for owner in TAIL_OWNERS)
            return (*standing, *parts, closed), self._by_clamp(lengths, None, arm=True, section=True)
        if phase is Phase.DROP:
            (die,) = (entry for entry in standing if entry[0] is Owner.DIE)
            return (die,), self._by_clamp(lengths, None, arm=False, section=True)
        opened = self._by_clamp(lengths, (opens, opens), arm=False, section=True)
        arm = (Owner.ARM, Group.of(self._owned(Owner.ARM)))
        if phase is Phase.OPEN:
            passed = standing if self.whole else (self._carriage(motion),)
            return (*passed, (Owner.FRAME, self._pressure((0.0, away), way)), arm), opened
        away_block = (Owner.FRAME, self._pressure((away, away), way))
        if phase is Phase.RETURN and motion.arm[0] != motion.arm[1] and motion.y[0] == motion.y[1]:
            return (away_block, arm), opened
        return (*standing, away_block, arm), opened
