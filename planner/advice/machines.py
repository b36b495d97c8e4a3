"""Which machine can make which part: a line for each pair, and what they come to together.

Each pair is planned on its own; what `plan` says of it is kept as one line, a `Checked`. Pairs that no plan is needed
for (no tooling for the tube) are settled here, the others by worker processes where there are more than a few.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

from planner.advice.workers import worked_off
from planner.errors import BendorderError, NoTooling
from planner.facts import Fact, fact, size
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Because, Plan, Reason, Verdict
from planner.tolerances import PLACE_DECIMALS
from planner.wording.say import say

Settled = Literal["makeable", "undecided", "not makeable", "bad input"]
"""A plan's verdict, or that there is none because a file cannot be used; best first."""

FEW: Final = 4
"""So many plans are made in this process: starting another one takes about as long as one plan of ten bends."""


@dataclass(frozen=True)
class Checked:
    """What is known of one part on one machine: lengths [mm], times [s].

    part: its name; None where its file cannot be read. part_file: its file. machine: the profile's name (its file's,
    without the ending); None where the part's file, or which machine is meant, cannot be read. machine_file: its file.
    verdict: the plan's, or "bad input". undecided_because: as in the plan.
    proved: whether the verdict is; False for "undecided", and for "makeable" where it is not checked how the tube is
    put on and taken off (there is no mandrel). None for "bad input".
    reclamps: of the best plan, like all that follows up to the time; None unless the part is makeable. trim: of both
    ends together [mm]. trim_a: at end A [mm]. trim_b: at end B [mm]. cut_length: tube to cut, trim included [mm].
    smallest_clearance: a proved lower bound over all motions [mm]. time: at the machine [s].
    reason: the main reason why it is not makeable, not settled or bad input, in one sentence. reasons: how many there
    are (where it is proved that no order goes, they exclude all of them together).
    error: the evidence of "bad input" as data, else None. fact: the reason as a fact.
    """

    part: str | None
    part_file: str | None
    machine: str | None
    machine_file: str | None
    verdict: Settled
    undecided_because: Because | None = None
    proved: bool | None = None
    reclamps: int | None = None
    trim: float | None = None
    trim_a: float | None = None
    trim_b: float | None = None
    cut_length: float | None = None
    smallest_clearance: float | None = None
    time: float | None = None
    reason: str | None = None
    reasons: int = 0
    error: dict[str, Any] | None = None
    fact: dict[str, Any] | None = None


class Pair(NamedTuple):
    """A part and the machine that it may be made on."""

    part: Part
    machine: Machine


def check(
    part: Part, machines: Iterable[Machine], *, time_limit: float | None = None, workers: int = 1
) -> tuple[Checked, ...]:
    """Return a line for each machine, in their order: can it make the part?

    time_limit [s]: for each plan; workers: how many processes may plan at once (1: this one; more need a main module
    that may be imported, as `multiprocessing` says).
    """
    return check_pairs([Pair(part, machine) for machine in machines], time_limit=time_limit, workers=workers)


def check_pairs(pairs: Sequence[Pair], *, time_limit: float | None = None, workers: int = 1) -> tuple[Checked, ...]:
    """Return a line for each pair, in their order; otherwise as `check`."""
    lines = {place: line for place, pair in enumerate(pairs) if (line := _without_tooling(pair)) is not None}
    to_plan = sorted((place for place in range(len(pairs)) if place not in lines), key=lambda at: _ease(pairs[at]))
    jobs = [(pairs[place], time_limit) for place in to_plan]
    lines |= zip(to_plan, worked_off(check_pair, jobs, workers if len(jobs) > FEW else 1), strict=True)
    return tuple(lines[place] for place in range(len(pairs)))


def check_pair(pair: Pair, time_limit: float | None = None) -> Checked:
    """Plan a part on a machine and return the line about it; what is wrong with either is a line as well."""
    try:
        return _line(pair, plan(pair.part, pair.machine, time_limit=time_limit))
    except NoTooling as missing:
        return _no_tooling(pair, missing)
    except BendorderError as error:
        return refused(error, part=pair.part, machine=pair.machine)


def refused(
    error: BendorderError,
    *,
    part: Part | None = None,
    part_file: str | None = None,
    machine: Machine | None = None,
    machine_named: str | None = None,
) -> Checked:
    """Return the line about a part, or about a part and a machine, of which one cannot be used.

    part, machine: where they could be read; part_file, machine_named: what was asked for where they could not.
    """
    return Checked(
        part=None if part is None else part.name,
        part_file=part_file if part is None else part.source,
        machine=machine_named if machine is None else name_of(machine),
        machine_file=None if machine is None else machine.source,
        verdict="bad input",
        **_reason(fact("as-said", text=str(error))),
        reasons=1,
        error=error.as_dict(),
    )


