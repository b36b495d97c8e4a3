"""Every allowed order of a part's bends, one after the other, judged with plain numbers and dense samples of the motions.

Independent of the program but for its input models and the setting of each bend. With a mandrel or a carriage the formed
bends are a run of neighbours; the job starts at any bend with either end leading; the next bend is the neighbour behind
the run, in the same load, after a re-grip, after a reload, or after a turn end for end. What is checked of a bend follows
the contact table, phase by phase.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np

from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.inputs.springback import setting_for
from tests.plan.sampled import (
    BLOCK,
    BOX,
    CLEAR,
    DIE,
    FLOOR,
    POST,
    STILL,
    STRUCK,
    TAIL,
    UNSURE,
    Checks,
    End,
    Motion,
    Plane,
    Solid,
    Tube,
    View,
    own_gap,
    walked,
)

GROOVE_EASE = 1.0
"""How deep tube that lies in tooling may overlap it where the contact table says that it may touch [mm]."""

How = Literal["load", "turn", "reload", "link", "re-grip"]
OTHER: dict[End, End] = {"A": "B", "B": "A"}

SPARE = 0.2
"""Rules that are kept or broken by less than this are unsure [mm]: settings and places are rounded to the readouts."""
EXACT = 1e-6
"""The same where no rounding comes in [mm]."""
WHOLE_TURN = 2.0 * math.pi


class At(NamedTuple):
    """A bend at the die: leading end, first bend of the run formed ahead (or the bend), bend, trims in front and behind."""

    leads: End
    ahead: int
    bend: int
    trim_lead: float
    trim_tail: float


Window = tuple[float, float]
"""Least and greatest stock coordinate of the collet's face from the leading end [mm]."""

Home = tuple[int, dict[float, int]]
"""Whether the arm comes home, and at which advances of the tube [mm], each with its verdict."""

HOLDS = 20.0
"""Spacing of the collet's places at which the leading part is tried to strike the carriage [mm]."""

EASED = 10.0
"""Spacing of the advances at which the arm is tried to come home [mm]."""


