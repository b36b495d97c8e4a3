"""A plan under way: the machine and the tube as they stand, and the motions of the tube as one rigid thing."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.audit import motions
from planner.audit.motions import Motion, Pair, Phase
from planner.audit.standing import (
    Bent,
    Built,
    Load,
    Now,
    Step,
    carriage_reaches,
    near,
    number,
    refused,
)  # fmt: skip
from planner.audit.tube import Chain, chain
from planner.errors import NoTooling
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.tolerances import PROVED_LENGTH, WRITTEN


class UnderWay:
    """A plan under way.

    coming: the steps from the one at hand on; loaded: the tube is in the machine; done: taken off after its last bend;
    carry: what the rotations of this load are still short of the drawing's [rad]; off: how far the bend formed next
    ahead of the load's first lies from the drawing's place [mm]; before: the action of the step before.
    """

    def __init__(self, plan: dict[str, Any], part: Part, machine: Machine) -> None:
        self.plan, self.part, self.machine = plan, part, machine
        self.reversed = part.reversed()
        self.toward = -1.0 if machine.head.bends_toward == "right" else 1.0
        self.built, self.now = Built(part), Now()
        self.loads: list[Load] = []
        self.motions: list[Motion] = []
        self.coming: list[Step] = []
        self.clamp: float | None = None
        self.tooling: Tooling | None = None
        self.loaded = self.done = False
        self.bent: Bent | None = None
        self.carry = self.off = 0.0
        self.before = ""
        self.stood: Chain | None = None
        self.gripped: Chain | None = None
        stock = plan["stock"]
        self.trims = (float(stock["trim_a"]), float(stock["trim_b"]))

    @property
    def load(self) -> Load:
        """The load at hand."""
        return self.loads[-1]

    @property
    def tail_end(self) -> float:
        """Stock coordinate of the tail's end [mm]."""
        return self.part.developed_length + self.load.trim_tail

    @property
    def at(self) -> float:
        """Stock coordinate at the tangent point [mm]."""
        return self.now.tangent_u + self.now.y

    def next_bend(self) -> Step:
        """Return the step of the next bend."""
        for step in self.coming:
            if step["action"] == "bend":
                return step
        raise refused(self.coming[0], "no bend comes after it")

    def index_of(self, step: Step, bend: Any) -> int:
        """Return the place of a bend, numbered from end A, in the part's arrays."""
        if isinstance(bend, bool) or not isinstance(bend, int) or not 1 <= bend <= self.part.n_bends:
            raise refused(step, f"the part has no bend {bend}")
        return bend - 1

    def bend_of(self, step: Step, bend: Any) -> int:
        """Return a bend's number from the leading end for its number from end A."""
        return self.built.number(self.load.leads, self.index_of(step, bend) + 1)

    def part_seen(self) -> Part:
        """Return the drawing's part from the leading end."""
        return self.part if self.load.leads == "A" else self.reversed

    def names(self, step: Step, bend: int) -> None:
        """Refuse a step of another bend, or with another end leading."""
        if step["bend"] != bend or step["leads"] != self.load.leads:
            raise refused(
                step, f"it is of bend {step['bend']} with end {step['leads']} leading, not of bend {bend} here"
            )

    def hold_tools(self, step: Step) -> None:
        """Hold the clamp that a step names against the one in the machine."""
        first = self.clamp is None and step["clamp"] is not None
        if first or step["action"] in ("change clamp", "change dies"):
            if self.now.closed or self.now.arm != 0.0:
                raise refused(step, "the clamp is changed while the dies grip or the arm stands out")
            if first or step["action"] == "change dies":
                if self.loaded:
                    raise refused(step, "the dies are changed with the tube in the machine")
                self.tooling = self.tooling_of(step, self.next_bend()["bend"])
            assert self.tooling is not None  # fitted at first
            self.clamp = number(step, "clamp")
            if not any(abs(self.clamp - length) <= WRITTEN for length in self.tooling.clamp_lengths):
                raise refused(step, f"there is no clamp of {self.clamp:g} mm")
        near(step, "the clamp", step["clamp"], self.clamp)

    def tooling_of(self, step: Step, bend: Any) -> Tooling:
        """Return the tooling of a bend, numbered from end A."""
        radius = float(self.part.radii[self.index_of(step, bend)])
        try:
            return self.machine.tooling_for(self.part.outside_diameter, radius)
        except NoTooling:
            raise refused(step, f"the machine has no dies for a radius of {radius:g} mm") from None

    def hold_grip(self, step: Step) -> None:
        """Hold the grip that a step names, from the tail's end, against the hold."""
        held = self.now.held
        near(step, "the grip", step["grip"], None if held is None else self.tail_end - held)

    def ahead(self, tangent_u: float, plane_of: int) -> Chain:
        """Return the tube ahead of the tangent point, with a stock coordinate there [mm] and a bend's plane level."""
        leads = self.load.leads
        formed = self.built.formed(leads)
        return chain(self.built.view(leads), formed, tangent_u, self.load.trim_lead, self.toward, plane_of)

    def standing(self) -> Chain:
        """Return the tube ahead of the tangent point as it was at y = 0."""
        if self.stood is None:
            arc = self.now.arc
            plane = self.bend_of(self.coming[0], self.next_bend()["bend"]) if arc is None else arc
            self.stood = self.ahead(self.now.tangent_u, plane)
        return self.stood

    def add(
        self, step: Step, phase: Phase, bodies: list[motions.Body | None], ahead: Pair, behind: float, **more: Any
    ) -> None:
        """Note a motion; ahead: tube ahead of the tangent point at its start and end [mm]; behind: at its start."""
        first, last = step["from"], step["to"]
        if not step["checked"]:
            raise refused(step, "it moves something, and is not checked")
        if self.tooling is None or self.clamp is None:
            raise refused(step, "no clamp is named")
        carriage_reaches(step, self.machine)
        radius = self.tooling.bend_radius if self.bent is None else float(self.part.radii[self.bent.number - 1])
        made = Motion(
            step["number"], phase, tuple(body for body in bodies if body is not None), self.tooling, self.clamp,
            self.part.wall, self.toward, radius, min(max(ahead), self.tail_end + self.load.trim_lead), behind,
            number(step, "clearance"), (math.radians(first["arm"]), math.radians(last["arm"])),
            None if first["face"] is None else (first["face"], last["face"]),
            **{"drop": (self.now.lowered, self.now.lowered), **more},
        )  # fmt: skip
        self.motions.append(made)

    def shift(self, step: Step, way: float, turn: float, phase: Phase, **more: Any) -> None:
        """Move the tube as one: along the feed [mm] or about it [deg]; more: what else moves."""
        now, standing = self.now, self.standing()
        y = (now.y, now.y + way)
        if turn != 0.0:
            self._off_the_nose(step, standing)
            now.turned = True
        placed = standing.turned("feed", math.radians(now.roll)).fed(now.y) if now.y or now.roll else standing
        roles = motions.standing_roles(standing, now.arc is not None)
        bodies: list[motions.Body | None] = [motions.ahead(placed, roles, "feed", math.radians(turn), way)]
        if turn == 0.0:
            bodies += self.beside(y)
        reach = standing.total
        self.add(
            step, phase, bodies, (reach + y[0], reach + y[1]), self.tail_end - now.tangent_u - y[0],
            pressure=(now.forward,) * 2, slides=now.arc is not None and not now.turned, past=min(y), **self.arc(),
            **more,
        )  # fmt: skip
        self.fed_to(y[1])
        now.roll += turn

    def fed_to(self, y: float) -> None:
        """Note where the tube stands; the carriage comes along while the collet holds it [mm]."""
        if self.now.held is not None and self.now.face is not None:
            self.now.face -= y - self.now.y
        self.now.y = y

    def along(self, way: float) -> float:
        """Return how the collet's face goes while the tube is fed by `way` [mm]: an open one stands."""
        return 0.0 if self.now.held is None else -way

    def last_of_load(self) -> bool:
        """Say whether the tube is taken off before another bend."""
        after = (one["action"] for one in self.coming if one["action"] in ("bend", "unload"))
        return next(after, "bend") == "unload"

    def beside(self, y: Pair, grows: bool = False) -> list[motions.Body | None]:
        """Return the tail, and the straight that has come out of the die since y = 0, at their longest [mm].

        grows: that straight counts as far as it is out.
        """
        behind, u = self.tail_end - self.now.tangent_u, self.now.tangent_u
        least, most = min(y), max(y)
        tail = motions.tail(behind - least, u + least) if behind - least > PROVED_LENGTH else None
        first = max(least - behind, 0.0)
        lives = (y[0] - first, y[1] - y[0]) if grows else None
        return [tail, motions.come_out(first, most, u + most, lives) if most - first > PROVED_LENGTH else None]

    def arc(self) -> dict[str, float]:
        """Return angle and radius of the arc just formed, if there is one."""
        if self.now.arc is None:
            return {}
        view = self.part_seen()
        return {"arc": float(view.angles[self.now.arc - 1]), "arc_radius": float(view.radii[self.now.arc - 1])}

    def _off_the_nose(self, step: Step, standing: Chain) -> None:
        """Refuse a rotation with a bend about the mandrel, unless that is drawn back before."""
        tip, arcs = self.reach, np.flatnonzero(standing.curvature > 0.0)
        if self.machine.mandrel is None or self.machine.mandrel.draws_back or not arcs.size:
            return
        off = float(standing.length[: arcs[0]].sum()) + self.now.y
        if off < tip - WRITTEN:
            mandrel = f"the mandrel reaches {tip:g} mm past it"
            raise refused(step, f"it is rotated with a bend {off:.3f} mm past the tangent point, and {mandrel}")

    @property
    def reach(self) -> float:
        """How far nose and balls of the mandrel stand past the tangent point [mm]."""
        assert self.tooling is not None  # a clamp was named
        tip = self.machine.mandrel_of(self.tooling)
        return 0.0 if tip is None else tip.reach
