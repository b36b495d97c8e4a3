"""Parts and machines with one thing changed by so many millimetres, and up to how far each may be changed.

An alteration is *nested* where whatever can be made with less of it can be made with more of it: more trim that may be
left away, a clearance that is kept all the more, a hold of the collet that need not be taken. One proof that a certain
amount is too little then speaks for every smaller one. It rests on this: a proof that a part cannot be made holds for
every hold of the collet and for every trim that may be chosen, so that what may be held or cut as before is only added
to. Where it is not so, the alteration is not called nested:

- trim is chosen in whole millimetres or as all that is allowed; where that is no whole number it is another one with
  more allowed;
- a bare tube is loaded with its leading end at the tangent point once the carriage runs back far enough, and is laid in
  before: its tail then reaches farther back, where something may stand;
- a shorter clamp leaves more of the straight to keep clear of the arm;
- a longer straight takes the tube elsewhere.

The floor lowered takes along what stands on it: what is added to such a solid lay under the floor before.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from planner.errors import NoTooling
from planner.feasibility.cases import case_of
from planner.inputs.machine import Machine, Solid
from planner.inputs.part import Part
from planner.inputs.tooling import Tooling
from planner.lookover.profile_checks import anchors
from planner.plans.document import ChangeKind
from planner.rules.broken import End
from planner.tolerances import RULE_SLACK

MOST_TRIM: Final = 1000
"""No more extra stock than this is proposed at an end [mm]: more waste than a part is worth (common practice, no
source)."""

MOST_TRAVEL: Final = 3000
"""No more than this is put on a carriage's travel or a mandrel's rod [mm]: half a tube's stock length of 6 m."""

MOST_RAISED: Final = 1000
"""The centreline is proposed no more than this higher over the floor [mm]: the operator still has to reach the tube
(common practice, no source)."""

MOST_LONGER: Final = 500
"""No straight is proposed longer by more than this [mm]: it would be another part."""

LEAST_CLAMP: Final = 1.0
"""No clamp is proposed shorter than this many tube diameters: it would slip or mark the tube (common practice, no
source)."""


@dataclass(frozen=True)
class PartOnMachine:
    """A part on a machine."""

    part: Part
    machine: Machine

    def longest(self) -> float:
        """Return how long the tube is with all the stock that its ends may carry [mm]."""
        return self.part.developed_length + case_of(self.part, self.machine).allowed.total


Made = Callable[[PartOnMachine, int], PartOnMachine]
"""The job with so many whole millimetres of a change made."""


@dataclass(frozen=True)
class Alteration:
    """One thing that can be changed.

    kind, where: what, and at which end, straight or place. most: the greatest amount that is proposed [mm], 1 or more;
    nested: what goes with less of it goes with more; adds: what goes with none of it goes with any amount, if not what
    goes with less with more; leaves_at_most: if the greatest amount does not help, no smaller one is looked at;
    only_rules: only shop rules speak of it, strikes against what the carriage carries, and how far forward the tube may
    go; made: makes the change.
    """

    kind: ChangeKind
    where: str
    most: int
    nested: bool
    leaves_at_most: bool
    made: Made
    only_rules: bool = False
    adds: bool = False

    @property
    def widens(self) -> bool:
        """Say whether what goes with none of it goes with any amount of it."""
        return self.nested or self.adds


def tooling_of(job: PartOnMachine) -> tuple[Tooling, ...]:
    """Return the tooling of the part's bends, each once, in the profile's order."""
    part, machine = job.part, job.machine
    used = [machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii]
    return tuple(tooling for tooling in machine.tooling if tooling in used)


def alterations(job: PartOnMachine) -> tuple[Alteration, ...]:
    """Return what can be changed, what touches least first.

    A longer end straight is not among them: to the bender it is the same tube as trim on that end.
    """
    found = [*_trims(job), *_clearance(job), *_carriage(job), *_rod(job), *_pressure_die(job)]
    found += [*_clamps(job), *_raised(), *_straights(job)]
    return tuple(alteration for alteration in found if alteration.most >= 1)


