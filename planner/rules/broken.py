"""A broken shop rule: which, at which bend, as a sentence with its numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

End = Literal["A", "B"]


@dataclass(frozen=True)
class Broken:
    """rule: its short name; bend: number from end A; leads: leading end; sentence: with numbers and units.

    numbers: what the rule rests on, by name, as the proof document writes it [mm, degrees, N mm].
    """

    rule: str
    bend: int
    leads: End
    sentence: str
    numbers: Mapping[str, float | tuple[float, ...]] = field(default_factory=dict, compare=False)


def other(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"
