"""From motions to rows: every piece of tube against every solid that it must keep clear of, seen from that solid.

A row is a piece, a relative motion and a solid. Seen from the thing that owns the solid, the point at arc length s of a
piece at time t ∈ [0, 1] lies at

    x(s, t) = c + Q(φ t) · (x₀(s) − c + W t) + V t          (2)

with Q the turn about `axis` through c, φ the angle turned, V the way gone in the owner's frame and W the way that turns
with it; x₀ is equation (1) in the owner's frame. Seen from the carriage the leading part turns about the die axis while
the carriage comes on: φ and V together. Seen from an arm that goes home while the tube is run forward: φ and W.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from planner.clearance.columns import BLOCK_COLUMNS, CURVATURE, GREATEST_S, LEAST_S, PIECE_COLUMNS
from planner.clearance.contact import GROOVED, JUST_FORMED, Need, beyond_clamp, need
from planner.clearance.groove import Groove, off_the_rod, only_beyond, stays_in_groove
from planner.clearance.relative import block_of, seen_from
from planner.clearance.solids import Owner, Solid, Tool
from planner.clearance.surroundings import Group, Surroundings
from planner.deadline import each_in_time
from planner.tolerances import GROOVE_EASE, HALF_TURN, NEED_BAND, SAME_PLACE, SAME_SIZE
from planner.tube.bodies import Body, Motion, Path, Phase, Role
from planner.tube.frames import Array, Flags, Ints

EVERY_CLAMP = -1
"""Mark of a row that holds whichever clamp is in the machine."""


@dataclass(frozen=True)
class Rows:
    """N rows for a batch of motions; tables are indexed by `piece`, `block` and `solid` (N,).

    pieces (18, m): start 3, along 3, inward 3 [mm], curvature [1/mm], least and greatest s [mm], greatest existing s at
    t = 0 and its change [mm], stock coordinate at s = 0 and its sign, number of the piece in its body, of the body in
    its motion.
    blocks (15, b): centre 3, axis 3, angle turned [rad], way gone 3 [mm], first and last t, way that turns 3 [mm].
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

    @property
    def enough(self) -> Array:
        """What counts as kept (N,) [mm]: a band less than is needed, but no contact where a clearance is asked for."""
        return np.where(self.needed < 0.0, self.needed - NEED_BAND, np.clip(self.needed - NEED_BAND, 0.0, None))

    def take(self, keep: Flags) -> Rows:
        """Return a selection of the rows, the tables as they are."""
        chosen = {name: getattr(self, name)[keep] for name in ("piece", "block", "solid", "needed", "spread")}
        return replace(self, motion=self.motion[keep], clamp=self.clamp[keep], **chosen)


