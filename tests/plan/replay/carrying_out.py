"""The steps of a plan document carried out one by one: each must begin where the one before it ended.

What happens to the tube is what the steps' positions say. From the drawing comes what a step does not say in numbers: where
a bend's plane is to lie when a formed tube is laid in (to the dial's resolution; the words must agree).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np

from tests.plan.replay.bodies import come_out, gripped, in_the_die, said_to_curl, standing, tail
from tests.plan.replay.motions import Body, Length, Motion, Pair, Phase
from tests.plan.replay.solids import tooling_for
from tests.plan.replay.stock import Bend, Stock

Document = dict[str, Any]

SAME = 2e-5
"""Positions in the document have six decimals; two that are the same differ by no more than this [mm, deg]."""

CLEAR_OF_NOSE = 50.0
"""Where the tube is in free hands its tail end is this far in front of the mandrel's nose, or more [mm]."""

WORDS = 0.05 + 1e-6
"""What words with one decimal leave open [mm, deg]."""


class CarryingOut:
    """A plan on its way: `motions` of the steps so far, `stock` with the bends made."""

    def __init__(self, document: Document) -> None:
        self.document, self.machine = document, document["machine"]
        self.rows = document["part"]["shape"]["lra"]
        self.radius = document["part"]["tube"]["outside_diameter"] / 2.0
        self.side = -1.0 if self.machine["head"]["bends_toward"] == "right" else 1.0
        self.to_die = math.pi if self.side < 0.0 else 0.0  # azimuth of the die's side
        self.stock = Stock(document["stock"]["cut_length"], "A")
        self.motions: list[Motion] = []
        self.place = self.start = 0.0  # of raw stock at the tangent point at y = 0, and as the dies last closed
        self.coming: list[Document] = []
        self.gripped: tuple[Length, ...] = ()
        self.y = self.chuck = self.arm = self.lying = self.roll_base = 0.0
        self.face: float | None = None
        self.just_formed = self.turned = self.laying_in = False
        self.forward = 0.0
        self.bend, self.setting = 0, 0.0

    def carry_out(self) -> CarryingOut:
        """Carry out every step; return self."""
        steps = self.document["steps"]
        for number, step in enumerate(steps):
            assert step["number"] == number + 1, "a step is missing or out of order"
            self.coming = steps[number:]
            doing = getattr(self, "_" + step["action"].replace(" ", "_").replace("-", "_"), None)
            if doing is not None:
                doing(step)
        return self

    # What stands where

    @property
    def at(self) -> float:
        """The place of raw stock at the tangent point [mm]."""
        return self.place + self.y

    def _bend_row(self, number: int) -> tuple[float, float, float, float]:
        straight, rotation, angle, radius = self.rows[number - 1]
        return (straight, math.radians(rotation), math.radians(angle), radius)

    def _next_bend(self) -> Document:
        return next(step for step in self.coming if step["action"] == "bend")

    def _begins(self, step: Document, rotation: float | None = None) -> None:
        """Hold a step's first position against where everything stands."""
        first = step["from"]
        wanted = {
            "y": self.y,
            "rotation": self.chuck if rotation is None else rotation,
            "arm": self.arm,
            "face": self.face,
        }
        for key, value in wanted.items():
            assert (first[key] is None) == (value is None), (
                f"step {step['number']}: {key} is {first[key]}, {value} is left"
            )
            if value is not None:
                assert abs(first[key] - value) <= SAME, (
                    f"step {step['number']} begins at {key} {first[key]}, {value} is left"
                )

    def _only(self, step: Document, **changes: float) -> None:
        """Hold what a step changes against what it may: the positions named, by so much."""
        first, last = step["from"], step["to"]
        for key in ("y", "rotation", "arm", "face"):
            if first[key] is None:
                assert last[key] is None
                continue
            way = last[key] - first[key]
            assert abs(way - changes.get(key, 0.0)) <= SAME, f"step {step['number']} changes {key} by {way}"

    def _ends(self, step: Document) -> None:
        last = step["to"]
        self.y, self.arm, self.face = last["y"], last["arm"], last["face"]

    def _holds(self, step: Document, behind: Pair) -> None:
        """Hold what is said of the collet against the tube behind the tangent point; a new hold is that of the end [mm]."""
        if step["grip"] is None or self.face is None:
            return
        carriage = self.machine["carriage"]
        length = carriage["grip_length"]
        assert step["grip"] >= length - SAME, "the collet reaches past the tube's end"
        assert carriage["passes_through"] or step["grip"] <= length + SAME, "the tube sticks out behind the collet"
        for tube, position in list(zip(behind, (step["from"], step["to"]), strict=True))[step["action"] == "re-grip" :]:
            assert abs(tube - step["grip"] - position["face"]) <= SAME, (
                f"step {step['number']}: the collet is elsewhere"
            )
            closest, farthest = carriage["reach"]
            assert closest - SAME <= position["face"] <= farthest + SAME, "the carriage does not reach so far"

    # Motions

    def _standing(self) -> tuple[Length, ...]:
        return standing(self.stock.ahead(self.place), self.just_formed)

    def _beside(self, at: Pair) -> tuple[Body, Body]:
        """What is behind the tangent point, and what has come out of the die since y = 0."""
        return tail(self.stock.cut, at), come_out(self.stock.cut, self.place, at)

    def _add(self, step: Document, phase: Phase, bodies: tuple[Body, ...], at: Pair, **fields: Any) -> None:
        first, last = step["from"], step["to"]
        face = None if first["face"] is None else (first["face"], last["face"])
        number = step["bend"] or (self._next_bend()["bend"] if phase == "load" else self.bend)
        radius = tooling_for(self.machine, 2.0 * self.radius, self._bend_row(number)[3])["bend_radius"]
        arm = (math.radians(first["arm"]), math.radians(last["arm"]))
        tail = (self.stock.cut - at[0], self.stock.cut - at[1])
        if phase not in ("load", "unload"):  # there the collet is open
            self._holds(step, tail)
        self.motions.append(
            Motion(
                step, phase, bodies, self.side, self.side * radius, number, step["clamp"], at, tail,
                arm=arm, face=face, by_hand=phase in ("load", "unload"), **fields,
            )
        )  # fmt: skip

    # Loads

    def _load(self, step: Document) -> None:
        self.stock = replace(self.stock, leads=step["leads"], offset=0.0)
        assert not self.stock.bends
        self._laid(step)
        found = re.search(r"its end ([\d.]+) mm past", step["note"])
        stands = 0.0 if found is None else float(found[1])
        self.place = stands if step["grip"] is None else self.place
        assert abs(self.place - stands) <= WORDS, "the words place the leading end elsewhere"
        self._put_on(step)

    def _turn(self, step: Document) -> None:
        assert step["leads"] != self.stock.leads
        self._put_back(step)

    def _reload(self, step: Document) -> None:
        assert step["leads"] == self.stock.leads
        self._put_back(step)

    def _laid(self, step: Document) -> None:
        """Set everything as a load leaves it; the collet's place says where the tube stands."""
        self.y = self.chuck = self.arm = self.forward = self.roll_base = 0.0
        self.just_formed = self.turned = False
        self.laying_in = step["from"] is not None
        self.face = None
        if step["grip"] is not None:
            moving = step if self.laying_in else next(s for s in self.coming if s["from"] is not None)
            self.face = moving["from"]["face"]
            self.place = self.stock.cut - step["grip"] - self.face

    def _put_back(self, step: Document) -> None:
        """Lay a formed tube in: the next bend's plane where its rotation is to be made, to what the dial resolves."""
        self.stock = replace(self.stock, leads=step["leads"], offset=0.0)
        self._laid(step)
        following = self._next_bend()
        number = following["bend"]
        joined = max(self.stock.bends, key=lambda bend: self.stock.ends(bend)[1])  # next ahead of the one to come
        between_them = range(min(number, joined.number) + 1, max(number, joined.number) + 1)
        turn = math.fsum(self._bend_row(k)[1] for k in between_them)
        resolution = math.radians(self.machine["rotation"]["resolution"])
        turn = round(turn / resolution) * resolution
        # Nearer the carriage the chuck goes on by +R; the next bend comes on to the die with the chuck at its rotation.
        chuck = math.radians(following["from"]["rotation"])
        self.stock = replace(self.stock, offset=self.to_die + turn - chuck - self.stock.azimuth(joined))
        if step["grip"] is None:
            straight = self.rows[max(number, joined.number) - 1][0]
            shown = self.machine["advance"]["resolution"]
            self.place = self.stock.ends(joined)[1] + round(straight / shown) * shown
        self._agrees_with_words(step["note"], joined)
        self._put_on(step)

    def _agrees_with_words(self, words: str, joined: Bend) -> None:
        found = re.search(r"bend (\d+) nearer end ([AB]) ([\d.]+) mm ahead", words)
        assert found is not None
        assert (int(found[1]), found[2]) == (joined.number, "B" if self.stock.leads == "A" else "A")
        assert abs(self.place - self.stock.ends(joined)[1] - float(found[3])) <= WORDS
        azimuth = self.stock.azimuth(joined)
        curls = np.array([0.0, math.cos(azimuth), math.sin(azimuth)])
        off = math.degrees(math.acos(min(1.0, float(curls @ said_to_curl(words, self.side)))))
        assert off <= WORDS, f"the words lay the tube in {off:.2f}° off"

    def _put_on(self, step: Document) -> None:
        """The way on to the rod, or its first leg; not checked where there is no rod."""
        if step["from"] is None:
            return
        nose = self.machine["mandrel"]["nose"]
        first = step["from"]
        assert self.place + first["y"] >= self.stock.cut + nose + CLEAR_OF_NOSE - SAME, "it begins on the rod"
        assert first["rotation"] == step["to"]["rotation"]
        self.y, self.lying = first["y"], first["rotation"]
        self._by_hand(step)

    def _by_hand(self, step: Document) -> None:
        """A leg of the way on or off: the collet is open and the carriage stands, the chuck lets the tube turn."""
        self._begins(step, self.lying)
        first, last = step["from"], step["to"]
        assert self.arm == 0.0
        assert first["face"] == last["face"]
        assert first["y"] == last["y"] or first["rotation"] == last["rotation"], "one at a time"
        rolls = (math.radians(first["rotation"]), math.radians(last["rotation"]))
        phase: Phase = "load" if self.laying_in else "unload"
        self._moved(step, phase, rolls)
        self.lying = last["rotation"]
        if self.laying_in and abs(self.y) <= SAME and abs(self.lying) <= SAME:
            self.laying_in = False

    def _unload(self, step: Document) -> None:
        if step["from"] is None:
            return
        self._by_hand(step)
        nose = self.machine["mandrel"]["nose"]
        assert self.at >= self.stock.cut + nose + CLEAR_OF_NOSE - SAME, "it ends on the rod"

    # Between bends

    def _moved(self, step: Document, phase: Phase, rolls: Pair) -> None:
        """Advance or rotate; rolls: by how much the tube is turned from how it was laid in [rad]."""
        first, last = step["from"], step["to"]
        base = self.roll_base
        at = (self.place + first["y"], self.place + last["y"])
        self.turned = self.turned or rolls[0] != rolls[1]
        ahead = Body("ahead", self._standing(), roll=(rolls[0] + base, rolls[1] + base), shift=(first["y"], last["y"]))
        bodies = (ahead, *self._beside(at))
        slides = self.just_formed and not self.turned
        self._add(step, phase, bodies, at, slides=slides, forward=(self.forward, self.forward))
        self._ends(step)

    def _advance(self, step: Document) -> None:
        if step["bend"] is None:
            assert abs(step["amount"] - (step["to"]["y"] - step["from"]["y"])) <= SAME
            self._by_hand(step)
            return
        way = step["amount"]
        self._begins(step)
        self._only(step, y=way, face=-way)
        roll = math.radians(self.chuck)
        self._moved(step, "place" if self.arm == 0.0 else "return", (roll, roll))

    def _rotate(self, step: Document) -> None:
        way = step["amount"] * (1.0 if step["way"] == "clockwise" else -1.0)
        if step["bend"] is None:
            assert abs(way - (step["to"]["rotation"] - step["from"]["rotation"])) <= SAME
            self._by_hand(step)
            return
        self._begins(step)
        self._only(step, rotation=way)
        mandrel = self.machine.get("mandrel")
        if self.just_formed and mandrel is not None:
            assert self.y >= mandrel["nose"] - SAME, "the arc just formed still lies about the mandrel's nose"
        self._moved(step, "place", (math.radians(self.chuck), math.radians(step["to"]["rotation"])))
        self.chuck = step["to"]["rotation"]

    # At the die

    def _close_dies(self, step: Document) -> None:
        self._begins(step)
        self._only(step)
        self.start, self.bend = self.at, step["bend"]
        self.gripped, at = gripped(self.stock.ahead(self.start)), (self.start, self.start)
        bodies = (Body("ahead", self.gripped, roll=(self._roll(),) * 2), tail(self.stock.cut, at))
        self._add(step, "dies close", bodies, at)

    def _roll(self) -> float:
        return self.roll_base + math.radians(self.chuck)

    def _open_collet(self, _: Document) -> None:
        self.face = None

    def _bend(self, step: Document) -> None:
        self._begins(step)
        angle, radius = self._bend_row(step["bend"])[2:]
        assert step["bend"] == self.bend
        assert abs(math.radians(step["angle"]) - angle) <= 1e-6, "another angle than the drawing's"
        assert step["setting"] >= step["angle"] - SAME
        self.setting = math.radians(step["setting"])
        feed = radius * self.setting
        self._only(step, arm=step["setting"], y=feed, face=-feed)
        at = (self.start, self.start + feed)
        self.forward = feed if self._follows(radius) else 0.0
        ahead = Body("ahead", self.gripped, roll=(self._roll(),) * 2, swing=(0.0, self.side * self.setting))
        bodies = (ahead, in_the_die(self.side, "forming arc", radius, (0.0, self.setting)), tail(self.stock.cut, at))
        self._add(step, "bend", bodies, at, forward=(0.0, self.forward))
        self._ends(step)

    def _follows(self, radius: float) -> bool:
        return bool(tooling_for(self.machine, 2.0 * self.radius, radius).get("pressure_die_follows", False))

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
        self._only(step, y=-back, face=back)
        at = (self.start + radius * self.setting, self.start + radius * angle)
        swing = (self.side * self.setting, self.side * angle)
        ahead = Body("ahead", self.gripped, roll=(self._roll(),) * 2, swing=swing)
        arc = in_the_die(self.side, "forming arc", radius, (self.setting, angle))
        self._add(step, "dies open", (ahead, arc, tail(self.stock.cut, at)), at, forward=(self.forward,) * 2)
        self._ends(step)
        made = self.stock.made(self.bend, self.start, radius, angle, self.to_die - self._roll())
        self.stock = replace(self.stock, bends=(*self.stock.bends, made))
        self.place, self.y = at[1], 0.0
        self.just_formed, self.turned, self.lying = True, False, self.chuck

    def _return(self, step: Document) -> None:
        self._begins(step)
        self._only(step, arm=-self.arm)
        at = (self.at, self.at)
        ahead = Body("ahead", self._standing(), roll=(self._roll(),) * 2, shift=(self.y, self.y))
        bodies = (ahead, *self._beside(at))
        self._add(step, "return", bodies, at, slides=True, forward=(self.forward, 0.0))
        self._ends(step)
        self.forward = 0.0
