"""A broken shop rule: which, at which bend, as a fact with its numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from planner.facts import Fact
from planner.tolerances import RULE_SLACK
from planner.wording.say import say

End = Literal["A", "B"]


@dataclass(frozen=True)
class Broken:
    """rule: its short name; bend: number from end A; leads: leading end; fact: what is broken, and by how much.

    numbers: what the rule rests on, by name, as the proof document writes it [mm, degrees, N mm].
    """

    rule: str
    bend: int
    leads: End
    fact: Fact
    numbers: Mapping[str, float | tuple[float, ...]] = field(default_factory=dict, compare=False)

    @property
    def sentence(self) -> str:
        """The fact in words [mm]."""
        return say(self.fact)


Kept = tuple[float, float]
"""The least and the greatest trim at an end with which a rule is kept [mm]."""

ALWAYS: Kept = (-math.inf, math.inf)
NEVER: Kept = (math.inf, -math.inf)


def keeps(kept: Kept, trim: float) -> bool:
    """Say whether a rule is kept with so much trim [mm]."""
    return kept[0] - RULE_SLACK <= trim <= kept[1] + RULE_SLACK


def other(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"
