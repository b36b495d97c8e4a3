"""A broken shop rule: which, at which bend, as a sentence with its numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

End = Literal["A", "B"]


@dataclass(frozen=True)
class Broken:
    """rule: its short name; bend: number from end A; leads: leading end; sentence: with numbers and units."""

    rule: str
    bend: int
    leads: End
    sentence: str


def other(end: End) -> End:
    """Return the other end."""
    return "B" if end == "A" else "A"
