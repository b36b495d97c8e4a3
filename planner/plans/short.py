"""What comes a little short of what is asked for, within the band that counts as kept, told with its numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable

from planner.clearance.verdicts import Verdicts
from planner.facts import Fact, fact, kept, needed, six_digits
from planner.plans.document import Short
from planner.tolerances import ALIKE_IN_HUNDREDTHS, NEED_BAND


def short_fact(short: Short) -> Fact:
    """Return what comes short as a fact to warn of."""
    least = math.floor(short.kept * 100.0) / 100.0
    near = {"kept": kept(least, 2), "needed": six_digits(short.needed)}
    if short.needed < 0.0:
        near = {"pressing": needed(-least, 2), "allowed": six_digits(-short.needed)}
    return fact("short", steps=short.steps, solid=short.solid, band=six_digits(NEED_BAND), **near)


def shorts(batches: Iterable[tuple[Verdicts, dict[int, int]]]) -> tuple[Short, ...]:
    """Return what comes short in batches of motions that are clear; with each the steps by the number of the motion."""
    found: dict[tuple[str, float], tuple[float, set[int]]] = {}
    for verdicts, steps in batches:
        for finding in verdicts.findings.values():
            witness = finding.witness
            if witness is None or finding.motion not in steps:
                continue
            if witness.needed - witness.clearance < ALIKE_IN_HUNDREDTHS:
                continue
            key = (witness.solid, witness.needed)
            least, known = found.get(key, (math.inf, set()))
            found[key] = (min(least, witness.clearance), known | {steps[finding.motion]})
    return tuple(
        Short(solid=solid, needed=asked, kept=math.floor(least * 1000.0) / 1000.0, steps=tuple(sorted(steps)))
        for (solid, asked), (least, steps) in sorted(found.items())
    )