def altered(job: PartOnMachine, kind: ChangeKind, where: str, amount: int) -> PartOnMachine:
    """Return the job with a change of a kind made somewhere [mm]; raises KeyError if the job offers no such change."""
    offered = {(alteration.kind, alteration.where): alteration for alteration in alterations(job)}
    return offered[kind, where].made(job, amount)


def _trims(job: PartOnMachine) -> Iterator[Alteration]:
    """More stock allowed at an end of which it is stated; of the others the rules can need no more."""
    ends: tuple[tuple[End, float | None], ...] = (("A", job.part.trim_a), ("B", job.part.trim_b))
    for end, now in ends:
        if now is None:
            continue

        def made(job: PartOnMachine, amount: int, end: End = end) -> PartOnMachine:
            now = job.part.trim_a if end == "A" else job.part.trim_b
            assert now is not None  # offered only then
            more = now + amount
            part = replace(job.part, trim_a=more) if end == "A" else replace(job.part, trim_b=more)
            return PartOnMachine(part, job.machine)

        whole = float(now).is_integer()
        yield Alteration("trim", f"end {end}", MOST_TRIM, whole, whole, made, only_rules=True)


def _clearance(job: PartOnMachine) -> Iterator[Alteration]:
    """Less clearance required to machine and floor."""

    def made(job: PartOnMachine, amount: int) -> PartOnMachine:
        clearance = job.machine.clearance
        less = clearance.model_copy(update={"required": clearance.required - amount})
        return _machine(job, clearance=less)

    yield Alteration("clearance", "machine and floor", math.floor(job.machine.clearance.required), True, True, made)


def _carriage(job: PartOnMachine) -> Iterator[Alteration]:
    """A carriage that goes farther back, and one that comes closer, as near as the wiper lets the collet come."""
    carriage = job.machine.carriage
    if carriage is None:
        return
    closest, farthest = carriage.reach
    useful = math.ceil(job.longest() - farthest)

    def farther(job: PartOnMachine, amount: int) -> PartOnMachine:
        return _reaching(job, 0, amount)

    def closer(job: PartOnMachine, amount: int) -> PartOnMachine:
        return _reaching(job, amount, 0)

    wipers = [tooling.wiper_block.length for tooling in tooling_of(job) if tooling.wiper_block is not None]
    nearest = max([*wipers, *(tooling.shortest_tail for tooling in tooling_of(job)), 1.0])
    yield Alteration("carriage travel", "closest", math.floor(closest - nearest), True, True, closer)
    free = not _stands_behind(job)
    yield Alteration("carriage travel", "farthest", min(useful, MOST_TRAVEL), free, free, farther, True)


def _stands_behind(job: PartOnMachine) -> bool:
    """Say whether something of the frame stands where the tail lies behind the tangent point, or may come too near."""
    clearance, part = job.machine.clearance, job.part
    near = part.radius + clearance.required + clearance.per_metre * job.longest() / 1000.0
    return any(solid.moves_with == "frame" and _from_the_tail(solid) < near for solid in job.machine.solid)


def _from_the_tail(solid: Solid) -> float:
    """Return how far a solid is from the feed's line behind the tangent point [mm], infinite if it is not behind it."""
    if solid.box is not None:
        (x, y_low, z_low), (_, y_high, z_high) = solid.box.from_, solid.box.to
    else:
        assert solid.cylinder is not None  # the model allows exactly one of the two
        (centre_x, centre_y), radius = solid.cylinder.centre, solid.cylinder.radius
        x, y_low, y_high = centre_x - radius, centre_y - radius, centre_y + radius
        z_low, z_high = solid.cylinder.z
    aside, above = max(y_low, -y_high, 0.0), max(z_low, -z_high, 0.0)
    return math.hypot(aside, above) if x < 0.0 else math.inf


