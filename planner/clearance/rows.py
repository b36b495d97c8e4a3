"""From motions to rows: every piece of tube against every solid that it must keep clear of, seen from that solid.

A row is a piece, a relative motion and a solid. Seen from the thing that owns the solid, the point at arc length s of a
piece at time t ∈ [0, 1] lies at

    x(s, t) = c + Q(φ t) · (x₀(s) − c) + V t          (2)

with Q the turn about `axis` through c, φ the angle turned and V the way gone; x₀ is equation (1) in the owner's frame.
Seen from the carriage the leading part turns about the die axis while the carriage comes on: φ and V together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.contact import HALF_TURN, Need, beyond_clamp, need
from planner.clearance.solids import Owner, Solid, Tool
from planner.clearance.surroundings import Group, Surroundings
from planner.tolerances import GROOVE_EASE, SAME_PLACE
from planner.tube.frames import UPWARD, Array, Flags, Ints, turned
from planner.tube.motions import Body, Motion, Path, Phase, Role

EVERY_CLAMP = -1
"""Mark of a row that holds whichever clamp is in the machine."""


@dataclass(frozen=True)
class Rows:
    """N rows for a batch of motions; tables are indexed by `piece`, `block` and `solid` (N,).

    pieces (18, m): start 3, along 3, inward 3 [mm], curvature [1/mm], least and greatest s [mm], greatest existing s at
    t = 0 and its change [mm], stock coordinate at s = 0 and its sign, number of the piece in its body, of the body in
    its motion.
    blocks (12, b): centre 3, axis 3, angle turned [rad], way gone 3 [mm], first and last t.
    kind (k,), parameters (8, k): the solids; names (k,).
    needed (N,) [mm]: the most over the motion, `spread` (N,) [mm] more than the least (it grows with the leading part's
    length where the profile counts sag); motion (N,): number in the batch; clamp (N,): number of the clamp, or
    EVERY_CLAMP.
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
    spread: Array
    motion: Ints
    clamp: Ints
    roles: tuple[Role, ...]
    radius: float
    n_motions: int

    @property
    def count(self) -> int:
        """Number of rows."""
        return int(self.needed.shape[0])

    def take(self, keep: Flags) -> Rows:
        """Return a selection of the rows, the tables as they are."""
        chosen = {name: getattr(self, name)[keep] for name in ("piece", "block", "solid", "needed", "spread")}
        return replace(self, motion=self.motion[keep], clamp=self.clamp[keep], **chosen)


