"""From motions to rows: every piece of tube against every solid that it must keep clear of, seen from that solid.

A row is a piece, a relative motion and a solid. Seen from the thing that owns the solid, the point at arc length s of a
piece at time t ∈ [0, 1] lies at

    x(s, t) = c + Q(φ t) · (x₀(s) − c) + V t          (2)

with Q the turn about `axis` through c, φ the angle turned and V the way gone; x₀ is equation (1) in the owner's frame.
Seen from the carriage the leading part turns about the die axis while the carriage comes on: φ and V together.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from planner.clearance import solids as build
from planner.clearance.contact import beyond_clamp, need
from planner.clearance.solids import Owner, Solid, Tool
from planner.inputs.machine import Machine, Tooling
from planner.tube.frames import ALONG_FEED, UPWARD, Array, turned
from planner.tube.motions import Body, Motion, Path, Phase, Role
from planner.tolerances import GROOVE_EASE

Ints = NDArray[np.int64]

EVERY_CLAMP = -1
"""Mark of a row that holds whichever clamp is in the machine."""


@dataclass(frozen=True)
class Surroundings:
    """What a motion is checked against.

    required, per_metre, to_tooling, to_itself [mm] as in the profile (to_itself already capped by the drawing's own
    gap); radius: the tube's [mm].
    """

    machine: Machine
    tooling: Tooling
    radius: float
    to_itself: float
    envelope: tuple[Solid, ...] = field(default=())
    dies: tuple[Solid, ...] = field(default=())

    @classmethod
    def of(cls, machine: Machine, tooling: Tooling, radius: float, to_itself: float) -> Surroundings:
        """Build the solids that stand or turn as they are."""
        return cls(machine, tooling, radius, to_itself, build.envelope(machine), build.die_solids(machine, tooling))


@dataclass(frozen=True)
class Rows:
    """N rows for a batch of motions; tables are indexed by `piece`, `block` and `solid` (N,).

    pieces (19, m): start 3, along 3, inward 3 [mm], curvature [1/mm], least and greatest s [mm], s of the free end at
    t = 0 and its change, greatest existing s at t = 0 and its change [mm], stock coordinate at s = 0 and its sign,
    number of the piece in its body.
    blocks (12, b): centre 3, axis 3, angle turned [rad], way gone 3 [mm], first and last t.
    kind (k,), parameters (8, k): the solids; names (k,).
    needed (N,) [mm]; motion (N,): number in the batch; clamp (N,): number of the clamp, or EVERY_CLAMP.
    """

    pieces: Array
    blocks: Array
    kind: Ints
    parameters: Array
    names: tuple[str, ...]
    piece: Ints
    block: Ints
    solid: Ints
    needed: Array
    motion: Ints
    clamp: Ints
    roles: tuple[Role, ...]
    radius: float
    n_motions: int

    @property
    def count(self) -> int:
        """Number of rows."""
        return int(self.needed.shape[0])


PIECE_COLUMNS = 19
BLOCK_COLUMNS = 12


def rows_of(motions: list[Motion], around: Surroundings, clamps: list[tuple[float, ...]]) -> Rows:
    """Return the rows of a batch of motions, each with the clamp lengths [mm] to be tried in it."""
    builder = _Builder(around)
    for number, (motion, lengths) in enumerate(zip(motions, clamps, strict=True)):
        builder.add(number, motion, lengths)
    return builder.rows(len(motions))


class _Builder:
    """Collects the tables."""

    def __init__(self, around: Surroundings) -> None:
        self.around = around
        self.pieces: list[Array] = []
        self.blocks: list[Array] = []
        self.solids: dict[Solid, int] = {}
        self.roles: list[Role] = []
        self.n_pieces = 0
        self.index: list[tuple[Ints, int, Ints, Array, int, int]] = []

    def add(self, number: int, motion: Motion, lengths: tuple[float, ...]) -> None:
        """Add one motion: each body against each owner's solids."""
        fixed, by_clamp = solids_for(motion, self.around, lengths)
        for body in motion.bodies:
            for owner, group in fixed:
                self._pair(number, motion, body, owner, group, EVERY_CLAMP, 0.0)
            for which, (length, group) in enumerate(by_clamp):
                self._pair(number, motion, body, Owner.ARM, group, which, length)

    def _pair(self, number: int, motion: Motion, body: Body, owner: Owner, group: tuple[Solid, ...], clamp: int,
              length: float) -> None:
        wanted = _wanted(body.roles, group, owner, motion.phase, motion.slides_straight)
        if wanted is None:
            return
        first = self.n_pieces
        for piece_at, solid_at, kinds, tail_only in wanted:
            block = _block(motion, body, owner, tail_only)
            if block is None:
                continue
            needed = self._needed(kinds, motion, body, piece_at)
            numbers = np.array([self.solids.setdefault(group[j], len(self.solids)) for j in solid_at])
            self.index.append((piece_at + first, len(self.blocks), numbers, needed, number, clamp))
            self.blocks.append(block)
        table = _seen(motion, body, owner)
        if clamp != EVERY_CLAMP and length > 0.0:
            cut = [beyond_clamp(role, owner, motion.phase) for role in body.roles]
            table[10] = np.where(cut, np.minimum(length, table[11]), table[10])
        self.pieces.append(table)
        self.n_pieces = first + table.shape[1]
        self.roles.extend(body.roles)

    def _needed(self, kinds: tuple[str, ...], motion: Motion, body: Body, piece_at: Ints) -> Array:
        clearance = self.around.machine.clearance
        sag = clearance.per_metre * motion.leading_length / 1000.0
        values = {"ease": -GROOVE_EASE, "tooling": clearance.to_tooling, "itself": self.around.to_itself,
                  "required": clearance.required}
        numbers = np.array([values[kind] for kind in kinds])
        if sag > 0.0:
            ahead = np.array([body.roles[i] is not Role.TAIL for i in piece_at])
            numbers = numbers + sag * (ahead & (np.array(kinds) == "required"))
        return numbers

    def rows(self, n_motions: int) -> Rows:
        """Return everything collected as one set of tables."""
        empty = np.zeros(0, dtype=np.int64)
        solids = list(self.solids)
        parameters = np.zeros((8, len(solids)))
        for column, solid in enumerate(solids):
            parameters[: len(solid.parameters), column] = solid.parameters
        counts = [len(entry[0]) for entry in self.index]

        def spread(values: list[int]) -> Ints:
            return np.repeat(np.array(values, dtype=np.int64), counts) if counts else empty

        return Rows(
            pieces=np.concatenate(self.pieces, axis=1) if self.pieces else np.zeros((PIECE_COLUMNS, 0)),
            blocks=np.array(self.blocks).reshape(-1, BLOCK_COLUMNS).T.copy(),
            kind=np.array([int(solid.kind) for solid in solids], dtype=np.int64),
            parameters=parameters,
            names=tuple(solid.name for solid in solids),
            piece=np.concatenate([entry[0] for entry in self.index]) if counts else empty,
            block=spread([entry[1] for entry in self.index]),
            solid=np.concatenate([entry[2] for entry in self.index]) if counts else empty,
            needed=np.concatenate([entry[3] for entry in self.index]) if counts else np.zeros(0),
            motion=spread([entry[4] for entry in self.index]),
            clamp=spread([entry[5] for entry in self.index]),
            roles=tuple(self.roles),
            radius=self.around.radius,
            n_motions=n_motions,
        )


