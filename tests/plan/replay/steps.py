"""Where everything stands between two steps of a plan document, and what a step may change of it.

A step's first position must be where the one before it ended; from what it says of its own place follow the tube's motion
and where the collet holds it.
"""

from __future__ import annotations

import math
from typing import Any

from tests.plan.replay.bodies import come_out, standing, tail
from tests.plan.replay.motions import Body, Length, Motion, Pair, Phase
from tests.plan.replay.solids import tooling_for
from tests.plan.replay.stock import Stock

Document = dict[str, Any]

SAME = 2e-5
"""Positions in the document have six decimals; two that are the same differ by no more than this [mm, deg]."""


class Steps:
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
        self.holds = self.closed = self.off = False  # the collet is closed, the dies are, the tube is in free hands
        self.unseen = False  # a tube was drawn off past the standing arm where there is no rod: no step says how far
        self.forward = 0.0
        self.bend, self.setting, self.lowered = 0, 0.0, 0.0

    # What stands where

    @property
    def at(self) -> float:
        """The place of raw stock at the tangent point [mm]."""
        return self.place + self.y

    def _bend_row(self, number: int) -> tuple[float, float, float, float]:
        straight, rotation, angle, radius = self.rows[number - 1]
        return (straight, math.radians(rotation), math.radians(angle), radius)

    def _number(self, step: Document) -> int:
        """The bend that a step belongs to: by hand the one to come, or the one made last."""
        return int(step["bend"] or (self._next_bend()["bend"] if self.laying_in else self.bend))

    def _tooling(self, number: int) -> Document:
        """The tooling of a bend."""
        return tooling_for(self.machine, 2.0 * self.radius, self._bend_row(number)[3])

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
        assert (step["grip"] is None) != self.holds, f"step {step['number']}: the collet is said to be otherwise"
        if not self.holds:
            return
        carriage, taking_hold = self.machine["carriage"], step["action"] in ("re-grip", "carriage forward")
        length = carriage["grip_length"]
        assert step["grip"] >= length - SAME, "the collet reaches past the tube's end"
        assert carriage["passes_through"] or step["grip"] <= length + SAME, "the tube sticks out behind the collet"
        for tube, position in list(zip(behind, (step["from"], step["to"]), strict=True))[taking_hold:]:
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
        number = self._number(step)
        radius = self._tooling(number)["bend_radius"]
        arm = (math.radians(first["arm"]), math.radians(last["arm"]))
        tail = (self.stock.cut - at[0], self.stock.cut - at[1])
        self._holds(step, tail)
        self.motions.append(
            Motion(
                step, phase, bodies, self.side, self.side * radius, number, step["clamp"], at, tail,
                arm=arm, face=face, **{"drop": (self.lowered, self.lowered), **fields},
            )
        )  # fmt: skip

    def _roll(self) -> float:
        return self.roll_base + math.radians(self.chuck)

    def _at_home(self) -> None:
        """The machine brings a tube to its place only with the arm at home, and what it moves the collet holds."""
        assert self.arm == 0.0, "the arm is not at home"
        assert self.holds or self.face is None, "the collet is open"

    def _moved(self, step: Document, phase: Phase, rolls: Pair, by_hand: bool = False) -> None:
        """Advance or rotate; rolls: by how much the tube is turned from how it was laid in [rad]."""
        first, last = step["from"], step["to"]
        base = self.roll_base
        at = (self.place + first["y"], self.place + last["y"])
        self.turned = self.turned or rolls[0] != rolls[1]
        ahead = Body("ahead", self._standing(), roll=(rolls[0] + base, rolls[1] + base), shift=(first["y"], last["y"]))
        bodies = (ahead, *self._beside(at))
        slides = self.just_formed and not self.turned
        self._add(step, phase, bodies, at, by_hand=by_hand, slides=slides, forward=(self.forward, self.forward))
        self._ends(step)