class Geometry:
    """All motions of a part's bends on a machine, each judged once."""

    def __init__(self, views: Mapping[End, View], machine: Machine, tooling: Tooling, radius: float) -> None:
        self.views, self.machine, self.tooling, self.radius = views, machine, tooling, radius
        self.side = -1.0 if machine.head.bends_toward == "right" else 1.0
        self.clr = tooling.bend_radius
        clearance = machine.clearance
        self.required, self.sag = clearance.required, clearance.per_metre / 1000.0
        self.apart, self.itself = clearance.to_tooling, clearance.to_itself
        assert own_gap(views["A"], radius) > self.itself + 1.0, (
            "the drawing's own gap would cap what the tube must keep"
        )
        owned: dict[str, list[Solid]] = {"frame": [], "arm": [], "carriage": []}
        for entry in machine.solid:
            if entry.box is not None:
                owned[entry.moves_with].append(Solid(BOX, (*entry.box.from_, *entry.box.to)))
            elif entry.cylinder is not None:
                made = entry.cylinder
                owned[entry.moves_with].append(Solid(POST, (*made.centre, made.radius, *made.z)))
        self.frame = [Solid(FLOOR, (-machine.head.centreline_height,)), *owned["frame"]]
        self.arm, self.boxes = owned["arm"], owned["carriage"]
        assert all(solid.kind == BOX for solid in self.boxes), "a post on the carriage is not swept along the feed here"
        self.die = Solid(DIE, (self.side * self.clr, self.clr, tooling.die_height / 2.0, radius))
        hub, wiper = tooling.die_hub, tooling.wiper_block
        on_axis = (0.0, self.side * self.clr)
        self.hub = [] if hub is None else [Solid(POST, (*on_axis, hub.radius, -hub.height / 2.0, hub.height / 2.0))]
        self.wiper: list[Solid] = []
        if wiper is not None:
            numbers = (-wiper.length, 0.0, self.side, 0.0, wiper.width, wiper.height / 2.0, radius)
            self.wiper.append(Solid(BLOCK, numbers))
        self.known: dict[Hashable, dict[Hashable, int]] = {}
        self.moves: dict[Hashable, tuple[int, int]] = {}
        self.homes: dict[Hashable, Home] = {}

    def clamp(self, length: float, opened: bool) -> Solid:
        """The clamp's block in the arm's frame: open, or all of its travel."""
        block = self.tooling.clamp_block
        face, width = (block.opens, block.width) if opened else (0.0, block.width + block.opens)
        return Solid(BLOCK, (0.0, length, -self.side, face, width, block.height / 2.0, self.radius))

    def pressure(self, state: str, forward: tuple[float, float] = (0.0, 0.0)) -> Solid:
        """The pressure die "closed", "open" or in all of its "travel", swept along its way forward."""
        block, back = self.tooling.pressure_block, self.tooling.pressure_die_length
        face = block.opens if state == "open" else 0.0
        width = block.width + (block.opens if state == "travel" else 0.0)
        numbers = (forward[0] - back, forward[1], -self.side, face, width, block.height / 2.0, self.radius)
        return Solid(BLOCK, numbers)

    def feed(self, at: At) -> float:
        """Tube drawn forward by the swing [mm]."""
        return self.clr * self.views[at.leads].settings[at.bend - 1]

    def need(self, ahead: float, more: float = 0.0) -> tuple[float, float]:
        """What must be kept to machine and floor with so much leading part, and so much more at the motion's end [mm]."""
        return (self.required + self.sag * ahead, self.sag * more)

    def in_die(self, at: At) -> Tube:
        """The leading part as the dies close; its first piece is the straight that the clamp holds."""
        return walked(self.views[at.leads].ahead_of(at.bend, at.ahead, at.trim_lead), self.side)

    def standing(self, at: At) -> Tube:
        """The leading part after the bend; its first piece is the arc just formed, with its tail end at the die."""
        view = self.views[at.leads]
        arc = ("arc", self.clr, view.angles[at.bend - 1])
        return walked([arc, *view.ahead_of(at.bend, at.ahead, at.trim_lead)], self.side)

    def eased(self, at: At, y: float) -> Tube:
        """The standing tube advanced by y [mm], with the straight that came out of the die; that is the last piece."""
        parts = self.standing(at).moved(shift=y), walked([("straight", y, 0.0)], self.side)
        return Tube(*(np.concatenate(pair) for pair in zip(*(vars(part).values() for part in parts), strict=True)))

    # One bend

    def hold(self, at: At, clamp: float) -> int:
        """Dies close, bend, dies open; the carriage's own solids are judged apart."""
        key = ("hold", at)
        if key not in self.known:
            checks = self.bend(at)
            self._close_and_open(checks, at)
            self.known[key] = checks.verdicts()
        found = self.known[key]
        return max(found["all"], found.get(clamp, CLEAR))

    def bend(self, at: At) -> Checks:
        """The swing from home to the setting."""
        checks = Checks(self.radius)
        tube, feed, axis = self.in_die(at), self.feed(at), self.side * self.clr
        first, beyond = tube.take(slice(0, 1)), tube.take(slice(1, None))
        swing = Motion("z", self.side * feed / self.clr, y=axis)
        needs, most = self.need(tube.total, feed), self.need(tube.total + feed)
        checks.add("all", tube, self.frame, needs, swing)
        checks.add("all", beyond, self.wiper, self.apart, swing)
        # The die turns about its own axis, arm solids with the arm: nothing moves between them and the leading part.
        checks.add("all", beyond, [self.die], self.apart)
        checks.add("all", tube, self.hub, self.apart)
        checks.add("all", beyond, self.arm, most)
        follows = self.tooling.pressure_die_follows
        checks.add("all", beyond, [self.pressure("closed")], self.apart, swing._replace(way=-feed if follows else 0.0))
        behind = self.views[at.leads].length + at.trim_tail - self.views[at.leads].starts[at.bend - 1]
        tail = Solid(TAIL, (behind, -feed, self.radius))
        checks.add("all", beyond, [tail], self.itself, swing)
        if feed / self.clr > math.pi / 2.0:
            checks.add("all", first, [tail], self.itself, swing._replace(first=math.pi / 2.0 * self.clr / feed))
        forming = walked([("arc", self.clr, feed / self.clr)], self.side)
        checks.add("all", forming, self.frame, most)
        checks.add("all", forming, self.hub, self.apart)
        checks.add("all", forming.moved(swing=-self.side * feed / self.clr, axis_y=axis), self.arm, most)
        for clamp in self.tooling.clamp_lengths:
            checks.add(clamp, first, self.arm, self.apart, cut=clamp)
        return checks

    def _close_and_open(self, checks: Checks, at: At) -> None:
        tube, feed, axis = self.in_die(at), self.feed(at), self.side * self.clr
        far, earlier, beyond = tube.take(slice(1, 2)), tube.take(slice(2, None)), tube.take(slice(1, None))
        back = Motion("z", self.side * (self.views[at.leads].angles[at.bend - 1] - feed / self.clr), y=axis)
        checks.add("all", beyond, [self.pressure("travel")], self.apart)
        forward = feed if self.tooling.pressure_die_follows else 0.0
        swung = beyond.moved(swing=self.side * feed / self.clr, axis_y=axis)
        checks.add("all", swung, [self.pressure("travel", (forward, forward))], self.apart, back)
        checks.add("all", tube, self.arm, self.need(tube.total + feed), back)
        for clamp in self.tooling.clamp_lengths:
            for solid, motion in ((self.clamp(clamp, False), STILL), (self.clamp(clamp, True), back)):
                checks.add(clamp, far, [solid], -GROOVE_EASE, motion)
                checks.add(clamp, earlier, [solid], self.apart, motion)

    def home(self, at: At, clamp: float, room: float) -> Home:
        """The arm goes home; where it is struck, also past the tube eased off by up to `room` [mm]."""
        key = (at, clamp, round(room, 6))
        if key in self.homes:
            return self.homes[key]
        plain = self._home(at, 0.0, 0.0)[clamp]
        found: Home = (plain, {0.0: plain})
        if plain != CLEAR and self.machine.head.may_ease_off:
            count = max(1, math.ceil(room / EASED))
            places = {k * room / count: STRUCK for k in range(1, count + 1)}
            surely_struck, out_of_reach = plain == STRUCK, False
            for y in places:
                slid = self._slid(at, y, self.feed(at) / self.clr)[clamp]
                places[y] = max(slid, self._home(at, y, 0.0)[clamp])
                surely_struck &= out_of_reach or self._home(at, y, room / count / 2.0)[clamp] == STRUCK
                out_of_reach = slid == STRUCK
            places[0.0] = plain
            best = min(places.values())
            found = (best if best == CLEAR or surely_struck else UNSURE, places)
        self.homes[key] = found
        return found

    def _home(self, at: At, y: float, lessened: float) -> dict[Hashable, int]:
        """The arm's way home with every clamp; struck by more than `lessened`, it is for all advances within that."""
        key = ("home", at, y, lessened)
        if key not in self.known:
            tube, swing = self.eased(at, y), self.feed(at) / self.clr
            checks, axis = Checks(self.radius), self.side * self.clr
            homing = Motion("z", self.side * swing, y=axis)
            turned = tube.moved(swing=-self.side * swing, axis_y=axis)
            need = self.need(tube.total)[0] - lessened
            forward = self.feed(at) if self.tooling.pressure_die_follows else 0.0
            checks.add("all", turned, self.arm, need, homing)
            checks.add("all", tube, [self.pressure("open", (0.0, forward))], self.apart - lessened)
            for clamp in self.tooling.clamp_lengths:
                checks.add(clamp, turned, [self.clamp(clamp, True)], self.apart - lessened, homing)
            self.known[key] = with_all(checks.verdicts(), self.tooling.clamp_lengths)
        return self.known[key]

    def _slid(self, at: At, y: float, arm: float, start: float = 0.0) -> dict[Hashable, int]:
        """The arc slides straight out from `start` to y [mm] with the arm at an angle [rad]."""
        key = ("slid", at, start, y, arm)
        if key not in self.known:
            checks = Checks(self.radius)
            self._standing(checks, "slid", self.standing(at).moved(shift=start), y - start, max(y, start), arm)
            found = checks.verdicts()
            self.known[key] = {clamp: max(found["slid"], found["slid", clamp]) for clamp in self.tooling.clamp_lengths}
        return self.known[key]

    def _standing(
        self, checks: Checks, name: str, tube: Tube, way: float, out: float, arm: float = 0.0, rolled: bool = False,
        turn: float = 0.0,
    ) -> None:  # fmt: skip
        """The tube between two bends, moved along or turned about the feed; only before a turn may the arc touch the die.

        out: how far the tangent point is from the arc at most [mm], which counts as leading part.
        """
        motion, axis = Motion("x", turn, way), self.side * self.clr
        need = self.need(tube.total + out)
        checks.add(name, tube, self.frame, need, motion)
        checks.add(name, tube if rolled else tube.take(slice(2, None)), [self.die, *self.wiper], self.apart, motion)
        checks.add(name, tube, self.hub, self.apart, motion)
        forward = arm * self.clr if self.tooling.pressure_die_follows else 0.0
        checks.add(name, tube, [self.pressure("open", (0.0, forward))], self.apart, motion)
        if arm != 0.0:
            # The straight that comes out meanwhile stands still as a set; with the arm at home `feed_line` has it.
            first = walked([("straight", out, 0.0)], self.side).moved(swing=-self.side * arm, axis_y=axis)
            checks.add(name, first, self.arm, need)
            for clamp in self.tooling.clamp_lengths:
                checks.add((name, clamp), first, [self.clamp(clamp, True)], self.apart)
            tube = tube.moved(swing=-self.side * arm, axis_y=axis)
            motion = Motion("x", 0.0, way * math.cos(arm), aside=-self.side * way * math.sin(arm))
        checks.add(name, tube, self.arm, need, motion)
        for clamp in self.tooling.clamp_lengths:
            checks.add((name, clamp), tube, [self.clamp(clamp, True)], self.apart, motion)

    # What the carriage carries

    def carriage(self, at: At, window: Window, following: Window, anywhere: Window) -> int:
        """The leading part against the carriage in the bend and at a re-grip, the collet as far back as it may hold.

        Clear for all places of the collet in both windows, or for the places in use; struck if it is so wherever the
        collet may hold for the bend; else unsure.
        """
        all_places = (min(window[0], following[0]), max(window[1], following[1]))
        in_use = (min(window[1], following[1]), max(window[1], following[1]))
        if CLEAR in (self._swept(at, *all_places), self._swept(at, *in_use)):
            return CLEAR
        count = max(1, math.ceil((anywhere[1] - anywhere[0]) / HOLDS))
        half = (anywhere[1] - anywhere[0]) / count / 2.0
        places = (anywhere[1] - (2 * k + 1) * half for k in range(count))
        return STRUCK if all(self._swept(at, u + half, u - half) == STRUCK for u in places) else UNSURE

    def _swept(self, at: At, low: float, high: float) -> int:
        """The bend with boxes that fill what the carriage's fill with the collet at any place from low to high.

        With low above high what they fill at all of these places: what strikes that strikes wherever the collet holds.
        """
        key = ("carriage", at, round(low, 6), round(high, 6))
        if key not in self.known:
            tube, feed, start = self.in_die(at), self.feed(at), self.views[at.leads].starts[at.bend - 1]
            face = high - start
            boxes = [box for box in swept(self.boxes, high - low) if box.numbers[0] < box.numbers[3]]
            swing = Motion("z", self.side * feed / self.clr, -feed, face, self.side * self.clr)
            checks = Checks(self.radius)
            checks.add("all", tube.moved(shift=face), boxes, self.need(tube.total, feed), swing)
            self.known[key] = checks.verdicts()
        return self.known[key].get("all", CLEAR)

    # From bend to bend

    def move(self, at: At, clamp: float, home: Home, window: Window, farthest: float) -> tuple[int, int]:
        """The move to the next bend, the shorter and the longer way round; `clamp` is the next bend's.

        farthest: how far the carriage can advance the tube [mm].
        """
        starts = tuple(sorted((y, verdict) for y, verdict in home[1].items() if verdict != STRUCK))
        key = (at, clamp, starts, window, round(farthest, 6))
        if key not in self.moves:
            self.moves[key] = self._move(at, clamp, home, window, farthest)
        return self.moves[key]

    def _move(self, at: At, clamp: float, home: Home, window: Window, farthest: float) -> tuple[int, int]:
        view = self.views[at.leads]
        goal, roll = view.straights[at.bend], view.rotations[at.bend]
        rolls = (roll, roll - math.copysign(2.0 * math.pi, roll))
        if self._turned(at, goal, 0.0, roll)[clamp] == STRUCK:
            return (STRUCK, STRUCK)
        sure = [y for y, verdict in sorted(home[1].items()) if verdict == CLEAR]
        best = [UNSURE, UNSURE]
        places = [goal, *(share * goal for share in (0.5, 0.75, 0.25)), *(goal + more for more in (20.0, 60.0, 150.0))]
        for y, start in itertools.product((y for y in places if y <= farthest), sure):
            for k in range(1 if abs(roll) < 1e-9 else 2):
                if best[k] != CLEAR and self._plain(at, clamp, (start, y, goal), rolls[k], window):
                    best[k] = CLEAR
            if min(best) == CLEAR:
                break
        if min(best) != CLEAR and home[0] == CLEAR and sure == [0.0]:
            mapped = self._mapped(at, clamp, goal, roll, farthest, window)
            if mapped == STRUCK or self.machine.rotation.range == "continuous":
                return (mapped, mapped)
        return (best[0], best[1])

    def _plain(self, at: At, clamp: float, ys: tuple[float, float, float], roll: float, window: Window) -> bool:
        """Whether it is clear to slide from ys[0] to ys[1], turn there, and go on to ys[2]."""
        start, y, goal = ys
        if abs(roll) < 1e-9:
            return self._slid(at, goal, 0.0, start)[clamp] == CLEAR
        if y < (0.0 if self.machine.mandrel is None else self.machine.mandrel.nose):
            return False
        legs = (self._slid(at, y, 0.0, start), self._turned(at, y, roll), self._on(at, y, goal, roll))
        return all(leg[clamp] == CLEAR for leg in legs) and self._carried(at, roll, window) == CLEAR

    def _turned(self, at: At, y: float, turn: float, roll: float = 0.0) -> dict[Hashable, int]:
        return self._leg(("turned", at, y, turn, roll), at, y, roll, turn, 0.0)

    def _on(self, at: At, y: float, goal: float, roll: float) -> dict[Hashable, int]:
        return self._leg(("on", at, y, goal, roll), at, y, roll, 0.0, goal - y)

    def _leg(self, key: Hashable, at: At, y: float, roll: float, turn: float, way: float) -> dict[Hashable, int]:
        if key not in self.known:
            checks = Checks(self.radius)
            tube = self.standing(at).moved(shift=y, roll=roll)
            rolled = roll != 0.0 or turn != 0.0
            self._standing(checks, "leg", tube, way, max(y, y + way), rolled=rolled, turn=turn)
            found = checks.verdicts()
            self.known[key] = {clamp: max(found["leg"], found["leg", clamp]) for clamp in self.tooling.clamp_lengths}
        return self.known[key]

    def _carried(self, at: At, roll: float, window: Window) -> int:
        """The leading part turned about the feed, against the carriage that goes with the tube."""
        key = ("carried", at, roll, window)
        if key not in self.known and self.boxes:
            end, tube = self.views[at.leads].ends[at.bend - 1], self.standing(at)
            reach = self.views[at.leads].straights[at.bend]
            for low, high in (window, (window[1], window[1])):
                checks = Checks(self.radius)
                solids = swept(self.boxes, high - low)
                checks.add(
                    "all", tube.moved(shift=high - end), solids, self.need(tube.total + reach), Motion("x", roll)
                )
                self.known[key] = checks.verdicts()
                if self.known[key]["all"] == CLEAR:
                    break
        return self.known[key]["all"] if self.boxes else CLEAR

    def feed_line(self, angle: float) -> dict[Hashable, int]:
        """Straight tube on the feed against all that it must clear: ahead with the arm at home, behind also as it swings.

        What every bend has in common: judged once for a machine, not bend by bend.
        """
        checks, axis = Checks(self.radius), self.side * self.clr
        line = walked([("straight", 7000.0, 0.0)], self.side)
        back, swing = line.moved(shift=-7000.0), Motion("z", -self.side * angle, y=axis)
        need = self.need(4000.0)
        checks.add("frame", line, self.frame, need)
        checks.add("pressure die", line, [self.pressure("open")], self.apart)
        checks.add("arm", line, self.arm, need)
        checks.add("arm, swung", back, self.arm, self.required, swing)
        for clamp in self.tooling.clamp_lengths:
            checks.add("clamp", line, [self.clamp(clamp, True)], self.apart)
            checks.add("clamp, swung", back, [self.clamp(clamp, True)], self.apart, swing)
        return checks.verdicts()

    def _mapped(self, at: At, clamp: float, goal: float, roll: float, farthest: float, window: Window) -> int:
        """Whether a way leads from the standing tube to the goal in the plane of advance and roll, or a wall bars it."""
        out = 0.0 if self.machine.mandrel is None else self.machine.mandrel.nose
        slides = {y: self._slid(at, y, 0.0)[clamp] for y in (out, *(share * goal for share in (0.25, 0.5, 0.75, 1.0)))}
        if farthest <= out or slides[out] == STRUCK:
            return STRUCK
        tube, view = self.standing(at), self.views[at.leads]
        built = [self.die, *self.wiper, *self.hub, self.pressure("open"), self.clamp(clamp, True)]
        around, need = [*self.frame, *self.arm], self.need(tube.total)[0]
        solids = [*((solid, self.apart, 0.0) for solid in built), *((solid, need, self.sag) for solid in around)]
        face, carried = window[1] - view.ends[at.bend - 1], self.need(tube.total + view.straights[at.bend])[0]
        riding = [(solid, carried) for solid in swept(self.boxes, window[1] - window[0], -face)]
        plane = Plane(tube, self.radius, solids, riding, (out, farthest))
        return plane.way_to((goal, roll), max((y for y, verdict in slides.items() if verdict == CLEAR), default=-1.0))


