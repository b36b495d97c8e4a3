"""The shop rules once more, in plain numbers: what the auditor holds every order against.

Nothing of the planner is asked but the numbers of part and machine. All lengths are counted from the end that leads
[mm]: bend k starts at a and ends at b = a + CLR·A; when its swing ends e = a + CLR·max(setting, A) lies at the tangent
point; L is the developed length, and the stock ends at L + t with t of trim at the tail. u is where the collet's face
holds the tube, as far back as the first bend that the hold serves and the stock allow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from planner.audit.refused import Refused
from planner.errors import NoTooling
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from planner.tolerances import ANGLE_SLACK, MARK_SLACK, RULE_SLACK

End = Literal["A", "B"]
ENDS: tuple[End, End] = ("A", "B")
Pair = tuple[float, float]


class Arrival(NamedTuple):
    """One bend of an order and how it was reached; bend, ahead, since counted from the end that leads.

    event: load, turn, reload or link; ahead: first formed bend, the bend itself where none is; since, begun: the
    collet's hold, by its first bend and whether a load or a re-grip began it; way: 0 the shorter way round, 1 the
    longer (link only); released: the collet stands open while the job's last bend is made.
    """

    event: str
    leads: End
    bend: int
    ahead: int
    since: int
    begun: str
    way: int = 0
    released: bool = False

    @property
    def regripped(self) -> bool:
        """Whether the collet took a new hold just before."""
        return self.event == "link" and (self.since, self.begun) == (self.bend, "re-grip")


def other(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"


@dataclass(frozen=True)
class Bend:
    """One bend as its leading end counts it.

    start, end, swing: a, b and e [mm]; gap: straight to the bend ahead of it [mm] (for the first: to the part's end);
    radius [mm]; angle, setting, printed [rad]: what the drawing asks, the springback, and the dial; roll: rotation from
    the bend ahead of it, the shorter way round [rad]; tooling: its dies and clamps.
    """

    start: float
    end: float
    swing: float
    gap: float
    radius: float
    angle: float
    setting: float
    printed: float
    roll: float
    clamps: tuple[float, ...]
    shortest_grip: float
    shortest_tail: float
    tooling: Tooling = field(repr=False)

    def taken_by(self, clamp: float) -> float:
        """Return how much straight clamp and grip section take between formed bends, the longer of the two [mm]."""
        section = self.tooling.section(clamp)
        return clamp if section is None else max(clamp, section.length)


@dataclass
class Shop:
    """A part on a machine: its bends as either end counts them.

    settings: of the bends from end A [rad]; reckoned from the machine's springback where none are given.
    """

    part: Part
    machine: Machine
    settings: Sequence[float] | None = None
    sides: dict[End, tuple[Bend, ...]] = field(init=False)

    def __post_init__(self) -> None:
        self.n = self.part.n_bends
        try:
            self.tooling = [self.machine.tooling_for(self.part.outside_diameter, float(r)) for r in self.part.radii]
        except NoTooling as error:
            raise Refused(f"the machine has no tooling for the part: {error}") from error
        self.length = math.fsum(map(float, self.part.straights)) + math.fsum(
            float(r) * float(a) for r, a in zip(self.part.radii, self.part.angles, strict=True)
        )
        bends = zip(self.part.angles, self.part.radii, strict=True)
        reckoned = [setting_for(float(a), self.machine, self.part, float(r)).value for a, r in bends]
        settings = reckoned if self.settings is None else self.settings
        self.sides = {end: tuple(self._side(end, settings)) for end in ENDS}
        self.carriage = self.machine.carriage
        limits = self.machine.rotation.range
        self.chuck: Pair | None = None if limits == "continuous" else limits
        self.may_regrip = self.carriage is not None and self.carriage.passes_through
        self.may_release = self.carriage is not None and self.carriage.finish_released
        self.runs_only = self.carriage is not None or self.machine.mandrel is not None

    def _side(self, end: End, settings: Sequence[float]) -> list[Bend]:
        """Walk along the tube from an end, bend by bend."""
        part, n, found = self.part, self.n, list[Bend]()
        at = 0.0
        for place in range(n) if end == "A" else range(n - 1, -1, -1):
            gap = float(part.straights[place if end == "A" else place + 1])
            joint = place if end == "A" else place + 1  # the rotation of this straight stands with the bend after it
            turned = float(part.rotations[joint]) if found else 0.0
            angle, radius = float(part.angles[place]), float(part.radii[place])
            setting = settings[place]
            tooling = self.tooling[place]
            start = at + gap
            at = start + radius * angle
            found.append(
                Bend(
                    start=start,
                    end=at,
                    swing=start + radius * max(setting, angle),
                    gap=gap,
                    radius=radius,
                    angle=angle,
                    setting=setting,
                    printed=self._printed(setting, angle),
                    roll=math.pi if turned <= ANGLE_SLACK - math.pi else turned,
                    clamps=tooling.clamp_lengths,
                    shortest_grip=tooling.shortest_grip,
                    shortest_tail=tooling.shortest_tail,
                    tooling=tooling,
                )
            )
        return found

    def _printed(self, setting: float, angle: float) -> float:
        """Return the setting as the dial shows it [rad]: the nearest there is, within [angle, largest angle]."""
        step = self.machine.rotation.resolution
        marks = round(setting / step)
        if marks * step > self.machine.head.largest_angle + ANGLE_SLACK:
            marks -= 1
        return max(marks, math.ceil((angle - MARK_SLACK) / step)) * step

    def at(self, leads: End, bend: int) -> Bend:
        """Return a bend by its number from the end that leads."""
        return self.sides[leads][bend - 1]

    def number(self, leads: End, bend: int) -> int:
        """Return a bend's number from end A for its number from the end that leads, or back."""
        return bend if leads == "A" else self.n + 1 - bend

    def allowed(self, end: End) -> float:
        """Return the most trim that an end may carry [mm].

        Where nothing is stated: whole millimetres, so many as lengthen the end straight to what the rules can need. As
        the tail of the bend next to it the collet's closest place and its grip, or the shortest tail, behind what is
        drawn in beyond the arc; as the leading end the longest clamp.
        """
        stated = self.part.trim_a if end == "A" else self.part.trim_b
        if stated is not None:
            return float(stated)
        at = self.sides[other(end)][-1]
        straight = self.length - at.end
        held = 0.0 if self.carriage is None else self.carriage.reach[0] + self.carriage.grip_length
        needed = max(max(held, at.shortest_tail) + at.swing - at.end, *at.clamps)
        return max(float(math.ceil(needed - straight - RULE_SLACK)), 0.0)

    @property
    def unasked(self) -> tuple[End, ...]:
        """The ends of which nobody has stated what they may carry."""
        stated = {"A": self.part.trim_a, "B": self.part.trim_b}
        return tuple(end for end in ENDS if stated[end] is None)

    def more(self, trims: Pair) -> float:
        """Return how much of the trims at A and B nobody has stated [mm]."""
        return math.fsum(trim for end, trim in zip(ENDS, trims, strict=True) if end in self.unasked)

    # ------------------------------------------------------------------ what walls and witnesses ask for

    def clamps_for(self, leads: End, bend: int, ahead: int, trim_lead: float) -> tuple[float, ...]:
        """Return the clamps that may hold the tube for a bend, longest first; none where a rule forbids it [mm].

        Between formed bends neither the clamp nor the grip section that goes with it must be longer than the straight.
        At the leading end they may overhang, but the clamp must hold the shortest grip.
        """
        at = self.at(leads, bend)
        if ahead == bend:
            return at.clamps if at.start + trim_lead + RULE_SLACK >= at.shortest_grip else ()
        return tuple(clamp for clamp in at.clamps if at.taken_by(clamp) <= at.gap + RULE_SLACK)

    def faces(self, leads: End, bend: int) -> Pair:
        """Return the least and greatest distance from the collet's face to the tangent point at a bend's start [mm].

        Over every hold of a closed collet and all trim that is allowed: at the end of the swing, with the setting as
        the dial shows it, the collet may be no nearer than its closest place, at the start no farther than its
        farthest, and the tube fills it.
        """
        if self.carriage is None:
            raise Refused("a wall speaks of the collet's place on a bender that has no carriage")
        at, (closest, farthest) = self.at(leads, bend), self.carriage.reach
        stock = self.length + self.allowed(other(leads))
        nearest = closest + at.radius * max(at.printed, at.angle)
        return nearest, min(farthest, stock - self.carriage.grip_length - at.start)

    def farthest(self, leads: End, tangent_u: float) -> float:
        """Return the greatest advance that any hold and any trim allow from where `tangent_u` is at the tangent point.

        Both in mm: with all trim that is allowed at the tail and the collet holding its very end, run to its closest
        place; on a hand-fed bender until the tube's end is there.
        """
        held = 0.0 if self.carriage is None else self.carriage.reach[0] + self.carriage.grip_length
        return self.length + self.allowed(other(leads)) - held - tangent_u

    # ------------------------------------------------------------------ trims

    def whole(self, end: End, needed: float) -> float | None:
        """Return the least trim that can be cut and is no less than needed [mm], None if that is more than is allowed.

        Trim is cut in whole millimetres, or is all that is allowed.
        """
        if needed > self.allowed(end) + RULE_SLACK:
            return None
        return min(float(math.ceil(max(needed, 0.0) - RULE_SLACK)), self.allowed(end))

    def break_points(self, end: End) -> list[float]:
        """Return the trims at an end at which a rule that asks for more of it begins to be kept, and 0 [mm]."""
        points = {0.0}
        held = 0.0 if self.carriage is None else self.carriage.reach[0] + self.carriage.grip_length
        wanted = [at.shortest_grip - at.start for at in self.sides[end]]
        for at in self.sides[other(end)]:  # with the other end leading this end is the tail
            wanted.append(at.swing + at.shortest_tail - self.length)
            if self.carriage is not None:
                wanted.append(at.swing + held - self.length)
        if self.may_release:
            wanted.append(self.sides[other(end)][-1].start + held - self.length)
        points.update(whole for whole in (self.whole(end, needed) for needed in wanted) if whole is not None)
        return sorted(points)

    def pairs(self) -> list[Pair]:
        """Return pairs of trims at A and B that stand for all that can be cut (whole mm, or all allowed), by total.

        Why these are enough: take any order with trims (a, b), and put in place of a the greatest break point a' that
        is not more than a, in place of b likewise b'. A rule that asks for more trim asks for some length, and begins
        to be kept at the next whole millimetre, which is a break point: kept at a, that point is not above a, so not
        above a', and the rule is kept at a'. These are the shortest grip (at the leading end); the shortest tail, the
        tube filling the collet in a window, after a re-grip and in a hold (the face stands at the least of places that
        trim does not move and of stock less grip: it is far enough back for a bend from one length of trim on). A rule
        that asks for less trim (the rod; a collet that holds the very end and cannot run farther back) is kept with a'
        if it is with a. The others do not depend on trim. A geometric no-good that holds for all trims no shorter than
        some length and does not speak of a does not speak of a'. So the same order goes with (a', b'), with as many
        re-clamps and no more trim. (Where a no-good speaks of trims up to a length only, the next trim beyond belongs
        to the list too: `claim` adds it.)
        """
        found = [(a, b) for a in self.break_points("A") for b in self.break_points("B")]
        return sorted(found, key=lambda pair: (pair[0] + pair[1], pair))
