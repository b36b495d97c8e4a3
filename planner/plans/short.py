"""What comes a little short of what is asked for, within the band that counts as kept, told with its numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from planner.clearance.verdicts import Verdicts
from planner.tolerances import NEED_BAND
from planner.words import listed

UNSAID = 0.005
"""What comes short by less is not said [mm]: numbers are said in hundredths."""


@dataclass(frozen=True)
class Short:
    """A solid that the tube comes nearer than asked for: the steps, what is asked for, and what is proved [mm].

    Both are negative where the tube may press in.
    """

    solid: str
    needed: float
    kept: float
    steps: tuple[int, ...]

    def words(self) -> str:
        """Return it as a sentence for the list of warnings."""
        steps = f"step {self.steps[0]}" if len(self.steps) == 1 else f"steps {listed([str(n) for n in self.steps])}"
        kept = math.floor(self.kept * 100.0) / 100.0
        what = f"the tube keeps {kept:.2f} mm to the {self.solid} where {self.needed:g} mm are asked for"
        if self.needed < 0.0:
            what = f"the tube may press {-kept:.2f} mm into the {self.solid} where {-self.needed:g} mm are allowed"
        return f"In {steps} {what}: up to {NEED_BAND:g} mm is taken as kept. Watch it on the first part."


def shorts(batches: Iterable[tuple[Verdicts, dict[int, int]]]) -> list[Short]:
    """Return what comes short in batches of motions that are clear; with each the steps by the number of the motion."""
    found: dict[tuple[str, float], tuple[float, set[int]]] = {}
    for verdicts, steps in batches:
        for finding in verdicts.findings.values():
            witness = finding.witness
            if witness is None or finding.motion not in steps or witness.needed - witness.clearance < UNSAID:
                continue
            key = (witness.solid, witness.needed)
            kept, known = found.get(key, (math.inf, set()))
            found[key] = (min(kept, witness.clearance), known | {steps[finding.motion]})
    return [
        Short(solid, needed, kept, tuple(sorted(steps))) for (solid, needed), (kept, steps) in sorted(found.items())
    ]