Groups = list[tuple[Owner, tuple[Solid, ...]]]


def solids_for(motion: Motion, around: Surroundings,
               lengths: tuple[float, ...]) -> tuple[Groups, list[tuple[float, tuple[Solid, ...]]]]:
    """Return the solids that a motion is checked against, by owner, and those that depend on the clamp.

    What another motion of the same bend has already checked in the same relative pose is left out: the clamp's whole
    travel counts once in `close` (leading part and clamp turn together in the bend); frame and dies once in the bend
    (springing back and the return of the arm pass over the same poses of the tube, the die turns about its own axis).
    """
    tooling, machine, phase = around.tooling, around.machine, motion.phase
    frame = tuple(s for s in around.envelope if s.owner is Owner.FRAME)
    arm = tuple(s for s in around.envelope if s.owner is Owner.ARM)
    carriage = tuple(s for s in around.envelope if s.owner is Owner.CARRIAGE) if motion.face is not None else ()
    opens, away = tooling.clamp_block.opens, tooling.pressure_block.opens
    low, high = sorted(motion.pressure)

    def clamps(opening: tuple[float, float], with_arm: bool) -> list[tuple[float, tuple[Solid, ...]]]:
        extra = arm if with_arm else ()
        return [(c, (build.clamp_block(machine, tooling, c, opening), *extra)) for c in lengths]

    def pressure(opening: tuple[float, float], forward: tuple[float, float]) -> tuple[Solid, ...]:
        return (build.pressure_block(machine, tooling, opening, forward),)

    if phase is Phase.CLOSE:
        return [(Owner.FRAME, pressure((0.0, away), (0.0, 0.0)))], clamps((0.0, opens), False)
    if phase is Phase.BEND:
        tail = (build.tail_solid(motion.tail_length, around.radius),)
        fixed = [(Owner.FRAME, frame + around.dies), (Owner.FRAME, tail), (Owner.CARRIAGE, carriage),
                 (Owner.PRESSURE, pressure((0.0, 0.0), (0.0, 0.0)))]
        return fixed, [(c, arm) for c in lengths]
    if phase is Phase.REGRIP:
        return [(Owner.CARRIAGE, carriage)], []
    if phase is Phase.OPEN:
        return [(Owner.CARRIAGE, carriage), (Owner.FRAME, pressure((0.0, away), (low, high)))], clamps((opens,) * 2, True)
    if phase is Phase.RETURN:
        standing = motion.arm[0] == motion.arm[1]
        fixed = [(Owner.FRAME, pressure((away, away), (0.0, high)))]
        if standing:
            fixed = [(Owner.FRAME, frame + around.dies + fixed[0][1]), (Owner.CARRIAGE, carriage)]
        return fixed, clamps((opens,) * 2, True)
    if phase is Phase.LOAD:
        return [(Owner.FRAME, (build.tail_solid(motion.tail_length, around.radius),))], []
    fixed = [(Owner.FRAME, frame + around.dies + pressure((away, away), (0.0, 0.0))), (Owner.CARRIAGE, carriage)]
    return fixed, clamps((opens,) * 2, True)