def rows_of(motions: list[Motion], around: Surroundings, clamps: list[tuple[float, ...]]) -> Rows:
    """Return the rows of a batch of motions, each with the clamp lengths [mm] to be tried in it."""
    builder = _Builder(around)
    for number, (motion, lengths) in enumerate(each_in_time(zip(motions, clamps, strict=True))):
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
        self.known: dict[tuple[object, ...], _KnownOf] = around.pairs
        self.roles: list[Role] = []
        self.n_pieces = 0
        self.placed: dict[tuple[int, int, float | None], int] = {}  # of the motion at hand
        self.moving: dict[tuple[int, int, bool], int | None] = {}
        self.index: list[_Found] = []
        self.of_body = _KnownOf((), {})  # of the body at hand
        self.settled = True  # of the motion at hand: (5) holds for the arc just formed

    def add(self, number: int, motion: Motion, lengths: tuple[float, ...]) -> None:
        """Add one motion: each body against each owner's solids."""
        self.placed, self.moving = {}, {}
        fixed, by_clamp = self.around.solids_for(motion, lengths)
        arc = _slide(motion)
        self.settled = _fills_groove(motion, self.around.tooling.bend_radius)
        for body in motion.bodies:
            self.of_body = self._known_of(motion, body, arc)
            for owner, group in fixed:
                self._pair(number, motion, body, owner, group, EVERY_CLAMP, 0.0, arc)
            for which, (length, groups) in enumerate(by_clamp):
                for owner, group in groups:
                    self._pair(number, motion, body, owner, group, which, length, arc)

    def _known_of(self, motion: Motion, body: Body, arc: float) -> _KnownOf:
        """Return the pairs that are known of what pairs depend on besides the solids."""
        key = (
            id(body.roles),
            id(motion.phase),
            motion.slides_straight,
            id(body.path),
            arc <= np.pi / 2.0,
            arc <= np.pi,
            arc >= HALF_TURN,
            max(motion.arm) <= np.pi,
            max(motion.drop) > 0.0,
            motion.drop[1] < motion.drop[0],
            self.settled,
        )
        known = self.known.get(key)
        if known is None:
            known = self.known[key] = _KnownOf(body.roles, {})
        return known

    def _wanted(
        self, body: Body, group: Group, owner: Owner, motion: Motion, length: float, arc: float
    ) -> tuple[_Pairs, ...]:
        """Return the pairs of a body and a group, found once for what they depend on."""
        past = owner is Owner.SECTION and self._past_section(body, motion, length)
        key, known = (group.key, id(owner), past), self.of_body.pairs
        if key not in known:
            groove = Groove(arc, max(motion.arm), past)
            known[key] = _pairs(body.roles, group.solids, owner, motion, body.path, groove, self.settled)
        return known[key]

    def _pair(
        self, number: int, motion: Motion, body: Body, owner: Owner, group: Group, clamp: int, length: float, arc: float
    ) -> None:
        if not group.solids:
            return
        wanted = self._wanted(body, group, owner, motion, length, arc)
        if not wanted:
            return
        seen_as = owner
        if owner is Owner.DIE and motion.drop == (0.0, 0.0):
            seen_as = Owner.ARM if body.turn != 0.0 and not body.about_feed else Owner.FRAME
        elif owner is Owner.SECTION and motion.drop == (0.0, 0.0):
            seen_as = Owner.ARM
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
        hidden = clamp != EVERY_CLAMP and owner is Owner.ARM
        cut = [beyond_clamp(role, owner, motion.phase) for role in body.roles] if hidden else []
        key = (id(body), id(seen_as), length if any(cut) else None)
        if key in self.placed:
            return self.placed[key]
        table = seen_from(motion, body, seen_as)
        if any(cut):
            table[LEAST_S] = np.where(cut, np.minimum(length, table[GREATEST_S]), table[LEAST_S])
        if owner is Owner.ROD:
            nose = off_the_rod(body.roles, table[CURVATURE], table[GREATEST_S], self.around.on_mandrel)
            table[LEAST_S] = np.minimum(nose, table[GREATEST_S])
        self.placed[key] = self.n_pieces
        self.pieces.append(table)
        self.n_pieces += table.shape[1]
        self.roles.extend(body.roles)
        return self.placed[key]

    def _past_section(self, body: Body, motion: Motion, clamp: float) -> bool:
        """Say whether what begins at the end of the straight in the die begins at or beyond the grip section's end.

        Of a tube that stands with the arm at home that is the arc just formed, of a gripped one the one ahead.
        """
        section = self.around.tooling.section(clamp)
        if section is None or not body.roles:
            return True
        if body.roles[0] is Role.FORMED:
            return motion.arm == (0.0, 0.0) and min(motion.y) >= section.length - SAME_PLACE
        return body.roles[0] is Role.FIRST and float(body.pieces.length[0]) >= section.length - SAME_PLACE

    def _block(self, motion: Motion, body: Body, seen_as: Owner, beyond_right_angle: bool) -> int | None:
        """Put the motion of a body as an owner sees it into the table, once, and return its number."""
        key = (id(body), id(seen_as), beyond_right_angle)
        if key not in self.moving:
            block = block_of(motion, body, seen_as, beyond_right_angle)
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
    """Say whether the die fits the arc just formed, or is smaller: once the dies were changed it may be larger.

    Where the die is larger by δ the arc presses in by no more than 2δ, at half a turn: far less than GROOVE_EASE.
    """
    arcs = [body.pieces.curvature[0] for body in motion.bodies if body.roles and body.roles[0] is Role.FORMED]
    return all(curvature * (die_radius - SAME_SIZE - SAME_PLACE) <= 1.0 for curvature in arcs)


@dataclass(frozen=True)
class _KnownOf:
    """Pairs by the solids, and the roles they were found for, kept so that their identity stays their own."""

    roles: tuple[Role, ...]
    pairs: dict[tuple[str, int, bool], tuple[_Pairs, ...]]


def _pairs(
    roles: tuple[Role, ...],
    group: tuple[Solid, ...],
    owner: Owner,
    motion: Motion,
    path: Path,
    groove: Groove,
    settled: bool,
) -> tuple[_Pairs, ...]:
    """Return the pairs that the contact table wants checked and (5) and (6) do not settle.

    settled: the die that stands there fits the arc just formed, or is smaller.

    Those that count only beyond 90° of swing stand apart. What lies in a groove of a die that has been lowered is there
    no longer: it keeps what anything else keeps, and so does what lies beyond the straight in the die as it comes up.
    """
    lowered = max(motion.drop) > 0.0 and motion.phase is not Phase.DROP
    comes_up = motion.drop[1] < motion.drop[0]
    found: dict[Role, dict[bool, list[tuple[int, int]]]] = {}
    for role in dict.fromkeys(roles):
        found[role] = {False: [], True: []}
        for j, solid in enumerate(group):
            wanted = need(role, solid.tool, owner, motion.phase, motion.slides_straight, groove.arc >= HALF_TURN)
            if lowered and solid.tool in GROOVED:
                wanted = "tooling"
            elif comes_up and solid.tool in GROOVED and role in JUST_FORMED | {Role.FAR_ARC}:
                wanted = "ease" if solid.tool is Tool.SECTION and role is Role.FORMED else "tooling"
            by_lemma = settled or role not in (Role.FORMED, Role.AFTER)
            if wanted is None or (wanted == "ease" and by_lemma and stays_in_groove(role, solid.tool, path, groove)):
                continue
            found[role][only_beyond(role, solid.tool, motion.phase)].append((j, NEEDS.index(wanted)))
    every = {late: [(i, j, n) for i, role in enumerate(roles) for j, n in found[role][late]] for late in (False, True)}
    return tuple(_columns(chosen, late) for late, chosen in every.items() if chosen)


def _columns(chosen: list[tuple[int, int, int]], late: bool) -> _Pairs:
    piece, solid, needs = np.array(chosen, dtype=np.int64).T
    return _Pairs(piece, solid, needs, late)
