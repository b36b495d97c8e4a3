"""How near tube comes to solids over motions: sampled so densely that no point moves more than about 2 mm in between.

A distance changes no faster than tube and solid move against each other, so a stretch of time that begins far enough away
is passed over: at its middle tube is farther than it can come nearer until its ends. What is left over is halved.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tests.geometry.distances import TO_POINTS
from tests.plan.replay.distances import Seen, far
from tests.plan.replay.motions import DOWN, Body, Length, Motion, Pair, between, carried, pose
from tests.plan.replay.solids import Solid
from tests.plan.replay.stock import Array

Ints = NDArray[np.int64]

STEP = 2.0
"""No point of the tube moves more than this against a solid between two samples [mm], half of it to the next one."""

IN_A_GROOVE = 4.0
"""The same for tube that may touch: what presses into a groove does so over longer ways [mm]."""

LONGEST = 300.0
"""Straights longer than this are looked at in parts [mm]: their ends move at different speeds."""

COARSE = 10.0
"""Parts of tube are looked at as balls about their middles until time takes off no more than this [mm]."""

MOST = 4000
"""Samples of one pair at most; a pair that would want more is sampled more coarsely."""


@dataclass(frozen=True)
class Held:
    """A part of a piece of tube held against a solid over a motion.

    part: from where to where along the piece [mm]; need: what it must keep at t = 0 and 1; claim: what it keeps in any case
    as the plan says, −∞ where the plan says nothing [mm]; first: the time from which on it counts.
    """

    motion: Motion
    body: Body
    length: Length
    part: Pair
    solid: Solid
    need: Pair
    claim: float
    first: float = 0.0

    def wanted(self, first: float, last: float) -> float:
        """The most that is wanted within a time [mm]."""
        return max(self.claim, between(self.need, first), between(self.need, last))


@dataclass
class Least:
    """The least of all samples of a pair [mm] and its time; short: less than what was wanted there."""

    held: Held
    distance: float = math.inf
    t: float = math.nan
    short: bool = False
    samples: int = 0


def parts(length: Length, cut: float = 0.0) -> Iterator[Pair]:
    """A piece in parts, as far as there ever is tube, from `cut` on [mm]."""
    low, high = length.widest(0.0, 1.0)
    low = max(low, cut)
    if high - low <= 1e-6:
        return
    longest = LONGEST if length.piece.curvature == 0.0 else LONGEST / 2.0
    count = math.ceil((high - low) / longest)
    ends = np.linspace(low, high, count + 1)
    yield from zip(map(float, ends[:-1]), map(float, ends[1:]), strict=True)


# What moves against what


def relative(held: Held) -> tuple[float, float, float]:
    """How far tube is rolled, swung [rad] and shifted [mm] against the solid over the motion."""
    motion, body, moves_with = held.motion, held.body, held.solid.moves_with.removesuffix(DOWN)
    roll, swing, shift = (pair[1] - pair[0] for pair in (body.roll, body.swing, body.shift))
    if moves_with == "arm":
        swing -= motion.side * (motion.arm[1] - motion.arm[0])
    elif moves_with == "carriage" and motion.face is not None:
        shift += motion.face[1] - motion.face[0]
    elif moves_with == "pressure die":
        shift -= motion.forward[1] - motion.forward[0]
    if held.solid.moves_with.endswith(DOWN):
        shift = math.hypot(shift, motion.drop[1] - motion.drop[0])
    if held.solid.kind == "die" and body.swing[0] != body.swing[1]:
        return (roll, 0.0, shift)  # it is round about the axis of the swing
    return (roll, swing, shift)


def moves(held: Held) -> bool:
    """Whether tube, or where it begins and ends, moves against the solid, or the solid is on its way."""
    grows = held.length.low[0] != held.length.low[1] or held.length.high[0] != held.length.high[1]
    return held.solid.on_its_way or grows or any(abs(way) > 1e-9 for way in relative(held))


def fills_the_bore(held: Held) -> bool:
    """Whether tube lies along the bore of a block all the time, and so fills it and no more: it only slides, or turns."""
    piece, motion = held.length.piece, held.motion
    lowered = held.solid.moves_with.endswith(DOWN)
    if held.solid.kind != "block" or held.solid.tool == "clamp" or piece.curvature != 0.0 or lowered:
        return False
    turned = max(map(abs, (*held.body.swing, *(motion.arm if held.solid.moves_with == "arm" else (0.0, 0.0)))))
    off = max(abs(piece.along[0] ** 2 - 1.0), abs(piece.start[1]), abs(piece.start[2]), turned, held.solid.numbers[3])
    return bool(off <= 1e-9)


@dataclass
class _Rough:
    """Parts of tube as balls about their middles, all pairs at once: what is far enough away is passed over."""

    pairs: Sequence[Held]
    radius: float
    middle: Array = field(init=False)
    half: Array = field(init=False)
    speed: Array = field(init=False)

    def __post_init__(self) -> None:
        pairs = self.pairs
        centres = [h.length.piece.points(np.array([(h.part[0] + h.part[1]) / 2.0]))[0] for h in pairs]
        self.middle = np.array(centres).reshape(-1, 3)
        self.half = np.array([(h.part[1] - h.part[0]) / 2.0 for h in pairs])
        self.axis = np.array([h.motion.axis for h in pairs])
        self.roll, self.swing, self.shift = (
            np.array([getattr(h.body, name) for h in pairs], dtype=float).reshape(-1, 2)
            for name in ("roll", "swing", "shift")
        )
        self.arm, self.along = (np.array(list(column), dtype=float).reshape(-1, 2) for column in self._owners())
        self.down = np.array(
            [h.motion.drop if h.solid.moves_with.endswith(DOWN) else (0.0, 0.0) for h in pairs], dtype=float
        ).reshape(-1, 2)
        self.kinds = list(dict.fromkeys(h.solid.kind for h in pairs))
        self.kind = np.array([self.kinds.index(h.solid.kind) for h in pairs], dtype=np.int64)
        self.numbers = np.zeros((len(pairs), 7))
        for k, h in enumerate(pairs):
            self.numbers[k, : len(h.solid.numbers)] = h.solid.numbers
        every = np.arange(len(pairs))
        ways = np.abs(np.array([relative(h) for h in pairs]).reshape(-1, 3))
        from_feed = np.hypot(self.middle[:, 1], self.middle[:, 2])
        places = [self.seen(every, np.full(len(pairs), t)) for t in (0.0, 1.0)]
        from_axis = np.max([np.hypot(x[:, 0], x[:, 1] - self.axis) for x in places], axis=0)
        reach = self.half + self.radius
        self.speed = ways[:, 0] * (from_feed + reach) + ways[:, 1] * (from_axis + reach) + ways[:, 2]

    def _owners(self) -> tuple[list[Pair], list[Pair]]:
        """How far what each solid moves with is swung [rad] and shifted [mm], at t = 0 and 1."""
        arms: list[Pair] = []
        alongs: list[Pair] = []
        for h in self.pairs:
            motion, moves_with = h.motion, h.solid.moves_with.removesuffix(DOWN)
            still = (0.0, 0.0)
            arms.append((motion.side * motion.arm[0], motion.side * motion.arm[1]) if moves_with == "arm" else still)
            face = motion.face if moves_with == "carriage" and motion.face is not None else still
            alongs.append(motion.forward if moves_with == "pressure die" else (-face[0], -face[1]))
        return arms, alongs

    def seen(self, which: Ints, t: Array) -> Array:
        """Middles (k, 3) as their solids see them at times t."""

        def at(pairs: Array) -> Array:
            return np.asarray(pairs[which, 0] + t * (pairs[which, 1] - pairs[which, 0]))

        x, y, z = self.middle[which].T
        y, z = _turned(y, z, at(self.roll))
        x, y = _turned(x, y - self.axis[which], at(self.swing))
        x, y = _turned(x + at(self.shift) - at(self.along), y, -at(self.arm))
        return np.stack((x, y + self.axis[which], z + at(self.down)), axis=1)

    def left_over(self) -> Iterator[tuple[int, float, float]]:
        """Pairs with the times that must be looked at more closely."""
        which = np.arange(len(self.pairs))
        first = np.array([h.first for h in self.pairs])
        wanted = np.array([h.wanted(0.0, 1.0) for h in self.pairs])
        middle, half = (first + 1.0) / 2.0, (1.0 - first) / 2.0
        while which.size:
            x = self.seen(which, middle)
            distance = np.empty(which.size)
            for number, kind in enumerate(self.kinds):
                here = self.kind[which] == number
                distance[here] = TO_POINTS[kind](self.numbers[which[here]], x[here])
            goes = self.speed[which] * half
            near = distance - self.radius - self.half[which] - goes < wanted[which]
            fine = goes <= np.maximum(COARSE, self.half[which])
            for k in np.flatnonzero(near & fine):
                yield int(which[k]), float(middle[k] - half[k]), float(middle[k] + half[k])
            again = near & ~fine
            which, middle, half = (
                np.repeat(which[again], 2),
                np.repeat(middle[again], 2),
                np.repeat(half[again] / 2.0, 2),
            )
            middle = middle + half * np.tile([-1.0, 1.0], which.size // 2)


def _turned(first: Array, second: Array, angle: Array) -> tuple[Array, Array]:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(c * first - s * second), np.asarray(s * first + c * second)


class Looked:
    """Looks at pairs closely; what a solid sees of a body at a moment is kept for the next pair."""

    def __init__(self, radius: float) -> None:
        self.radius = radius
        self.known: dict[tuple[int, str, float], Seen] = {}

    def seen(self, motion: Motion, body: Body, moves_with: str, t: float) -> Seen:
        """A body as what a solid moves with sees it at a moment."""
        key = (id(body), moves_with, t)
        if key not in self.known:
            (turn, shift), (owner, place) = pose(motion, body, t), carried(motion, moves_with, t)
            self.known[key] = Seen(owner.T @ turn, owner.T @ (shift - place))
        return self.known[key]

    def distance(self, held: Held, t: float, times: Pair, enough: float = math.inf) -> tuple[float, bool]:
        """How far the part is from the solid as both stand at t, with all the tube there is at any of some times, and whether
        it is just so far or at least so far.
        """
        reach, solid = held.length.widest(*times), held.solid
        if held.part[0] > reach[1] or held.part[1] < reach[0]:
            return math.inf, True
        if solid.kind == "tail":
            behind = max(between(held.motion.tail, time) for time in times)
            if behind <= 1e-6:
                return math.inf, True
            solid = replace(solid, numbers=(behind, solid.numbers[1]))
        seen = self.seen(held.motion, held.body, solid.moves_with, t)
        return far(held.length.piece, reach, held.part, seen, solid, self.radius, enough)

    def closely(self, least: Least, times: Pair, speed: float) -> None:
        """Sample a pair over a time, denser where it is near. speed: in mm over the whole motion."""
        held, left = least.held, [times]
        grows, step = _growth(held), STEP if max(held.need) >= 0.0 else IN_A_GROOVE
        while left and not least.short:
            a, b = left.pop()
            t, least.samples = (a + b) / 2.0, least.samples + 1
            enough = held.wanted(a, b) + speed * (b - a) / 2.0
            distance, just = self.distance(held, t, (a, b), enough)
            if distance >= enough:
                if just and not grows:
                    _note(least, distance, t)
                continue
            if grows:
                distance, just = self.distance(held, t, (t, t))
            _note(least, distance, t)
            if (speed + grows) * (b - a) > step * max(1.0, least.samples / MOST):
                left += [(a, t), (t, b)]


def _growth(held: Held) -> float:
    """How far the ends of the tube, or of a tail that it is held against, move along it in the motion [mm]."""
    ends = max(abs(last - first) for first, last in (held.length.low, held.length.high))
    return ends + (abs(held.motion.tail[1] - held.motion.tail[0]) if held.solid.kind == "tail" else 0.0)


def _note(least: Least, distance: float, t: float) -> None:
    if distance < least.distance:
        least.distance, least.t = distance, t
    if distance < least.held.wanted(t, t):
        least.short = True


def sampled(pairs: Sequence[Held], radius: float) -> list[Least]:
    """The least of the samples of each pair that ever comes near what it must keep."""
    pairs = [pair for pair in pairs if not fills_the_bore(pair)]
    if not pairs:
        return []
    rough, looked = _Rough(pairs, radius), Looked(radius)
    found: dict[int, Least] = {}
    for k, first, last in rough.left_over():
        least = found.setdefault(k, Least(pairs[k]))
        if not least.short:
            looked.closely(least, (first, last), float(rough.speed[k]))
    return list(found.values())
