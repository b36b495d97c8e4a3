"""A part on a machine as the auditor sees it: the solids there are, and the tube in each state of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from planner.audit import solids
from planner.audit.contact import Need, solids_in
from planner.audit.material import Gripped, Standing
from planner.audit.motions import Phase
from planner.audit.shop import Bend, End, Shop
from planner.audit.solids import GO_DOWN, Solid
from planner.audit.tube import Chain, chain
from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.tolerances import GROOVE_EASE, SELF_MARGIN


class Bench:
    """A part on a machine: what every state of the tube is held against.

    needs: what each need of the contact table is [mm]; sag: more of `required` for each mm of leading part.
    """

    def __init__(self, part: Part, machine: Machine, shop: Shop) -> None:
        self.part, self.machine, self.shop = part, machine, shop
        self.toward = solids.toward(machine)
        self.views: dict[End, Part] = {"A": part, "B": part.reversed()}
        self.radius = part.radius
        clearance = machine.clearance
        gap = max(self_gap(part).gap - SELF_MARGIN, 0.0)
        self.needs: dict[Need, float] = {
            "ease": -GROOVE_EASE,
            "tooling": clearance.to_tooling,
            "itself": min(clearance.to_itself, gap),
            "required": clearance.required,
        }
        self.sag = clearance.per_metre / 1000.0
        self._owner = {solid.name: solid.moves_with for solid in machine.solid}

    def moves_by_itself(self, name: str) -> bool:
        """Say whether a solid turns with the arm or moves with the pressure die: on a way home it may be elsewhere."""
        built = name in ("clamp die", "grip section", "pressure die")
        return built or self._owner.get(name) in ("arm", "pressure die")

    def with_pressure_die(self, name: str) -> bool:
        """Say whether a solid is the pressure die or moves with it."""
        return name == "pressure die" or self._owner.get(name) == "pressure die"

    def sag_to(self, name: str) -> float:
        """Return how much more must be kept to a solid for each mm of leading part."""
        return self.sag if name == "floor" or name in self._owner else 0.0

    def may_be_down(self, name: str) -> bool:
        """Say whether a solid may have been lowered after a bend."""
        return self.machine.head.die_drops > 0.0 and name in GO_DOWN

    def carried(self, name: str) -> bool:
        """Say whether the carriage carries a solid."""
        return self._owner.get(name) == "carriage"


@dataclass(frozen=True)
class State:
    """One state of the tube: bends first … bend − 1 formed (first = bend: none), bend the next or the one being made.

    Counted from the end that leads; trim_lead, trim_tail [mm].
    """

    bench: Bench
    leads: End
    bend: int
    first: int
    trim_lead: float
    trim_tail: float

    @property
    def here(self) -> Bend:
        """The bend in numbers."""
        return self.bench.shop.at(self.leads, self.bend)

    @property
    def tooling(self) -> Tooling:
        """The tooling of the bend."""
        return self.here.tooling

    @property
    def reach(self) -> float:
        """How far nose and balls of the mandrel stand past the tangent point [mm]."""
        tip = self.bench.machine.mandrel_of(self.tooling)
        return 0.0 if tip is None else tip.reach

    @property
    def feed(self) -> float:
        """How far the swing to the setting feeds the tube [mm]."""
        return self.here.radius * self.here.printed

    @property
    def followed(self) -> float:
        """How far forward the pressure die stands at the end of the swing [mm]."""
        return self.feed if self.tooling.pressure_die_follows else 0.0

    @property
    def stock(self) -> float:
        """Where the stock ends [mm]."""
        return self.bench.shop.length + self.trim_tail

    def solid(self, phase: Phase, name: str, clamp: float, tail: float = 0.0) -> Solid | None:
        """Return a solid as it stands in a phase of this bend, None where no tube is held against it then.

        clamp: its length; tail: left behind the tangent point [mm].
        """
        bench, forward = self.bench, self.followed if phase == "dies open" else 0.0
        every = solids_in(phase, bench.machine, self.tooling, bench.part.wall, clamp, forward, tail)
        return next((solid for solid in every if solid.name == name), None)

    @cached_property
    def gripped(self) -> Gripped:
        """The tube in the dies for the bend."""
        start, radius = self.here.start, self.here.radius
        return Gripped(self._chain(start, self.bend), start, radius, self.bench.toward, self.stock)

    @cached_property
    def laid_in(self) -> Standing:
        """The tube at the bend's start, put in there."""
        return Standing(self._chain(self.here.start, self.bend), self.here.start, self.stock, 0.0)

    @cached_property
    def after(self) -> Standing:
        """The tube after the bend."""
        formed = replace(self, bend=self.bend + 1)
        return Standing(formed._chain(self.here.end, self.bend), self.here.end, self.stock, self.here.angle)

    def _chain(self, tangent_u: float, plane_of: int) -> Chain:
        view, formed = self.bench.views[self.leads], range(self.first, self.bend)
        return chain(view, formed, tangent_u, self.trim_lead, self.bench.toward, plane_of)
