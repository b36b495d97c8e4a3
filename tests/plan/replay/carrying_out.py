"""The steps of a plan document carried out one by one: each must begin where the one before it ended.

What happens to the tube is what the steps' positions say.
"""

from __future__ import annotations

import math
from dataclasses import replace

from tests.plan.replay.bodies import gripped, in_the_die, tail
from tests.plan.replay.loading import Loads
from tests.plan.replay.motions import Body
from tests.plan.replay.solids import tip_of
from tests.plan.replay.steps import SAME
from tests.plan.replay.steps import Document as Document


class CarryingOut(Loads):
    """A plan on its way: `motions` of the steps so far, `stock` with the bends made."""

    def carry_out(self) -> CarryingOut:
        """Carry out every step; return self."""
        steps = self.document["steps"]
        for number, step in enumerate(steps):
            assert step["number"] == number + 1, "a step is missing or out of order"
            self.coming = steps[number:]
            doing = getattr(self, "_" + step["action"].replace(" ", "_").replace("-", "_"), None)
            if doing is not None:
                doing(step)
        assert self.arm == 0.0, "the arm is left away from home"
        return self

    # Between bends

    def _advance(self, step: Document) -> None:
        if step["bend"] is None:
            assert abs(step["amount"] - (step["to"]["y"] - step["from"]["y"])) <= SAME
            self._by_hand(step)
            return
        way = step["amount"]
        self._begins(step)
        self._only(step, y=way, face=-way)
        self._at_home()
        roll = math.radians(self.chuck)
        self._moved(step, "place", (roll, roll))

    def _rotate(self, step: Document) -> None:
        way = step["amount"] * (1.0 if step["way"] == "clockwise" else -1.0)
        if step["bend"] is None:
            assert abs(way - (step["to"]["rotation"] - step["from"]["rotation"])) <= SAME
            self._by_hand(step)
            return
        self._begins(step)
        self._only(step, rotation=way)
        self._at_home()
        mandrel = self.machine.get("mandrel")
        if self.just_formed and mandrel is not None and not mandrel.get("draws_back"):
            tip = tip_of(self.machine, self._tooling(step["bend"])) or 0.0
            assert self.y >= tip - SAME, "the arc just formed still lies about the mandrel"
        self._moved(step, "place", (math.radians(self.chuck), math.radians(step["to"]["rotation"])))
        self.chuck = step["to"]["rotation"]

    # At the die

    def _close_dies(self, step: Document) -> None:
        self._begins(step)
        self._only(step)
        self._at_home()
        assert self.lowered == 0.0, "the die is down"
        self.start, self.bend, self.closed = self.at, step["bend"], True
        self.gripped, at = gripped(self.stock.ahead(self.start)), (self.start, self.start)
        bodies = (Body("ahead", self.gripped, roll=(self._roll(),) * 2), tail(self.stock.cut, at))
        self._add(step, "dies close", bodies, at)

    def _bend(self, step: Document) -> None:
        self._begins(step)
        angle, radius = self._bend_row(step["bend"])[2:]
        assert step["bend"] == self.bend
        assert abs(math.radians(step["angle"]) - angle) <= 1e-6, "another angle than the drawing's"
        assert step["setting"] >= step["angle"] - SAME
        self.setting = math.radians(step["setting"])
        feed = radius * self.setting
        assert self.closed
        self._only(step, arm=step["setting"], y=feed, face=-feed if self.holds else 0.0)
        assert self._lasts(), "the pressure die does not last"
        at = (self.start, self.start + feed)
        self.forward = feed if self._follows() else 0.0
        ahead = Body("ahead", self.gripped, roll=(self._roll(),) * 2, swing=(0.0, self.side * self.setting))
        bodies = (ahead, in_the_die(self.side, "forming arc", radius, (0.0, self.setting)), tail(self.stock.cut, at))
        self._add(step, "bend", bodies, at, forward=(0.0, self.forward))
        self._ends(step)

    def _follows(self) -> bool:
        return bool(self._tooling(self.bend).get("pressure_die_follows", False))

    def _lasts(self) -> bool:
        """Whether a pressure die that goes with the tube has not run out of the bend's way before its end."""
        tooling = self._tooling(self.bend)
        rest, left = (
            tooling.get("pressure_rest"),
            tooling["pressure_die_length"] - tooling["bend_radius"] * self.setting,
        )
        return not self._follows() or left >= (2.0 * self.radius if rest is None else rest) - SAME

    def _re_grip(self, step: Document) -> None:
        """The carriage runs along the tail; an open chuck may be turned back to 0 meanwhile, the tube stays."""
        self._begins(step)
        turned_back = step["to"]["rotation"] - step["from"]["rotation"]
        assert turned_back == 0.0 or "chuck back to 0" in step["note"]
        self._only(step, face=step["amount"], rotation=turned_back)
        radius = self._bend_row(self.bend)[3]
        at, swung = (self.start + radius * self.setting,) * 2, (self.side * self.setting,) * 2
        ahead = Body("ahead", self.gripped, roll=(self._roll(),) * 2, swing=swung)
        arc = in_the_die(self.side, "arc just formed", radius, (self.setting, self.setting))
        self._add(step, "re-grip", (ahead, arc, tail(self.stock.cut, at)), at, forward=(self.forward,) * 2)
        self._ends(step)
        self.chuck += turned_back
        self.roll_base -= math.radians(turned_back)

    def _open_dies(self, step: Document) -> None:
        """The tube springs back; what was bent is an arc of the drawing's from here on."""
        self._begins(step)
        angle, radius = self._bend_row(step["bend"])[2:]
        back = radius * (self.setting - angle)
        self._only(step, y=-back, face=back if self.holds else 0.0)
        at = (self.start + radius * self.setting, self.start + radius * angle)
        swing = (self.side * self.setting, self.side * angle)
        ahead = Body("ahead", self.gripped, roll=(self._roll(),) * 2, swing=swing)
        arc = in_the_die(self.side, "forming arc", radius, (self.setting, angle))
        self._add(step, "dies open", (ahead, arc, tail(self.stock.cut, at)), at, forward=(self.forward,) * 2)
        self._ends(step)
        made = self.stock.made(self.bend, self.start, radius, angle, self.to_die - self._roll())
        self.stock = replace(self.stock, bends=(*self.stock.bends, made))
        self.place, self.y, self.closed = at[1], 0.0, False
        self.just_formed, self.turned, self.lying = True, False, self.chuck
