"""Exercises for trainees: orders of the example parts, of which to say beforehand how far they go.

The answers are not written down here: each is judged when it is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from planner.page.session import plain_order
from planner.plans.document import End, OrderedBend


@dataclass(frozen=True)
class Exercise:
    """An order to think about.

    example: the part's file without its ending; leads: the end from which the drawing's order is taken; question: what
    is asked; look_at: what the answer shows, whatever it is.
    """

    example: str
    leads: End
    question: str
    look_at: str

    def order_of(self, n: int) -> list[OrderedBend]:
        """Return the order that the exercise is about."""
        return plain_order(n, self.leads)


EXERCISES: Final = (
    Exercise(
        "cargo-bike-rack",
        "A",
        "A plain U, bent as it is drawn, end A leading. Will both bends go?",
        "Look at where the first leg stands while the second bend is made.",
    ),
    Exercise(
        "lockside-rail",
        "A",
        "A long rail with a leg at either end, bent as it is drawn, end A leading. How far does it go?",
        "Look at how much tube goes over the mandrel when bend 1 is to be made first.",
    ),
    Exercise(
        "lockside-rail",
        "B",
        "The same rail, bent from the other end. How far does it go?",
        "Look at the rod again: the rail is the same from both ends.",
    ),
    Exercise(
        "cabin-grab-rail",
        "A",
        "A grab rail, bent as it is drawn, end A leading. How far does it go?",
        "Look at where the long leg points before bend 2, and which end leads in the plan.",
    ),
    Exercise(
        "mooring-stanchion",
        "A",
        "A stanchion on the long bed, bent as it is drawn, end A leading. How far does it go?",
        "Look at what the part that is already bent comes near to when the next bend swings.",
    ),
)