def name_of(machine: Machine) -> str:
    """Return the name that a machine is asked for by: its profile's, or its own where it comes from no file."""
    return machine.name if machine.source is None else Path(machine.source).stem


def best_of(lines: Iterable[Checked]) -> Settled:
    """Return what the lines of one part come to: makeable if any machine can make it, undecided if none can but not for
    certain, not makeable if that is proved of each; bad input if any of it could not be used.
    """
    verdicts = {line.verdict for line in lines}
    if "bad input" in verdicts:
        return "bad input"
    ranked: tuple[Verdict, ...] = ("makeable", "undecided", "not makeable")
    return next(verdict for verdict in ranked if verdict in verdicts)


def worst_of(verdicts: Iterable[Settled]) -> Settled:
    """Return what several parts come to: makeable only if each is, not makeable if any is proved to be so."""
    there = set(verdicts)
    ranked: tuple[Settled, ...] = ("bad input", "not makeable", "undecided", "makeable")
    return next(verdict for verdict in ranked if verdict in there)


def main_reason(made: Plan) -> Reason | None:
    """Return the reason of a plan document that is told where there is room for one only.

    What is unproved if that is why it is not settled; a shop rule before a strike, since its numbers stand on the
    drawing; of strikes the one that is least deep, as the nearest to being overcome.
    """
    if made.verdict == "makeable":
        return None
    reasons = made.reasons
    if made.undecided_because == "time limit":
        reasons = tuple(reason for reason in reasons if reason.rule == "time limit") or reasons
    elif made.verdict == "undecided":
        reasons = tuple(reason for reason in reasons if reason.grade == "unproved") or reasons
    by_rule = [reason for reason in reasons if reason.depth is None]
    if by_rule:
        return by_rule[0]
    return min(reasons, key=lambda reason: reason.depth or 0.0, default=None)


def shortened(reason: Reason) -> Fact:
    """Return a reason in short: of a strike only what strikes, at which bend, with which end leading."""
    if reason.solid is None:
        return reason.fact
    leading = None if reason.leads is None else fact("leading", leads=reason.leads)
    return fact("blocked-bend", bend=reason.bend, leading=leading, met=reason.fact.part("met"))


def _line(pair: Pair, made: Plan) -> Checked:
    """Return what a plan document says of its pair."""
    can = made.verdict == "makeable"
    stock = made.stock if can else None
    reason = main_reason(made)
    return Checked(
        part=pair.part.name,
        part_file=pair.part.source,
        machine=name_of(pair.machine),
        machine_file=pair.machine.source,
        verdict=made.verdict,
        undecided_because=made.undecided_because,
        proved=made.proved.makeable,
        reclamps=made.reclamps if can else None,
        trim=None if stock is None else round(stock.trim_a + stock.trim_b, PLACE_DECIMALS),
        trim_a=None if stock is None else stock.trim_a,
        trim_b=None if stock is None else stock.trim_b,
        cut_length=None if stock is None else stock.cut_length,
        smallest_clearance=made.smallest_clearance if can else None,
        time=made.time if can else None,
        **_reason(None if reason is None else shortened(reason)),
        reasons=0 if can else len(made.reasons),
    )


def _ease(pair: Pair) -> tuple[int, int]:
    """Return what pairs are sorted by so that long plans come first and no process is left with one at the end."""
    return -pair.part.n_bends, -len(pair.machine.solid)


def _without_tooling(pair: Pair) -> Checked | None:
    """Return the line about a part whose tube no die of the machine fits, None where there is a die for each bend."""
    try:
        for radius in pair.part.radii:
            pair.machine.tooling_for(pair.part.outside_diameter, float(radius))
    except NoTooling as missing:
        return _no_tooling(pair, missing)
    return None


def _no_tooling(pair: Pair, missing: NoTooling) -> Checked:
    """Return the line about a machine that has no tooling for the tube: it cannot make the part as it stands."""
    return Checked(
        part=pair.part.name,
        part_file=pair.part.source,
        machine=name_of(pair.machine),
        machine_file=pair.machine.source,
        verdict="not makeable",
        proved=True,
        **_reason(fact("no-tooling", diameter=size(missing.diameter), radius=size(missing.radius))),
        reasons=1,
    )


def _reason(said: Fact | None) -> dict[str, Any]:
    """Return why a part is not made, as a line holds it."""
    return {} if said is None else {"reason": say(said), "fact": said.as_dict()}
