"""A plan document carried out step by step: what moves, in order, and that nothing is left out.

Each step must begin where the one before it ended and change what it may, by what it says. What the drawing gives
(where a bend's plane lies at a load) is taken from it, to what the readouts show. The plan's numbers give the tube as
built, and that must be the drawing's: in every load each bend is off by half a step of the readouts at most, counted
from the neighbour that was formed before.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from planner.audit import motions
from planner.audit.fields import holds_fields
from planner.audit.finished import finished
from planner.audit.homing import Homing
from planner.audit.loading import sign_of
from planner.audit.motions import Motion
from planner.audit.readings import advance_shows, dial_shows, right_setting
from planner.audit.refused import Refused
from planner.audit.standing import (
    Bent,
    Load,
    Now,
    Step,
    begins,
    changes,
    near,
    number,
    refused,
)  # fmt: skip
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tolerances import WRITTEN


@dataclass(frozen=True)
class Carried:
    """A plan carried out: the motions in order, the loads, and the part as its numbers make it."""

    motions: tuple[Motion, ...]
    loads: tuple[Load, ...]
    built: Part


def carry_out(plan: dict[str, Any], part: Part, machine: Machine) -> Carried:
    """Carry a plan out; raises Refused for the first step that does not go by the rest."""
    carrying = CarryingOut(plan, part, machine)
    for count, step in enumerate(plan["steps"]):
        if step["number"] != count + 1:
            raise Refused(f"Step {count + 1} is missing: the list goes on with number {step['number']}.")
        carrying.coming = plan["steps"][count:]
        holds_fields(step, plan["steps"][:count], carrying.coming)
        carrying.do(step)
    if not carrying.done or not carrying.checked:
        raise Refused("The steps end before the tube is taken off and checked.")
    finished(plan, part, carrying.loads, carrying.trims, carrying.trimmed)
    return Carried(tuple(carrying.motions), tuple(carrying.loads), carrying.built.view("A"))


class CarryingOut(Homing):
    """A plan under way, with what is done between bends and at the die."""

    def __init__(self, plan: dict[str, Any], part: Part, machine: Machine) -> None:
        super().__init__(plan, part, machine)
        self.trimmed: list[tuple[str, float]] = []
        self.checked = False

    def do(self, step: Step) -> None:
        """Carry out one step."""
        action = step["action"]
        if action not in ACTIONS:
            raise refused(step, "there is no such step")
        if (self.done and action not in ("change clamp", "trim", "check")) or self.checked:
            raise refused(step, "the tube has been taken off after its last bend, or checked")
        self.hold_tools(step)
        self._labels(step)
        if self.now.due not in (None, action):
            raise refused(step, f"{DUE[self.now.due]} before it")
        ACTIONS[action](self, step)
        self.before = action

    def _labels(self, step: Step) -> None:
        """Refuse another unit than what is counted, and another end than the one that leads."""
        if step["amount"] is not None and step["unit"] != ("deg" if step["action"] in ("rotate", "bend") else "mm"):
            raise refused(step, f"it counts in {step['unit']}")
        held = self.loaded and step["action"] not in ("turn", "reload")
        if held and step["leads"] not in (None, self.load.leads):
            raise refused(step, f"end {step['leads']} does not lead")

    # Between bends

    def advance(self, step: Step) -> None:
        """Advance or draw back, or push the tube by hand."""
        if step["bend"] is None:
            self.by_hand(step)
            return
        way = number(step, "amount")
        self._to_bend(step)
        back = self.machine.carriage is None or self.machine.carriage.may_go_back
        if way == 0.0 or (way < 0.0 and not back):
            raise refused(step, f"the machine cannot advance by {way:g} mm here")
        begins(step, self.now)
        changes(step, y=way, face=self.along(way))
        self.hold_grip(step)
        advance_shows(step, self.machine, self.load, self.now)
        self.shift(step, way, 0.0, "place")

    def rotate(self, step: Step) -> None:
        """Rotate by the chuck, or by hand."""
        if step["bend"] is None:
            self.by_hand(step)
            return
        self._to_bend(step)
        turn = number(step, "amount") * sign_of(step)
        begins(step, self.now)
        changes(step, rotation=turn)
        self.hold_grip(step)
        dial_shows(step, self.machine, self.now)
        self.shift(step, 0.0, turn, "place")
        self.now.rotation += turn

    def _to_bend(self, step: Step) -> None:
        """Refuse a move with the dies closed, the arm out or the collet open, or to a bend that does not come next."""
        now = self.now
        if now.closed or now.arm != 0.0 or now.by_hand is not None or not self.loaded:
            raise refused(step, "the tube does not move freely here")
        if self.machine.carriage is not None and now.held is None:
            raise refused(step, "the collet is open")
        self.names(step, self.next_bend()["bend"])

    # At the die

    def close(self, step: Step) -> None:
        """The dies close: here the bend is, and lies as the drawing wants it."""
        now = self.now
        if now.closed or now.by_hand is not None or not self.loaded or now.arm != 0.0 or now.lowered:
            raise refused(step, "the dies cannot close here")
        if self.machine.carriage is not None and self.now.held is None:
            raise refused(step, "the collet is open")
        number_, leads = self.next_bend()["bend"], self.load.leads
        self.names(step, number_)
        bend = self.bend_of(step, number_)
        if number_ in self.built.made or self.tooling_of(step, number_) != self.tooling:
            raise refused(step, f"bend {number_} is made already, or the dies in the machine are not its own")
        self._lies_right(step, bend)
        begins(step, self.now)
        changes(step)
        self.hold_grip(step)
        setting = right_setting(self.next_bend(), self.machine, self.part, number_ - 1)
        self.bent = Bent(bend, number_, self.at, self.now.held, float(step["clamp"]), setting)
        self.gripped = self.ahead(self.at, bend)
        self.now.closed = True
        reach = self.gripped.total
        behind = self.tail_end - self.at
        ahead = motions.ahead(self.gripped, motions.gripped_roles(self.gripped))
        self.add(step, "dies close", [ahead, motions.tail(behind, self.at)], (reach, reach), behind)
        if leads != self.plan["order"][len(self.built.made)]["leads"]:
            raise refused(step, "the plan's order has another end leading")

    def _lies_right(self, step: Step, bend: int) -> None:
        """Hold the bend's place and plane against the drawing, and note both in the tube as built."""
        load, now, dial = self.load, self.now, self.machine.rotation.resolution
        wanted = self.built.start_drawn(load.leads, bend) + self.off
        near(
            step,
            f"bend {step['bend']}'s start on the stock",
            self.at,
            wanted,
            self.machine.advance.resolution / 2 + WRITTEN,
        )
        roll = None
        if not load.bends:
            near(step, "the rotation before a load's first bend", now.roll, 0.0)
        elif load.bends[-1].bend != bend - 1:
            raise refused(step, f"bend {step['bend']} does not lie next behind the one before")
        else:
            roll = math.remainder(math.radians(now.roll), 2.0 * math.pi)
            short = math.remainder(self.built.rotation_drawn(load.leads, bend) + self.carry - roll, 2.0 * math.pi)
            near(
                step,
                "what the rotation is short of the drawing's",
                math.degrees(short),
                0.0,
                math.degrees(dial) / 2 + WRITTEN,
            )
            self.carry = short
        self.built.make(load.leads, bend, self.at, roll)

    def bend(self, step: Step) -> None:
        """Swing from home to the setting: the leading part with the arm, tail and carriage forward by CLR · setting."""
        bent, now = self._in_the_die(step), self.now
        if now.arm != 0.0:
            raise refused(step, "the arm is not at home")
        for name in ("amount", "reading"):
            near(step, f"the {name}", number(step, name), number(step, "setting"))
        feed = self._radius * bent.setting
        begins(step, now)
        changes(step, arm=math.degrees(bent.setting), y=feed, face=self.along(feed))
        self.hold_grip(step)
        assert self.gripped is not None  # the dies are closed
        assert self.tooling is not None
        ahead = motions.ahead(
            self.gripped, motions.gripped_roles(self.gripped), turn=self.toward * bent.setting
        )  # fmt: skip
        behind, reach = self.tail_end - bent.start, self.gripped.total
        forming = motions.in_the_die(
            "forming", self._radius, bent.setting, bent.start + feed, self.toward, (0.0, feed)
        )  # fmt: skip
        now.forward = feed if self.tooling.pressure_die_follows else 0.0
        bodies: list[motions.Body | None] = [ahead, forming, motions.tail(behind, bent.start, (behind, -feed))]
        self.add(step, "bend", bodies, (reach, reach + feed), behind, pressure=(0.0, now.forward), fed=feed)
        now.arm = math.degrees(bent.setting)
        self.fed_to(now.y + feed)

    def _in_the_die(self, step: Step) -> Bent:
        """Return the bend that is in the die; refuse a step that needs the dies closed where they are not."""
        if not self.now.closed or self.bent is None:
            raise refused(step, "the dies are not closed")
        self.names(step, self.bent.number)
        return self.bent

    @property
    def _radius(self) -> float:
        """Centreline radius of the bend in the die or just made [mm]."""
        assert self.bent is not None  # asked only then
        return float(self.part.radii[self.bent.number - 1])

    def regrip(self, step: Step) -> None:
        """The carriage runs along the tail to its new place; on a limited chuck the open chuck is turned back to 0."""
        bent, now, carriage = self._in_the_die(step), self.now, self.machine.carriage
        if now.arm == 0.0 or now.face is None or now.held is None or carriage is None or not carriage.passes_through:
            raise refused(step, "the collet cannot take a new hold here")
        way = number(step, "amount")
        back = 0.0 if self.machine.rotation.range == "continuous" else -now.rotation
        begins(step, now)
        changes(step, face=way, rotation=back)
        now.face, now.rotation = now.face + way, now.rotation + back
        now.held = bent.start + self._radius * bent.setting + now.face
        self.load.holds.append(now.held)
        self.hold_grip(step)
        if self.tail_end - now.held < carriage.grip_length - WRITTEN:
            raise refused(step, f"the collet would hold less than its grip of {carriage.grip_length:g} mm")
        assert self.gripped is not None  # the dies are closed
        chain = self.gripped.turned("die", self.toward * bent.setting, self.toward * self._radius)
        feed = self._radius * bent.setting
        forming = motions.in_the_die("just formed", self._radius, bent.setting, bent.start + feed, self.toward)
        reach = chain.total + feed
        bodies: list[motions.Body | None] = [motions.ahead(chain, motions.gripped_roles(chain)), forming]
        self.add(
            step, "re-grip", bodies, (reach, reach), self.tail_end - bent.start - feed, pressure=(now.forward,) * 2
        )
        self.bent = replace(bent, regripped=True)

    def open(self, step: Step) -> None:
        """The dies open and the tube springs back; from here on the arc is the drawing's."""
        bent, now = self._in_the_die(step), self.now
        if now.arm == 0.0:
            raise refused(step, f"bend {bent.number} has not been made")
        angle, feed = float(self.part.angles[bent.number - 1]), self._radius * bent.setting
        back = self._radius * (bent.setting - angle)
        begins(step, now)
        changes(step, y=-back, face=self.along(-back))
        self.hold_grip(step)
        assert self.gripped is not None  # the dies are closed
        chain = self.gripped.turned("die", self.toward * bent.setting, self.toward * self._radius)
        ahead = motions.ahead(
            chain, motions.gripped_roles(chain), turn=-self.toward * (bent.setting - angle)
        )  # fmt: skip
        forming = motions.in_the_die(
            "forming", self._radius, bent.setting, bent.start + feed, self.toward, (feed, -back)
        )  # fmt: skip
        reach, behind = chain.total + feed, self.tail_end - bent.start - feed
        tail = motions.tail(behind + back, bent.start + feed, (behind, back))
        self.add(step, "dies open", [ahead, forming, tail], (reach - back, reach), behind, pressure=(now.forward,) * 2)
        self.built.made.add(bent.number)
        self.load.bends.append(bent)
        self.fed_to(now.y - back)
        self.now = Now(
            rotation=now.rotation, arm=now.arm, face=now.face, tangent_u=bent.start + self._radius * angle,
            held=now.held, forward=now.forward, arc=bent.bend, due=self.zero_due,
        )  # fmt: skip
        self.stood = None

    # What moves nothing

    def zero(self, step: Step) -> None:
        """Set the readouts to 0: at the end of a bend, and at a load."""
        if self.now.due != "zero":
            raise refused(step, "the readouts are set to 0 where their places count on")
        self.names(step, self.next_bend()["bend"] if self.bent is None else self.bent.number)
        self.hold_grip(step)
        self.now.due = None

    def nothing(self, step: Step) -> None:
        """Nothing moves; the clamp is held by `hold_tools`."""
        near(step, "what is fitted", number(step, "amount"), self.clamp)

    def dies(self, step: Step) -> None:
        """Other dies are fitted, and the clamp with them."""
        assert self.tooling is not None  # held by `hold_tools`
        near(step, "the radius of the dies", number(step, "amount"), self.tooling.bend_radius)

    def trim(self, step: Step) -> None:
        """Cut the extra stock off an end."""
        if not self.done:
            raise refused(step, "the tube has not been taken off")
        self.trimmed.append((str(step["end"]), number(step, "amount")))

    def check(self, step: Step) -> None:
        """Check the finished part."""
        if not self.done:
            raise refused(step, "the tube has not been taken off")
        self.checked = True


ACTIONS: dict[str, Callable[[CarryingOut, Step], None]] = {
    "load": CarryingOut.lay_in, "turn": CarryingOut.lay_in, "reload": CarryingOut.lay_in,
    "unload": CarryingOut.unload, "advance": CarryingOut.advance, "rotate": CarryingOut.rotate,
    "close dies": CarryingOut.close, "open collet": CarryingOut.open_collet, "bend": CarryingOut.bend,
    "re-grip": CarryingOut.regrip, "open dies": CarryingOut.open, "return": CarryingOut.home,
    "run forward": CarryingOut.run_forward, "carriage forward": CarryingOut.carriage_forward,
    "carriage back": CarryingOut.carriage_back, "die down": CarryingOut.die_down, "die up": CarryingOut.die_up,
    "zero": CarryingOut.zero,
    "change clamp": CarryingOut.nothing, "change dies": CarryingOut.dies,
    "trim": CarryingOut.trim, "check": CarryingOut.check,
}  # fmt: skip

DUE = {
    "zero": "the readouts have to be set to 0",
    "carriage forward": "the carriage has to run forward to its hold",
    "carriage back": "the carriage has to stand back",
    "return": "the arm has to go home",
}