PIECE_COLUMNS = 18
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
        clearance = around.machine.clearance
        self.around = around
        self.values = np.array([-GROOVE_EASE, clearance.to_tooling, around.to_itself, clearance.required])
        self.pieces: list[Array] = []
        self.blocks: list[tuple[float, ...]] = []
        self.plain: dict[int, tuple[Array, Array, _Pairs]] = {}
        self.solids: list[Solid] = []
        self.groups: dict[int, tuple[Ints, tuple[Solid, ...]]] = {}
        self.known: dict[tuple[object, ...], _Known] = around.pairs
        self.roles: list[Role] = []
        self.n_pieces = 0
        self.placed: dict[tuple[int, int, float | None], int] = {}  # of the motion at hand
        self.moving: dict[tuple[int, int, bool], int | None] = {}
        self.index: list[_Found] = []
        self.settled = True  # of the motion at hand: (5) holds for the arc just formed

    def add(self, number: int, motion: Motion, lengths: tuple[float, ...]) -> None:
        """Add one motion: each body against each owner's solids."""
        self.placed, self.moving = {}, {}
        fixed, by_clamp = self.around.solids_for(motion, lengths)
        arc = _slide(motion)
        self.settled = _fills_groove(motion, self.around.tooling.bend_radius)
        for body in motion.bodies:
            for owner, group in fixed:
                self._pair(number, motion, body, owner, group, EVERY_CLAMP, 0.0, arc)
            for which, (length, group) in enumerate(by_clamp):
                self._pair(number, motion, body, Owner.ARM, group, which, length, arc)

    def _wanted(self, body: Body, group: Group, owner: Owner, motion: Motion, arc: float) -> tuple[_Pairs, ...]:
        """Return the pairs of a body and a group, found once for what they depend on."""
        key = (
            id(body.roles),
            group.key,
            id(owner),
            id(motion.phase),
            motion.slides_straight,
            id(body.path),
            arc <= np.pi / 2.0,
            arc <= np.pi,
            arc >= HALF_TURN,
            motion.arm[1] <= np.pi,
            self.settled,
        )
        known = self.known.get(key)
        if known is None:
            known = _Known(_pairs(body.roles, group.solids, owner, motion, body.path, arc, self.settled), body.roles)
            self.known[key] = known
        return known.pairs

    def _pair(
        self, number: int, motion: Motion, body: Body, owner: Owner, group: Group, clamp: int, length: float, arc: float
    ) -> None:
        wanted = self._wanted(body, group, owner, motion, arc)
        if not wanted:
            return
        seen_as = owner
        if owner is Owner.DIE:
            seen_as = Owner.ARM if body.turn != 0.0 and not body.about_feed else Owner.FRAME
        numbers = self._numbers(group.solids)
        first = self._place(motion, body, seen_as, owner, clamp, length)
        for pairs in wanted:
            block = self._block(motion, body, seen_as, pairs.beyond_right_angle)
            if block is None:
                continue
            needed, spread = self._needed(pairs, motion, body)
            self.index.append(_Found(pairs.piece + first, block, numbers[pairs.solid], needed, spread, number, clamp))

    def _place(self, motion: Motion, body: Body, seen_as: Owner, owner: Owner, clamp: int, length: float) -> int:
        """Put the pieces of a body as an owner sees them into the table, once, and return the first one's number.

        Where the clamp hides a part of the gripped straight they stand there once more for each clamp.
        """
        cut = [clamp != EVERY_CLAMP and beyond_clamp(role, owner, motion.phase) for role in body.roles]
        key = (id(body), id(seen_as), length if any(cut) else None)
        if key in self.placed:
            return self.placed[key]
        table = _seen(motion, body, seen_as)
        if any(cut):
            table[10] = np.where(cut, np.minimum(length, table[11]), table[10])
        self.placed[key] = self.n_pieces
        self.pieces.append(table)
        self.n_pieces += table.shape[1]
        self.roles.extend(body.roles)
        return self.placed[key]

    def _block(self, motion: Motion, body: Body, seen_as: Owner, beyond_right_angle: bool) -> int | None:
        """Put the motion of a body as an owner sees it into the table, once, and return its number."""
        key = (id(body), id(seen_as), beyond_right_angle)
        if key not in self.moving:
            block = _block(motion, body, seen_as, beyond_right_angle)
            self.moving[key] = None if block is None else len(self.blocks)
            if block is not None:
                self.blocks.append(block)
        return self.moving[key]

    def _numbers(self, group: tuple[Solid, ...]) -> Ints:
        """Return the numbers of a group's solids in the table; the group is kept: its identity stays its own."""
        known = self.groups.get(id(group))
        if known is None:
            known = (np.arange(len(group)) + len(self.solids), group)
            self.groups[id(group)] = known
            self.solids.extend(group)
        return known[0]

    def _needed(self, pairs: _Pairs, motion: Motion, body: Body) -> tuple[Array, Array]:
        """Return what the pairs need at most, and by how much that passes what they need at least [mm]."""
        per_metre = self.around.machine.clearance.per_metre
        if per_metre == 0.0:
            known = self.plain.get(id(pairs))
            if known is None:
                known = (self.values[pairs.needs], np.zeros(pairs.needs.size), pairs)  # kept with it: its identity
                self.plain[id(pairs)] = known
            return known[:2]
        needed = self.values[pairs.needs]
        ahead = np.array([body.roles[i] is not Role.TAIL for i in pairs.piece])
        sags = ahead & (pairs.needs == NEEDS.index("required"))
        least, most = (per_metre * length / 1000.0 for length in motion.leading_length)
        return needed + most * sags, (most - least) * sags

    def rows(self, n_motions: int) -> Rows:
        """Return everything collected as one set of tables."""
        empty = np.zeros(0, dtype=np.int64)
        solids = self.solids
        parameters = np.zeros((8, len(solids)))
        for column, solid in enumerate(solids):
            parameters[: len(solid.parameters), column] = solid.parameters
        index = self.index
        counts = [entry.piece.size for entry in index]

        def joined(arrays: list[Ints]) -> Ints:
            return np.concatenate(arrays) if arrays else empty

        def spread(values: list[int]) -> Ints:
            return np.repeat(np.array(values, dtype=np.int64), counts)

        return Rows(
            pieces=np.concatenate(self.pieces, axis=1) if self.pieces else np.zeros((PIECE_COLUMNS, 0)),
            blocks=np.array(self.blocks).reshape(-1, BLOCK_COLUMNS).T.copy(),
            kind=np.array([int(solid.kind) for solid in solids], dtype=np.int64),
            parameters=parameters,
            names=tuple(solid.name for solid in solids),
            piece=joined([entry.piece for entry in index]),
            block=spread([entry.block for entry in index]),
            solid=joined([entry.solid for entry in index]),
            needed=np.concatenate([np.zeros(0), *(entry.needed for entry in index)]),
            spread=np.concatenate([np.zeros(0), *(entry.spread for entry in index)]),
            motion=spread([entry.motion for entry in index]),
            clamp=spread([entry.clamp for entry in index]),
            roles=tuple(self.roles),
            radius=self.around.radius,
            n_motions=n_motions,
        )