def _reaching(job: PartOnMachine, closer: int, farther: int) -> PartOnMachine:
    carriage = job.machine.carriage
    assert carriage is not None  # offered only then
    closest, farthest = carriage.reach
    # Where it waits with the collet open stays as it is: only more is added to where it may hold.
    reach = (closest - float(closer), farthest + float(farther))
    return _machine(job, carriage=carriage.model_copy(update={"reach": reach, "stand_back": carriage.waits_at}))


def _rod(job: PartOnMachine) -> Iterator[Alteration]:
    """A longer mandrel rod, anchored farther back.

    Not nested: a leg that lies behind the rod may strike a longer one.
    """
    mandrel = job.machine.mandrel
    if mandrel is None:
        return

    def made(job: PartOnMachine, amount: int) -> PartOnMachine:
        mandrel = job.machine.mandrel
        assert mandrel is not None  # offered only then
        anchored = anchors(job.machine)
        solids = tuple(_farther_back(s, amount) if s.name in anchored else s for s in job.machine.solid)
        longer = mandrel.model_copy(update={"rod_length": mandrel.rod_length + amount})
        return _machine(job, mandrel=longer, solid=solids)

    useful = math.ceil(job.longest() - mandrel.rod_length)
    yield Alteration("rod", "rod", min(useful, MOST_TRAVEL), False, True, made)


def _farther_back(solid: Solid, amount: int) -> Solid:
    """Return a solid so much farther behind the tangent point [mm]."""
    if solid.box is not None:
        (x0, y0, z0), (x1, y1, z1) = solid.box.from_, solid.box.to
        box = solid.box.model_copy(update={"from_": (x0 - amount, y0, z0), "to": (x1 - amount, y1, z1)})
        return solid.model_copy(update={"box": box})
    assert solid.cylinder is not None  # the model allows exactly one of the two
    x, y = solid.cylinder.centre
    return solid.model_copy(update={"cylinder": solid.cylinder.model_copy(update={"centre": (x - amount, y)})})


def _pressure_die(job: PartOnMachine) -> Iterator[Alteration]:
    """A longer pressure die, where one that follows the tube does not last. Not nested: it may strike what is near."""
    longest = max((tooling.bend_radius * job.machine.head.largest_angle + tooling.rest) for tooling in tooling_of(job))
    shortest = min(tooling.pressure_die_length for tooling in tooling_of(job))
    if not any(tooling.pressure_die_follows for tooling in tooling_of(job)):
        return

    def made(job: PartOnMachine, amount: int) -> PartOnMachine:
        used = tooling_of(job)
        return _machine(
            job, tooling=tuple(_with_longer_die(t, amount) if t in used else t for t in job.machine.tooling)
        )

    yield Alteration("pressure die", "pressure die", math.ceil(longest - shortest), False, True, made)


def _with_longer_die(tooling: Tooling, amount: int) -> Tooling:
    return tooling.model_copy(update={"pressure_die_length": tooling.pressure_die_length + amount})


def shortest_clamp(job: PartOnMachine) -> float:
    """Return the shortest clamp there is for the part's bends [mm]."""
    return min(tooling.clamp_lengths[-1] for tooling in tooling_of(job))


def short_of_a_clamp(job: PartOnMachine, k: int) -> int:
    """Return by how many whole millimetres straight k, between two bends, is too short for every clamp and section."""
    part, machine = job.part, job.machine
    around = [machine.tooling_for(part.outside_diameter, float(radius)) for radius in part.radii[k - 1 : k + 1]]
    shortest = min(tooling.shortest_straight for tooling in around)
    return max(math.ceil(shortest - float(part.straights[k]) - RULE_SLACK), 0)


def _clamps(job: PartOnMachine) -> Iterator[Alteration]:
    """A clamp die shorter than the shortest, which is allowed to hold no more than its own length.

    Not nested: what of a straight the shorter clamp does not hold must keep its clearance to the arm. But the other
    clamps stay.
    """

    def made(job: PartOnMachine, amount: int) -> PartOnMachine:
        length = shortest_clamp(job) - float(amount)
        used = tooling_of(job)
        return _machine(job, tooling=tuple(_with_clamp(t, length) if t in used else t for t in job.machine.tooling))

    most = math.floor(shortest_clamp(job) - LEAST_CLAMP * job.part.outside_diameter)
    yield Alteration("clamp", "clamp die", most, False, True, made, adds=True)


