"""Every allowed order of a part's bends, one after the other, judged with plain numbers and dense samples of the motions.

Independent of the program but for its input models and the setting of each bend. With a mandrel or a carriage the formed
bends are a run of neighbours; the job starts at any bend with either end leading; the next bend is the neighbour behind
the run, in the same load, after a re-grip, after a reload, or after a turn end for end. What is checked of a bend follows
the contact table, phase by phase.

The modules of this folder, as they build on one another: `tube`, `solids`, `sampled`, `plane` (plain geometry); `set_up`,
`orders`, `shop_rules` (what may be tried); `surroundings` (the machine), `leading_part` (the tube in it); `bending`,
`legs`, `homing`, `carriage`, `moves`, `loads` (motions); `judge` (a whole job).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from planner.inputs.machine import Machine
from planner.inputs.part import Part
from tests.plan.brute_force.judge import Judge
from tests.plan.brute_force.orders import Job, jobs, reclamps
from tests.plan.brute_force.sampled import CLEAR, STRUCK
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.shop_rules import Kept, ShopRules

SPARE = 0.2
"""Rules that are kept or broken by less than this are unsure [mm]: settings and places are rounded to the readouts."""


@dataclass(frozen=True)
class Found:
    """least, most: re-clamps if every unsure check were clear, and if none were; infinite where nothing can be made.

    trims: the least total trim with so many re-clamps, likewise [mm]. unsure: jobs that stayed unsure.
    """

    least: float
    most: float
    trims: tuple[float, float]
    unsure: int

    @property
    def verdict(self) -> str:
        """The part's verdict, "unsure" where the samples leave it open."""
        if math.isinf(self.least):
            return "not makeable"
        return "makeable" if self.least == self.most else "unsure"


@dataclass(frozen=True)
class Entry:
    """A job that may keep the shop rules: what they leave of it at their loosest and, unless it breaks them then, strictest."""

    job: Job
    loose: Kept
    strict: Kept | None

    @property
    def cost(self) -> tuple[int, float]:
        """Re-clamps and total trim [mm]."""
        return (reclamps(self.job), sum(self.loose.trims))


class BruteForce:
    """All jobs of a part on a machine that has a carriage."""

    def __init__(self, part: Part, machine: Machine) -> None:
        self.set_up = SetUp(part, machine)
        self.rules = ShopRules(self.set_up)

    @cached_property
    def judge(self) -> Judge:
        """What judges the motions."""
        return Judge(self.set_up, self.rules)

    def found(self) -> Found:
        """Judge all jobs, those with fewer re-clamps and less trim first, until one is surely possible."""
        if not (self.rules.within_range and self.rules.rated):
            return Found(math.inf, math.inf, (math.inf, math.inf), 0)
        least, unsure, trim = math.inf, 0, math.inf
        for entry in sorted(self._entries(), key=lambda entry: entry.cost):
            count, total = entry.cost
            verdict = self.judge.verdict(entry.job, entry.loose)
            if verdict == STRUCK:
                continue
            if math.isinf(least):
                least, trim = count, total
            if entry.strict is not None and entry.strict.trims != entry.loose.trims and verdict == CLEAR:
                verdict = self.judge.verdict(entry.job, entry.strict)
            if entry.strict is not None and verdict == CLEAR:
                return Found(least, count, (trim, sum(entry.strict.trims)), unsure)
            unsure += 1
        return Found(least, math.inf, (trim, math.inf), unsure)

    def _entries(self) -> Iterator[Entry]:
        carriage = self.set_up.carriage
        for job in jobs(self.set_up.part.n_bends, carriage.passes_through, carriage.finish_released):
            loose = self.rules.kept(job, -SPARE)
            if loose is not None:
                yield Entry(job, loose, self.rules.kept(job, SPARE))