def swept(boxes: list[Solid], way: float, shift: float = 0.0) -> list[Solid]:
    """Boxes swept forward along the feed, and shifted."""
    return [Solid(BOX, (p[0] + shift, *p[1:3], p[3] + way + shift, *p[4:])) for _, p in boxes]


def with_all(found: dict[Hashable, int], clamps: Iterable[float]) -> dict[Hashable, int]:
    """Each clamp's verdict together with what holds for every clamp."""
    return {clamp: max(found.get("all", CLEAR), found.get(clamp, CLEAR)) for clamp in clamps}


@dataclass(frozen=True)
class Bend:
    """One bend of a job as counted from its leading end: ahead is the first of the run formed ahead of it, or itself."""

    leads: End
    bend: int
    ahead: int
    how: How
    released: bool = False


Job = tuple[Bend, ...]


def jobs(n: int, regrips: bool, released: bool) -> Iterator[Job]:
    """All jobs of n bends. The run of formed bends grows toward B with A leading, toward A with B leading."""
    for ends in itertools.product("AB", repeat=n):
        leads: list[End] = ["A" if end == "A" else "B" for end in ends]
        low = high = 1 + leads[1:].count("B")
        first = low if leads[0] == "A" else n + 1 - low
        made: list[tuple[End, int, int]] = [(leads[0], first, first)]
        ways: list[tuple[How, ...]] = [("load",)]
        for before, end in itertools.pairwise(leads):
            same: tuple[How, ...] = ("link", "re-grip", "reload") if regrips else ("link", "reload")
            ways.append(("turn",) if before != end else same)
            if end == "A":
                made.append((end, high + 1, low))
                high += 1
            else:
                made.append((end, n + 2 - low, n + 1 - high))
                low -= 1
        for hows in itertools.product(*ways):
            job = tuple(Bend(end, bend, ahead, how) for (end, bend, ahead), how in zip(made, hows, strict=True))
            yield job
            if released:
                yield (*job[:-1], replace(job[-1], released=True))


