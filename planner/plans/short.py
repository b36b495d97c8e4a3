"""What comes a little short of what is asked for, within the band that counts as kept, told with its numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable

from planner.clearance.verdicts import Verdicts
from planner.plans.document import Short
from planner.tolerances import ALIKE_IN_HUNDREDTHS, NEED_BAND
from planner.words import listed


def short_words(short: Short) -> str:
    """Return what comes short as a sentence for the list of warnings."""
    steps = f"step {short.steps[0]}" if len(short.steps) == 1 else f"steps {listed([str(n) for n in short.steps])}"
    kept = math.floor(short.kept * 100.0) / 100.0
    what = f"the tube keeps {kept:.2f} mm to the {short.solid} where {short.needed:g} mm are asked for"
    if short.needed < 0.0:
        what = f"the tube may press {-kept:.2f} mm into the {short.solid} where {-short.needed:g} mm are allowed"
    return f"In {steps} {what}: up to {NEED_BAND:g} mm is taken as kept. Watch it on the first part."


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
            kept, known = found.get(key, (math.inf, set()))
            found[key] = (min(kept, witness.clearance), known | {steps[finding.motion]})
    return tuple(
        Short(solid=solid, needed=needed, kept=math.floor(kept * 1000.0) / 1000.0, steps=tuple(sorted(steps)))
        for (solid, needed), (kept, steps) in sorted(found.items())
    )