@dataclass(frozen=True)
class _Found:
    """Rows of one body and one group: numbers in the tables, what they need [mm], and of which motion and clamp."""

    piece: Ints
    block: int
    solid: Ints
    needed: Array
    spread: Array
    motion: int
    clamp: int


@dataclass(frozen=True)
class _Pairs:
    """Pairs that the contact table wants checked: numbers of piece and solid, and of what each needs in NEEDS."""

    piece: Ints
    solid: Ints
    needs: Ints
    beyond_right_angle: bool


NEEDS: tuple[Need, ...] = ("ease", "tooling", "itself", "required")


def _slide(motion: Motion) -> float:
    """Return the angle of the arc just formed [rad], 0 where there is none."""
    for body in motion.bodies:
        if body.roles and body.roles[0] is Role.FORMED:
            return float(body.pieces.length[0] * body.pieces.curvature[0])
    return 0.0


def _fills_groove(motion: Motion, die_radius: float) -> bool:
    """Say whether the arc just formed is no tighter than the die: once the dies were changed it may be."""
    arcs = [body.pieces.curvature[0] for body in motion.bodies if body.roles and body.roles[0] is Role.FORMED]
    return all(curvature * (die_radius - SAME_PLACE) <= 1.0 for curvature in arcs)


def stays_in_groove(role: Role, tool: Tool, path: Path, arc: float, swing: float) -> bool:
    """Say whether a piece that may touch the die or the wiper provably never presses into it, by (5).

    arc: angle of the arc just formed, swing: of the arm at the end of the motion [rad]. With R the radius of the
    groove's centre, the point at an angle α of an arc that slides out by y, and the point ℓ beyond its end, lie at a
    distance ρ from the die axis of

        ρ² = R² + 2 R y sin α + y²,      ρ² = R² + ℓ² + 2 y (R sin α + ℓ cos α) + y²          (5)

    so ρ ≥ R for an arc up to 180° and for the straight behind it: ℓ² + y² + 2 y ℓ cos α ≥ (ℓ − y)². On the tangent line
    ρ² = R² + x². With ρ ≥ R at the groove's height the tube, as thick as the groove, does not press into the die.

    The wiper ends at x = 0. A cross-section across the tube at α reaches from R − r to R + r about the die axis, so
    x = y + ρ sin α + ℓ cos α is never negative up to 180° of arc, nor on a straight up to 90° (`only_beyond`); on the
    feed's axis the tube lies in the wiper's bore. A piece that none of this covers is checked like any other.
    """
    to_half_turn, to_right_angle = 0.0 < arc <= np.pi, 0.0 < arc <= np.pi / 2.0
    if tool is Tool.DIE:
        return {
            Role.TAIL: True,
            Role.FIRST: True,
            Role.FORMING: True,
            Role.FORMED: to_half_turn,
            Role.AFTER: to_half_turn,
        }.get(role, False)
    return tool is Tool.WIPER and {
        Role.TAIL: True,
        Role.FIRST: path is Path.LINE,
        Role.FORMING: swing <= np.pi,
        Role.FORMED: to_half_turn,
        Role.AFTER: to_right_angle,
    }.get(role, False)