@cache
def _wanted(roles: tuple[Role, ...], group: tuple[Solid, ...], owner: Owner, phase: Phase,
            straight_out: bool) -> tuple[tuple[Ints, Ints, tuple[str, ...], bool], ...] | None:
    """Return the pairs that the contact table wants checked: piece numbers, solid numbers, what each needs.

    Pairs of the gripped straight with the tail stand apart (last entry True): they count only beyond 90° of swing.
    """
    pairs: dict[bool, list[tuple[int, int, str]]] = {False: [], True: []}
    for i, role in enumerate(roles):
        for j, solid in enumerate(group):
            wanted = need(role, solid.tool, owner, phase, straight_out)
            if wanted is not None:
                late = solid.tool is Tool.TAIL and role is Role.FIRST and phase is Phase.BEND
                pairs[late].append((i, j, wanted))
    found = tuple(
        (np.array([p[0] for p in chosen]), np.array([p[1] for p in chosen]), tuple(p[2] for p in chosen), late)
        for late, chosen in pairs.items()
        if chosen
    )
    return found or None


def _block(motion: Motion, body: Body, owner: Owner, beyond_right_angle: bool) -> Array | None:
    """Return the motion of a body seen from an owner: one column of the block table, or None if it never counts."""
    turn, axis, shift = body.turn, (ALONG_FEED if body.about_feed else UPWARD), np.array([body.shift, 0.0, 0.0])
    centre = np.zeros(3) if body.about_feed else motion.axis
    if body.path is not Path.RIGID:
        turn, shift = 0.0, np.zeros(3)
    if owner is Owner.ARM:
        if body.path is not Path.GROWING:
            turn -= motion.toward * (motion.arm[1] - motion.arm[0])
        if motion.arm[0] != 0.0 and body.shift != 0.0:
            shift = turned(shift, UPWARD, -motion.toward * motion.arm[0])
    elif owner is Owner.CARRIAGE and motion.face is not None and body.path is not Path.LINE:
        shift = shift - np.array([motion.face[0] - motion.face[1], 0.0, 0.0])
    elif owner is Owner.PRESSURE:
        shift = shift - np.array([motion.pressure[1] - motion.pressure[0], 0.0, 0.0])
    still = turn == 0.0 and not shift.any()
    first, last = (1.0, 1.0) if still and body.length_change > 0.0 else (0.0, 0.0 if still else 1.0)
    if beyond_right_angle:
        if abs(body.turn) <= np.pi / 2.0:
            return None
        first = np.pi / 2.0 / abs(body.turn)
    return np.concatenate((centre, axis, [turn], shift, [first, last]))


def _seen(motion: Motion, body: Body, owner: Owner) -> Array:
    """Return the pieces of a body as they stand at t = 0 in an owner's frame: columns of the piece table."""
    pieces = body.pieces
    start, along, inward = pieces.start, pieces.along, pieces.inward
    if owner is Owner.ARM:
        angle = motion.arm[1] if body.path is Path.GROWING and body.length_change > 0.0 else motion.arm[0]
        if angle != 0.0:
            start = turned(start, UPWARD, -motion.toward * angle, motion.axis)
            along = turned(along, UPWARD, -motion.toward * angle)
            inward = turned(inward, UPWARD, -motion.toward * angle)
    elif owner is Owner.CARRIAGE and motion.face is not None:
        face = min(motion.face) if body.path is Path.LINE else motion.face[0]
        start = start + np.array([[face], [0.0], [0.0]])
    table = np.empty((PIECE_COLUMNS, pieces.count))
    table[0:3], table[3:6], table[6:9] = start, along, inward
    table[9], table[10], table[11] = pieces.curvature, 0.0, pieces.length
    table[12], table[13] = pieces.length + pieces.to_end, 0.0
    table[14], table[15] = pieces.length, 0.0
    if body.length_at_start is not None:
        table[14], table[15] = body.length_at_start, body.length_change
        if body.path is Path.RIGID:
            table[12], table[13] = body.length_at_start, body.length_change
    table[16], table[17], table[18] = pieces.u, pieces.u_sign, np.arange(pieces.count)
    return table