def reclamps(job: Job) -> int:
    """Losses of reference: turns, reloads, re-grips, and a last bend with the collet open."""
    return sum(bend.how in ("turn", "reload", "re-grip") for bend in job) + sum(bend.released for bend in job)


@dataclass(frozen=True)
class Kept:
    """What the shop rules leave of a job: the least trims at A and B [mm], and where the collet may hold at each bend.

    windows: least and greatest stock coordinate of the collet's face from the leading end [mm], the same for all bends of
    one hold.
    """

    trims: tuple[float, float]
    windows: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Found:
    """least, most: re-clamps if every unsure check were clear, and if none were; infinite where nothing can be made.

    trims: the least total trim with so many re-clamps, likewise [mm]. unsure: jobs that stayed unsure.
    """

    least: float
    most: float
    trims: tuple[float, float]
    unsure: int

    @property
    def verdict(self) -> str:
        """The part's verdict, "unsure" where the samples leave it open."""
        if math.isinf(self.least):
            return "not makeable"
        return "makeable" if self.least == self.most else "unsure"


class BruteForce:
    """All jobs of a part on a machine that has a carriage."""

    def __init__(self, part: Part, machine: Machine) -> None:
        assert machine.carriage is not None
        assert len(set(part.radii)) == 1
        self.part, self.machine, self.carriage = part, machine, machine.carriage
        radius = float(part.radii[0])
        self.tooling = machine.tooling_for(part.outside_diameter, radius)
        settings = [setting_for(float(angle), machine, part, radius).value for angle in part.angles]
        self.beyond_range = max(settings) > machine.head.largest_angle + 1e-9
        printed = [self._printed(setting, float(angle)) for setting, angle in zip(settings, part.angles, strict=True)]
        rows = (list(map(float, part.straights)), list(map(float, part.rotations)), list(map(float, part.angles)))
        self.views: dict[End, View] = {
            "A": View(rows[0], rows[1], rows[2], printed, radius),
            "B": View(rows[0][::-1], [0.0, *rows[1][:0:-1]], rows[2][::-1], printed[::-1], radius),
        }

    @cached_property
    def geometry(self) -> Geometry:
        """The motions, each judged once."""
        return Geometry(self.views, self.machine, self.tooling, self.part.outside_diameter / 2.0)

    def _printed(self, setting: float, angle: float) -> float:
        """The setting as the dial shows it, never less than the angle and never beyond the machine's largest [rad]."""
        step, largest = self.machine.rotation.resolution, self.machine.head.largest_angle
        count = round(setting / step)
        count -= count * step > largest + 1e-9
        return max(count * step, angle)

    @cached_property
    def rated(self) -> bool:
        """Whether the tube's plastic moment, yield · (D³ − d³)/6, is within that of the tube the machine is rated for."""
        rated, part = self.machine.rated, self.part
        if rated is None or part.yield_strength is None:
            return True
        tubes = (
            (part.outside_diameter, part.wall, part.yield_strength),
            (rated.tube_diameter, rated.wall, rated.yield_strength),
        )
        mine, limit = (strength * (d**3 - (d - 2.0 * wall) ** 3) / 6.0 for d, wall, strength in tubes)
        return mine <= limit * (1.0 + 1e-9)

    def found(self) -> Found:
        """Judge all jobs, those with fewer re-clamps and less trim first, until one is surely possible."""
        nothing = Found(math.inf, math.inf, (math.inf, math.inf), 0)
        if self.beyond_range or not self.rated:
            return nothing
        entries = []
        for place, job in enumerate(
            jobs(self.part.n_bends, self.carriage.passes_through, self.carriage.finish_released)
        ):
            loose, strict = self.kept(job, -SPARE), self.kept(job, SPARE)
            if loose is not None:
                entries.append((reclamps(job), sum(loose.trims), place, job, loose, strict))
        least, unsure, trim = math.inf, 0, math.inf
        for count, total, _, job, loose, strict in sorted(entries, key=lambda entry: entry[:3]):
            verdict = self.judged(job, loose)
            if verdict == STRUCK:
                continue
            if math.isinf(least):
                least, trim = count, total
            if strict is not None and strict.trims != loose.trims and verdict == CLEAR:
                verdict = self.judged(job, strict)
            if strict is not None and verdict == CLEAR:
                return Found(least, count, (trim, sum(strict.trims)), unsure)
            unsure += 1
        return Found(least, math.inf, (trim, math.inf), unsure)

    # The shop rules

    def clamps(self, at: Bend) -> tuple[float, ...]:
        """Between formed bends the clamp must not be longer than the straight; at a leading end it may overhang."""
        lengths = tuple(self.tooling.clamp_lengths)
        if at.ahead == at.bend:
            return lengths
        return tuple(c for c in lengths if c <= self.views[at.leads].straights[at.bend - 1] + EXACT)

    def kept(self, job: Job, spare: float, given: tuple[float, float] | None = None) -> Kept | None:
        """The least trims and the collet's windows with every rule kept by `spare` [mm], or None.

        given: the trims at A and B, where they are given and not sought.
        """
        closest, farthest = self.carriage.reach
        lower: dict[End, float] = {"A": 0.0, "B": 0.0}
        upper: dict[End, float] = {"A": self.part.trim_a, "B": self.part.trim_b}
        holds: list[tuple[End, int, float, float]] = []  # leading end, bends served, least and greatest u
        before: Bend | None = None
        for at in job:
            view, tail = self.views[at.leads], OTHER[at.leads]
            start, swing = view.starts[at.bend - 1], view.swings[at.bend - 1]
            if not self.clamps(at):
                return None
            if before is None:
                lower[at.leads] = max(lower[at.leads], self.tooling.shortest_grip - start + spare)
            lower[tail] = max(lower[tail], swing + self.tooling.shortest_tail - view.length + spare)
            if at.how in ("load", "turn", "reload"):
                if self.machine.mandrel is not None:
                    upper[tail] = min(upper[tail], self.machine.mandrel.rod_length - (view.length - start) - spare)
                holds.append((at.leads, 0, -math.inf, math.inf))
            elif at.how == "re-grip":
                assert before is not None
                i = before.bend - 1
                holds.append((at.leads, 0, view.swings[i] + closest, view.ends[i] + farthest))
            leads, served, low, high = holds[-1]
            low = max(low, (start if at.released else swing) + closest)
            high = min(high, start + farthest)
            holds[-1] = (leads, served + 1, low, high)
            if low + spare > high:
                return None
            lower[tail] = max(lower[tail], low + self.carriage.grip_length - view.length + spare)
            if not self.carriage.passes_through:
                upper[tail] = min(upper[tail], high + self.carriage.grip_length - view.length - spare)
            before = at
        trims = {end: float(math.ceil(lower[end] - EXACT)) for end in lower}
        if given is not None:
            trims = {"A": given[0], "B": given[1]}
        if any(not lower[end] - EXACT <= trims[end] <= upper[end] + EXACT for end in trims):
            return None
        windows = [window for hold in holds for window in [self._window(hold, trims)] * hold[1]]
        return Kept((trims["A"], trims["B"]), tuple(windows))

    def _window(self, hold: tuple[End, int, float, float], trims: dict[End, float]) -> tuple[float, float]:
        leads, _, low, high = hold
        most = self.views[leads].length + trims[OTHER[leads]] - self.carriage.grip_length
        return (low if self.carriage.passes_through else most, min(high, most))

    # The motions

    def judged(self, job: Job, kept: Kept) -> int:
        """The worst of the job's bends, each with the best clamp, and of the moves between them."""
        worst = CLEAR
        chuck = {0.0: CLEAR}  # where a chuck of limited range may stand, and the best verdict of getting there
        for i, at in enumerate(job):
            window = kept.windows[i]
            after = kept.windows[i + 1] if self._goes_on(job, i) else window
            carried = CLEAR
            if not at.released:
                carried = self.geometry.carriage(self._at(at, kept), window, after, self._anywhere(at))
            held = {c: max(carried, self.geometry.hold(self._at(at, kept), c)) for c in self.clamps(at)}
            held = {c: max(verdict, self._home(job, i, kept, c)[0]) for c, verdict in held.items()}
            if at.how in ("link", "re-grip"):
                moves = {c: self._moved(job, i, kept, c) for c in held}
                best = [min(max(held[c], moves[c][way]) for c in held) for way in (0, 1)]
                chuck = self._turned(chuck if at.how == "link" else {0.0: min(chuck.values())}, at, best)
                worst = max(worst, min(chuck.values(), default=STRUCK))
            else:
                chuck = {0.0: CLEAR}
                worst = max(worst, min(held.values()))
            if worst == STRUCK:
                break
        return worst

    def _anywhere(self, at: Bend) -> Window:
        """Where the collet may hold for a bend at all, with all the trim that is allowed."""
        view, (closest, farthest) = self.views[at.leads], self.carriage.reach
        trim = self.part.trim_b if at.leads == "A" else self.part.trim_a
        high = min(view.starts[at.bend - 1] + farthest, view.length + trim - self.carriage.grip_length)
        return (view.swings[at.bend - 1] + closest, high)

    def _goes_on(self, job: Job, i: int) -> bool:
        """Whether the next bend is made in the same load."""
        return i + 1 < len(job) and job[i + 1].how in ("link", "re-grip")

    def _at(self, at: Bend, kept: Kept) -> At:
        a, b = kept.trims
        return At(at.leads, at.ahead, at.bend, *((a, b) if at.leads == "A" else (b, a)))

    def _home(self, job: Job, i: int, kept: Kept, clamp: float) -> Home:
        """The arm goes home past the standing tube, or past the tube eased off at any advance up to the next place.

        After the last bend of a load it may be eased off as far as the carriage goes, or all the tube if the collet is open.
        """
        at, view = job[i], self.views[job[i].leads]
        place, end = self._at(at, kept), view.ends[at.bend - 1]
        if self._goes_on(job, i):
            room = min(kept.windows[i + 1][1] - end - self.carriage.reach[0], view.straights[at.bend])
        else:
            room = view.length + place.trim_tail - end
            room = room if at.released else min(room, kept.windows[i][1] - end - self.carriage.reach[0])
        return self.geometry.home(place, clamp, room)

    def _moved(self, job: Job, i: int, kept: Kept, clamp: float) -> tuple[int, int]:
        """The move to bend i from the one before it in the load, the shorter and the longer way round."""
        before, window = job[i - 1], kept.windows[i]
        farthest = window[1] - self.views[before.leads].ends[before.bend - 1] - self.carriage.reach[0]
        ways = [
            self.geometry.move(self._at(before, kept), clamp, self._home(job, i - 1, kept, held), window, farthest)
            for held in self.clamps(before)
        ]
        return (min(way[0] for way in ways), min(way[1] for way in ways))

    def _turned(self, chuck: dict[float, int], at: Bend, best: list[int]) -> dict[float, int]:
        """Where the chuck may stand after a move, the shorter or the longer way round."""
        limits = self.machine.rotation.range
        if limits == "continuous":
            return {0.0: max(min(chuck.values()), min(best))}
        roll = self.views[at.leads].rotations[at.bend - 1]
        ways = (roll, roll - math.copysign(WHOLE_TURN, roll)) if abs(roll) > 1e-9 else (0.0,)
        after: dict[float, int] = {}
        for stands, known in chuck.items():
            for way, verdict in zip(ways, best, strict=False):
                angle = round(stands + way, 9)
                if limits[0] - 1e-6 <= angle <= limits[1] + 1e-6:
                    after[angle] = min(after.get(angle, STRUCK), max(known, verdict))
        return after