def only_beyond(role: Role, tool: Tool, phase: Phase) -> bool:
    """Say whether a pair counts only beyond 90° of swing: the gripped straight against its tail or the wiper."""
    return phase is Phase.BEND and role is Role.FIRST and tool in (Tool.TAIL, Tool.WIPER)


@dataclass(frozen=True)
class _Known:
    """Pairs with the roles they were found for, which are kept so that their identity stays their own."""

    pairs: tuple[_Pairs, ...]
    roles: tuple[Role, ...]


def _pairs(
    roles: tuple[Role, ...],
    group: tuple[Solid, ...],
    owner: Owner,
    motion: Motion,
    path: Path,
    arc: float,
    settled: bool,
) -> tuple[_Pairs, ...]:
    """Return the pairs that the contact table wants checked and (5) does not settle.

    settled: the arc just formed is no tighter than the die that stands there.

    Those that count only beyond 90° of swing stand apart.
    """
    found: dict[Role, dict[bool, list[tuple[int, int]]]] = {}
    for role in dict.fromkeys(roles):
        found[role] = {False: [], True: []}
        for j, solid in enumerate(group):
            wanted = need(role, solid.tool, owner, motion.phase, motion.slides_straight, arc >= HALF_TURN)
            by_lemma = settled or role not in (Role.FORMED, Role.AFTER)
            in_groove = by_lemma and stays_in_groove(role, solid.tool, path, arc, motion.arm[1])
            if wanted is None or (wanted == "ease" and in_groove):
                continue
            found[role][only_beyond(role, solid.tool, motion.phase)].append((j, NEEDS.index(wanted)))
    every = {late: [(i, j, n) for i, role in enumerate(roles) for j, n in found[role][late]] for late in (False, True)}
    return tuple(_columns(chosen, late) for late, chosen in every.items() if chosen)


def _columns(chosen: list[tuple[int, int, int]], late: bool) -> _Pairs:
    piece, solid, needs = np.array(chosen, dtype=np.int64).T
    return _Pairs(piece, solid, needs, late)


def _block(motion: Motion, body: Body, owner: Owner, beyond_right_angle: bool) -> tuple[float, ...] | None:
    """Return the motion of a body seen from an owner: one column of the block table, or None if it never counts."""
    turn, x, y = body.turn, body.shift, 0.0
    centre_x, centre_y = 0.0, 0.0 if body.about_feed else motion.toward * motion.bend_radius
    if body.path is not Path.RIGID:
        turn, x = 0.0, 0.0
    if owner is Owner.ARM:
        if body.path is not Path.GROWING:
            turn -= motion.toward * (motion.arm[1] - motion.arm[0])
        back = -motion.toward * motion.arm[0]
        x, y = x * math.cos(back), x * math.sin(back)
    elif owner is Owner.CARRIAGE and motion.face is not None and body.path is not Path.LINE:
        centre_x = motion.face[0]  # as `_seen` shifts the pieces
        x -= motion.face[0] - motion.face[1]
    elif owner is Owner.PRESSURE:
        x -= motion.pressure[1] - motion.pressure[0]
    still = turn == 0.0 and x == 0.0 and y == 0.0
    first, last = (1.0, 1.0) if still and _longest_at_end(motion, body) else (0.0, 0.0 if still else 1.0)
    if beyond_right_angle:
        if abs(body.turn) <= math.pi / 2.0:
            return None
        first = math.pi / 2.0 / abs(body.turn)
    axis = (1.0, 0.0, 0.0) if body.about_feed else (0.0, 0.0, 1.0)
    return (centre_x, centre_y, 0.0, *axis, turn, x, y, 0.0, first, last)


def _longest_at_end(motion: Motion, body: Body) -> bool:
    """Say whether a body that changes its length as a set is longest at the end of the motion.

    The forming arc is while it grows, the straight through the die at the farthest advance, the tail at the least.
    """
    if body.path is Path.LINE:
        return motion.y[1] > motion.y[0]
    if motion.phase is Phase.PLACE and body.roles == (Role.TAIL,):
        return motion.y[1] < motion.y[0]
    return body.length_change > 0.0


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
    table[12], table[13] = pieces.length, 0.0
    if body.length_at_start is not None:
        table[12], table[13] = body.length_at_start, body.length_change
    table[14], table[15], table[16] = pieces.u, pieces.u_sign, np.arange(pieces.count)
    table[17] = next(number for number, one in enumerate(motion.bodies) if one is body)
    return table
