"""Loads and unloads, and the carriage's runs between where it waits and where its collet holds the tube.

From the drawing comes where a bend's plane is to lie when a formed tube is laid in (to the dial's resolution; the words
must agree).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np

from tests.plan.replay.bodies import said_to_curl, tail
from tests.plan.replay.homing import WaysHome
from tests.plan.replay.motions import Body, Phase
from tests.plan.replay.solids import tip_of
from tests.plan.replay.steps import SAME, Document
from tests.plan.replay.stock import Bend

CLEAR_OF_TIP = 50.0
"""Where the tube is in free hands its tail end is this far in front of the mandrel's nose and balls, or more [mm]."""

WORDS = 0.05 + 1e-6
"""What words with one decimal leave open [mm, deg]."""


class Loads(WaysHome):
    """How tube comes into the machine and out of it."""

    def _load(self, step: Document) -> None:
        self.stock = replace(self.stock, leads=step["leads"], offset=0.0)
        assert not self.stock.bends
        self._laid(step)
        found = re.search(r"its end ([\d.]+) mm past", step["note"])
        stands = 0.0 if found is None else float(found[1])
        self.place = stands if self.face is None else self.place
        assert abs(self.place - stands) <= WORDS, "the words place the leading end elsewhere"
        self._put_on(step)

    def _turn(self, step: Document) -> None:
        assert step["leads"] != self.stock.leads
        self._put_back(step)

    def _reload(self, step: Document) -> None:
        assert step["leads"] == self.stock.leads
        self._put_back(step)

    def _laid(self, step: Document) -> None:
        """Set everything as a load leaves it; where the collet then takes hold says where the tube stands."""
        assert step["grip"] is None, "nothing holds the tube yet"
        assert self.arm == 0.0, "the arm stands in the way"
        self.y = self.chuck = self.forward = self.roll_base = self.lowered = 0.0
        self.just_formed = self.turned = self.holds = self.off = False
        self.laying_in = step["from"] is not None
        self.face, carriage = None, self.machine.get("carriage")
        if carriage is None:
            return
        self.face = waits_at(carriage)
        stands = re.search(r"its face ([\d.]+) mm from the tangent point", step["note"])
        assert stands is not None
        assert abs(float(stands[1]) - self.face) <= WORDS, "the words stand the carriage elsewhere"
        taken = next(s for s in self.coming if s["action"] in ("carriage forward", "close dies"))
        assert taken["action"] == "carriage forward", "the dies close before the collet holds"
        self.place = self.stock.cut - taken["grip"] - taken["to"]["face"]

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
        if self.face is None:
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
            assert self.machine.get("mandrel") is None, "it comes on to the rod unseen"
            return
        first = step["from"]
        self.y, self.lying = first["y"], first["rotation"]
        assert self._in_free_hands(step), "it begins on the rod"
        assert first["rotation"] == step["to"]["rotation"]
        self._by_hand(step)

    def _in_free_hands(self, step: Document) -> bool:
        """Whether the tail end is in front of nose and balls."""
        tip = tip_of(self.machine, self._tooling(self._number(step))) or 0.0
        return self.at >= self.stock.cut + tip + CLEAR_OF_TIP - SAME

    def _by_hand(self, step: Document) -> None:
        """A leg of the way on or off: the collet is open and the carriage stands, the chuck lets the tube turn."""
        self._begins(step, self.lying)
        first, last = step["from"], step["to"]
        assert self.arm == 0.0
        assert not self.holds, "the collet holds what is moved by hand"
        assert first["face"] == last["face"]
        assert first["y"] == last["y"] or first["rotation"] == last["rotation"], "one at a time"
        rolls = (math.radians(first["rotation"]), math.radians(last["rotation"]))
        phase: Phase = "load" if self.laying_in else "unload"
        self._moved(step, phase, rolls, by_hand=True)
        self.lying = last["rotation"]
        if self.laying_in and abs(self.y) <= SAME and abs(self.lying) <= SAME:
            self.laying_in = False

    def _unload(self, step: Document) -> None:
        assert not self.holds, "the collet still holds the tube"
        self.off = True
        if step["from"] is None:
            assert self.machine.get("mandrel") is None, "it goes off the rod unseen"
            self.unseen = self.unseen or self.arm != 0.0
            return
        if self.arm == 0.0:
            self._by_hand(step)
        else:
            self._run(step, "the arm standing", by_hand=True)
        assert self._in_free_hands(step), "it ends on the rod"

    # The carriage by itself

    def _open_collet(self, step: Document) -> None:
        assert self.holds, "the collet is open already"
        assert step["grip"] is None
        self.holds = False

    def _carriage_forward(self, step: Document) -> None:
        """From where it waits to where it takes hold, the tube in its place."""
        assert not self.holds
        assert not self.laying_in, "the tube is still on its way"
        self.holds = True
        said = re.search(r"its face ([\d.]+) mm from the tail end", step["note"])
        assert said is not None
        assert abs(float(said[1]) - step["grip"]) <= WORDS, "the words take hold elsewhere"
        self._carriage_runs(step, "load", self._still())

    def _carriage_back(self, step: Document) -> None:
        """To where it waits; before the job's last bend the dies hold the tube meanwhile."""
        assert not self.holds, "the collet is closed"
        assert abs(step["to"]["face"] - waits_at(self.machine["carriage"])) <= SAME, "it waits elsewhere"
        if self.closed:
            at = (self.start, self.start)
            bodies = (Body("ahead", self.gripped, roll=(self._roll(),) * 2), tail(self.stock.cut, at))
            self._carriage_runs(step, "re-grip", bodies)
        else:
            self._carriage_runs(step, "return", self._still())

    def _still(self) -> tuple[Body, ...]:
        """The tube between two bends, standing."""
        ahead = Body("ahead", self._standing(), roll=(self._roll(),) * 2, shift=(self.y, self.y))
        return (ahead, *self._beside((self.at, self.at)))

    def _carriage_runs(self, step: Document, phase: Phase, bodies: tuple[Body, ...]) -> None:
        self._begins(step)
        way = step["to"]["face"] - step["from"]["face"]
        self._only(step, face=way)
        assert abs(step["amount"] - abs(way)) <= SAME
        at = (self.start if self.closed else self.at,) * 2
        self._add(step, phase, bodies, at, by_hand=True, slides=True, forward=(self.forward,) * 2)
        self._ends(step)


def waits_at(carriage: Document) -> float:
    """Where the collet's face waits while it is open, from the tangent point [mm]: as far away as it goes, if not said."""
    stands = carriage.get("stand_back")
    return float(carriage["reach"][1] if stands is None else stands)
