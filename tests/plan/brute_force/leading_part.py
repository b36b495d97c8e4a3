"""The leading part of every bend: as it lies in the die, as it stands after the bend, and eased off the die."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from tests.plan.brute_force.tube import End, Tube, View, walked


class At(NamedTuple):
    """A bend at the die: leading end, first bend of the run formed ahead (or the bend), bend, trims in front and behind."""

    leads: End
    ahead: int
    bend: int
    trim_lead: float
    trim_tail: float


class LeadingParts:
    """The part's leading parts. side: of the head, +1 to the left; clr: the die's bend radius [mm]."""

    def __init__(self, views: Mapping[End, View], side: float, clr: float) -> None:
        self.views, self.side, self.clr = views, side, clr

    def angle(self, at: At) -> float:
        """The bend's angle once it is sprung back [rad]."""
        return self.views[at.leads].angles[at.bend - 1]

    def swing(self, at: At) -> float:
        """The angle that the bend is set to [rad]."""
        return self.views[at.leads].settings[at.bend - 1]

    def feed(self, at: At) -> float:
        """Tube drawn forward by the swing [mm]."""
        return self.clr * self.swing(at)

    def start(self, at: At) -> float:
        """Stock coordinate of the bend's tangent point nearer the leading end [mm]."""
        return self.views[at.leads].starts[at.bend - 1]

    def end(self, at: At) -> float:
        """Stock coordinate of its other tangent point [mm]."""
        return self.views[at.leads].ends[at.bend - 1]

    def behind(self, at: At) -> float:
        """Tube behind the die as the swing begins [mm]."""
        return self.views[at.leads].length + at.trim_tail - self.start(at)

    def ahead_length(self, at: At) -> float:
        """The straight that follows the arc just formed, or all of the leading end [mm]."""
        view = self.views[at.leads]
        return view.straights[at.bend - 1] if at.ahead < at.bend else view.starts[at.bend - 1] + at.trim_lead

    def to_next(self, at: At) -> tuple[float, float]:
        """The straight between this bend and the next one [mm], and the rotation from plane to plane [rad]."""
        view = self.views[at.leads]
        return view.straights[at.bend], view.rotations[at.bend]

    def in_die(self, at: At) -> Tube:
        """The leading part as the dies close; its first piece is the straight that the clamp holds."""
        return walked(self.views[at.leads].ahead_of(at.bend, at.ahead, at.trim_lead), self.side)

    def standing(self, at: At) -> Tube:
        """The leading part after the bend; its first piece is the arc just formed, with its tail end at the die."""
        arc = ("arc", self.clr, self.angle(at))
        return walked([arc, *self.views[at.leads].ahead_of(at.bend, at.ahead, at.trim_lead)], self.side)

    def eased(self, at: At, y: float) -> Tube:
        """The standing tube advanced by y [mm], with the straight that came out of the die; that is the last piece."""
        parts = self.standing(at).moved(shift=y), self.straight(y)
        return Tube(*(np.concatenate(pair) for pair in zip(*(vars(part).values() for part in parts), strict=True)))

    def straight(self, length: float) -> Tube:
        """Straight tube from the tangent point along the feed [mm]."""
        return walked([("straight", length, 0.0)], self.side)
