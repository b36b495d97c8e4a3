"""A part on a machine as the auditor sees it: the solids there are, and the tube in each state of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from planner.audit import solids
from planner.audit.contact import Need
from planner.audit.material import Gripped, Standing
from planner.audit.shop import Bend, End, Shop
from planner.audit.solids import Solid
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
        self._named: dict[float, dict[str, Solid]] = {}
        self._owner = {solid.name: solid.moves_with for solid in machine.solid}

    def tooling(self, bend: Bend) -> Tooling:
        """Return the tooling of a bend."""
        return self.machine.tooling_for(self.part.outside_diameter, bend.radius)

    def named(self, bend: Bend) -> dict[str, Solid]:
        """Return the solids that look the same in every phase, with the tooling of a bend, by name."""
        if bend.radius not in self._named:
            every = solids.machine_solids(self.machine, self.tooling(bend))
            self._named[bend.radius] = {solid.name: solid for solid in every}
        return self._named[bend.radius]

    def on_arm(self, name: str) -> bool:
        """Say whether a solid turns with the arm."""
        return name == "clamp die" or self._owner.get(name) == "arm"

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
        return self.bench.tooling(self.here)

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
