"""A part on a machine made ready to be searched: its tooling and settings, what stands about it, what to warn of."""

from __future__ import annotations

from collections.abc import Callable

from planner.clearance.surroundings import Surroundings
from planner.facts import Fact, fact
from planner.feasibility.orders import Case
from planner.feasibility.stations import Station
from planner.inputs.machine import Machine
from planner.inputs.materials import find_material
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.inputs.springback import Setting, setting_for
from planner.lookover.look import look_over
from planner.rules.bending import rated_capacity
from planner.tolerances import SELF_MARGIN
from planner.wording.say import say


def case_of(part: Part, machine: Machine) -> Case:
    """Return a part on a machine with tooling and setting for each bend."""
    tooling = tuple(machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii)
    return Case(part, machine, tooling, tuple(setting.value for setting in _settings(part, machine)))


def warnings_of(case: Case) -> tuple[Fact, ...]:
    """Return what there is to warn of before a case is planned."""
    part, machine = case.part, case.machine
    warnings = [fact("no-rod" if machine.mandrel is None else "in-free-hands"), *machine.notes]
    warnings += [s.warning for s in _settings(part, machine) if s.warning is not None]
    if len(set(case.tooling)) > 1:
        warnings.append(fact("different-radii"))
    if machine.rotation.range != "continuous" and machine.carriage is not None and machine.carriage.passes_through:
        warnings.append(fact("turned-back"))
    if find_material(part.material) is None and machine.clearance.per_metre == 0.0:
        warnings.append(fact("sag-not-reckoned", material=part.material))
    rating = rated_capacity(machine, part)
    if isinstance(rating, Fact):
        warnings.append(rating)
    warnings += [remark.fact for remark in look_over(machine)]
    return tuple({say(one): one for one in warnings}.values())


def _settings(part: Part, machine: Machine) -> list[Setting]:
    """Return what the machine is set to for each bend."""
    return [
        setting_for(float(angle), machine, part, float(radius))
        for angle, radius in zip(part.angles, part.radii, strict=True)
    ]


def surroundings_of(case: Case) -> Callable[[Station], Surroundings]:
    """Return what gives a bend's surroundings: built once a tooling."""
    gap = self_gap(case.part).gap
    to_itself = min(case.machine.clearance.to_itself, max(gap - SELF_MARGIN, 0.0))
    part = case.part
    built = {
        tooling: Surroundings.of(case.machine, tooling, part.radius, to_itself, part.wall)
        for tooling in set(case.tooling)
    }
    return lambda st: built[case.tooling[st.number - 1]]
