"""An order of bends as the shop sees it: loads with their bends, clamps and grips.

`Case` is a part on a machine; `ready_of` writes out what an engine's sequence means in loads.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from planner.inputs.machine import Machine, Tooling
from planner.inputs.part import Part
from planner.rules.broken import Broken, End, other
from planner.rules.carriage import Grip, farthest_hold, hold_face
from planner.rules.grip import Loaded, clamps_that_fit
from planner.rules.stock import most_stock, unasked_ends
from planner.sequencing.events import Arrival, Event, Hold, Sequence, Trims
from planner.tube.partly_bent import bend_seen, seen_from


@dataclass(frozen=True)
class Run:
    """Bends made in one load, in order (numbers from end A), and the end that leads."""

    leads: End
    bends: tuple[int, ...]


Order = tuple[Run, ...]


@dataclass(frozen=True)
class Case:
    """A part on a machine: tooling and setting [rad] of each bend."""

    part: Part
    machine: Machine
    tooling: tuple[Tooling, ...]
    settings: tuple[float, ...]
    _views: dict[End, Part] = field(default_factory=dict, init=False, compare=False, repr=False)

    def view(self, leads: End) -> Part:
        """Return the part counted from an end; built once."""
        if leads not in self._views:
            self._views[leads] = seen_from(self.part, leads)
        return self._views[leads]

    @cached_property
    def allowed(self) -> Trims:
        """The most extra stock that each end may carry, stated or not [mm]."""
        a, b = (most_stock(self.part, end, self.tooling, self.settings, self.machine.carriage) for end in ("A", "B"))
        return Trims(a, b)

    @cached_property
    def unasked(self) -> frozenset[End]:
        """The ends whose extra stock nobody has stated."""
        return unasked_ends(self.part)

    def loaded(self, leads: End, trims: Trims) -> Loaded:
        """Return the part as it is loaded with an end leading."""
        return Loaded(self.view(leads), leads, trims.at(leads), trims.at(other(leads)))

    def number(self, leads: End, bend: int) -> int:
        """Return a bend's number from end A for its number in the view of an end, or back."""
        return bend_seen(bend, leads, self.part.n_bends)

    def face(self, loaded: Loaded, hold: Hold) -> float | None:
        """Return u of a hold [mm], counted from the leading end; None on a hand-fed bender."""
        carriage = self.machine.carriage
        return None if carriage is None else hold_face(loaded, hold.since, _regripped_at(loaded.view, hold), carriage)

    def farthest_face(self, leads: End, hold: Hold) -> float | None:
        """Return the greatest u of a hold, whatever the stock [mm]; None on a hand-fed bender."""
        view, carriage = self.view(leads), self.machine.carriage
        return None if carriage is None else farthest_hold(view, hold.since, _regripped_at(view, hold), carriage)

    def flush_advance(self, leads: End, bend: int, trims: Trims) -> float | None:
        """Return how far the bare tube is advanced from its leading end at the tangent point to its first bend [mm].

        None where the collet does not reach back so far: the tube is then laid in at the bend.
        """
        loaded, carriage = self.loaded(leads, trims), self.machine.carriage
        face = self.face(loaded, Hold(bend, "load"))
        if carriage is not None and face is not None and face + loaded.trim_lead > carriage.reach[1]:
            return None
        return float(loaded.view.bend_starts[bend - 1]) + loaded.trim_lead


def _regripped_at(view: Part, hold: Hold) -> float | None:
    """Return the stock coordinate at the tangent point where a re-grip begins a hold, None at a load [mm]."""
    return float(view.bend_ends[hold.since - 2]) if hold.begun == "re-grip" else None


@dataclass(frozen=True)
class Load:
    """One load of an order: clamps that fit each bend (longest first) and the grips.

    ways: the way round of the rotation to each bend where the chuck's range is limited, 0 the shorter.
    formed: numbers (in the view) of the bends formed before; bends: numbers in the view, in order.
    """

    run: Run
    loaded: Loaded
    formed: frozenset[int]
    bends: tuple[int, ...]
    clamps: tuple[tuple[float, ...], ...]
    grips: tuple[Grip, ...]
    ways: tuple[int, ...]


@dataclass(frozen=True)
class Ready:
    """An order that breaks no rule."""

    case: Case
    order: Order
    trim_a: float
    trim_b: float
    loads: tuple[Load, ...]

    @property
    def turns(self) -> int:
        """Times the tube is turned end for end."""
        return sum(before.leads != run.leads for before, run in pairwise(self.order))

    @property
    def reloads(self) -> int:
        """Times the tube is taken off and put back the same way round."""
        return sum(before.leads == run.leads for before, run in pairwise(self.order))

    @property
    def regrips(self) -> int:
        """Re-grips over all loads."""
        return sum(max(len(load.grips) - 1, 0) for load in self.loads)

    @property
    def released(self) -> int:
        """1 if the last bend is made with the collet open."""
        return int(any(grip.released for load in self.loads for grip in load.grips))

    @property
    def reclamps(self) -> int:
        """All losses of reference."""
        return self.turns + self.reloads + self.regrips + self.released


def ready_of(case: Case, sequence: Sequence) -> Ready:
    """Return a sequence written out in loads. It must keep the shop rules."""
    loads: list[list[Arrival]] = []
    for arrival in sequence.arrivals:
        if arrival.event is not Event.LINK:
            loads.append([])
        loads[-1].append(arrival)
    written = tuple(_load(case, sequence.trims, load) for load in loads)
    return Ready(case, tuple(load.run for load in written), sequence.trims.a, sequence.trims.b, written)


def _load(case: Case, trims: Trims, arrivals: list[Arrival]) -> Load:
    first, leads = arrivals[0], arrivals[0].leads
    loaded = case.loaded(leads, trims)
    formed = frozenset(range(first.ahead, first.bend))
    clamps = tuple(fitting_clamps(case, loaded, arrival) for arrival in arrivals)
    bends = tuple(arrival.bend for arrival in arrivals)
    run = Run(leads, tuple(case.number(leads, bend) for bend in bends))
    ways = tuple(arrival.way for arrival in arrivals)
    return Load(run, loaded, formed, bends, clamps, _grips(case, loaded, arrivals), ways)


def fitting_clamps(case: Case, loaded: Loaded, arrival: Arrival) -> tuple[float, ...]:
    """Return the clamps that may hold the tube for an arrival, longest first; none where a rule forbids it.

    Where its clamp is named that one alone.
    """
    formed = frozenset(range(arrival.ahead, arrival.bend))
    tooling = case.tooling[case.number(arrival.leads, arrival.bend) - 1]
    fitting = clamps_that_fit(loaded, arrival.bend, formed, tooling)
    if isinstance(fitting, Broken):
        return ()
    return fitting if arrival.clamp is None else tuple(c for c in fitting if c == arrival.clamp)


def _grips(case: Case, loaded: Loaded, arrivals: list[Arrival]) -> tuple[Grip, ...]:
    grips = []
    for hold in dict.fromkeys(arrival.hold for arrival in arrivals):
        served = [arrival for arrival in arrivals if arrival.hold == hold]
        face = case.face(loaded, hold)
        if face is not None:
            grips.append(Grip(face, tuple(arrival.bend for arrival in served), served[-1].released))
    return tuple(grips)