def _with_clamp(tooling: Tooling, length: float) -> Tooling:
    """Return tooling with one more clamp [mm], shorter than all it has."""
    grip = min(tooling.shortest_grip, length)
    return tooling.model_copy(update={"clamp_lengths": (*tooling.clamp_lengths, length), "shortest_grip": grip})


def _raised() -> Iterator[Alteration]:
    """The floor farther below the centreline."""
    yield Alteration("machine raised", "floor", MOST_RAISED, True, True, _lifted)


def _lifted(job: PartOnMachine, amount: int) -> PartOnMachine:
    """Return the job with the floor so much lower [mm]; what stood on it goes down to it still."""
    head, machine = job.machine.head, job.machine
    height = head.centreline_height + amount
    solids = tuple(_down_to(solid, head.centreline_height, height) for solid in machine.solid)
    return _machine(job, head=head.model_copy(update={"centreline_height": height}), solid=solids)


def _down_to(solid: Solid, before: float, after: float) -> Solid:
    """Return a frame's solid that stood on the floor standing on a lower one [mm below the centreline]."""
    if solid.moves_with != "frame":
        return solid
    if solid.box is not None and solid.box.from_[2] <= RULE_SLACK - before:
        x, y, _ = solid.box.from_
        return solid.model_copy(update={"box": solid.box.model_copy(update={"from_": (x, y, -after)})})
    if solid.cylinder is not None and solid.cylinder.z[0] <= RULE_SLACK - before:
        z = (-after, solid.cylinder.z[1])
        return solid.model_copy(update={"cylinder": solid.cylinder.model_copy(update={"z": z})})
    return solid


def _straights(job: PartOnMachine) -> Iterator[Alteration]:
    """A longer straight between two bends."""
    for k in range(1, job.part.n_bends):

        def longer(job: PartOnMachine, amount: int, k: int = k) -> PartOnMachine:
            return PartOnMachine(with_straight(job.part, k, amount), job.machine)

        yield Alteration("straight longer", f"straight {k}", MOST_LONGER, False, False, longer)


def with_straight(part: Part, k: int, more: int) -> Part:
    """Return the part with straight k longer by so much [mm]."""
    straights = part.straights.copy()
    straights[k] += more
    return replace(part, straights=straights)


def cut_in_two(part: Part, k: int, place: float, trim: float) -> tuple[Part, Part]:
    """Return the two pieces that a cut through straight k makes, `place` mm behind bend k.

    Their bends keep their order. trim: what every end of the pieces may carry besides what the part's own may [mm].
    """
    cut = float(part.straights[k])
    a, b = (None if own is None else own + trim for own in (part.trim_a, part.trim_b))
    first = _piece(part, slice(0, k), [*part.straights[:k], place], (a, trim))
    rest = [cut - place, *part.straights[k + 1 :]]
    return first, _piece(part, slice(k, part.n_bends), rest, (trim, b))


def _piece(part: Part, bends: slice, straights: list[Any], trims: tuple[float | None, float | None]) -> Part:
    rotations = part.rotations[bends].copy()
    rotations[0] = 0.0
    name = f"{part.name}, piece {1 if bends.start == 0 else 2}"
    return replace(
        part,
        name=name,
        straights=np.array(straights, dtype=np.float64),
        rotations=rotations,
        angles=part.angles[bends],
        radii=part.radii[bends],
        trim_a=trims[0],
        trim_b=trims[1],
    )


def can_be_set_up(job: PartOnMachine) -> bool:
    """Say whether the machine has tooling for every bend of the part."""
    try:
        tooling_of(job)
    except NoTooling:
        return False
    return True


def _machine(job: PartOnMachine, **changed: object) -> PartOnMachine:
    return PartOnMachine(job.part, job.machine.model_copy(update=changed))
