"""One bend at the die: the dies close, the arm swings to the setting, the tube springs back, the dies open."""

from __future__ import annotations

import math

from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.sampled import STILL, Checks
from tests.plan.brute_force.solids import TAIL, Solid
from tests.plan.brute_force.surroundings import EASE, Surroundings
from tests.plan.brute_force.tube import walked


class Bending:
    """Every bend, judged once; the carriage's own solids are judged apart."""

    def __init__(self, leading: LeadingParts, about: Surroundings) -> None:
        self.leading, self.about = leading, about
        self.known: dict[At, dict[float, int]] = {}

    def verdict(self, at: At, clamp: float) -> int:
        """Dies close, bend, dies open."""
        if at not in self.known:
            checks = self.swing(at)
            self._close_and_open(checks, at)
            self.known[at] = self.about.by_clamp(checks)
        return self.known[at][clamp]

    def swing(self, at: At) -> Checks:
        """The swing from home to the setting."""
        about, checks = self.about, Checks(self.about.radius)
        tube, feed, angle = self.leading.in_die(at), self.leading.feed(at), self.leading.swing(at)
        first, beyond = tube.take(slice(0, 1)), tube.take(slice(1, None))
        swing = about.swinging(angle)
        checks.add("all", tube, about.frame, about.need(tube.total, feed), swing)
        checks.add("all", beyond, about.wiper, about.apart, swing)
        # The die turns about its own axis, arm solids with the arm: nothing moves between them and the leading part.
        checks.add("all", beyond, [about.die], about.apart)
        checks.add("all", tube, about.hub, about.apart)
        checks.add("all", beyond, about.arm, about.need(tube.total + feed))
        followed = swing._replace(way=-about.follows(feed))
        checks.add("all", beyond, [about.pressure("closed")], about.apart, followed)
        checks.add("all", tube, about.slide("closed"), about.need(tube.total, feed), followed)
        about.past_section(checks, beyond, {0: EASE}, STILL)
        about.past_rod(checks, beyond, {}, swing, False)
        tail = Solid(TAIL, (self.leading.behind(at), -feed, about.radius))
        checks.add("all", beyond, [tail], about.itself, swing)
        if angle > math.pi / 2.0:
            late = swing._replace(first=math.pi / 2.0 / angle)
            checks.add("all", first, [tail], about.itself, late)
            about.past_rod(checks, first, {}, late, False)
        for clamp in about.clamps:
            checks.add(clamp, first, about.arm, about.apart, cut=clamp)
        self._formed(checks, at, tube.total + feed)
        return checks

    def _formed(self, checks: Checks, at: At, ahead: float) -> None:
        """The arc as it is formed, against what it may come near to in the die and when the arm stands at the setting."""
        about, angle = self.about, self.leading.swing(at)
        arc = walked([("arc", about.clr, angle)], about.side)
        checks.add("all", arc, about.frame, about.need(ahead))
        forward = about.follows(self.leading.feed(at))
        checks.add("all", arc, about.slide("closed", (forward, forward)), about.need(ahead))
        about.past_rod(checks, arc, {0: math.pi * about.clr}, STILL, False)
        checks.add("all", arc, about.hub, about.apart)
        checks.add("all", about.swung(arc, -angle), about.arm, about.need(ahead))

    def _close_and_open(self, checks: Checks, at: At) -> None:
        """Pressure die and clamp over all of their travel, as the dies close and again as the tube has sprung back."""
        about, tube, feed = self.about, self.leading.in_die(at), self.leading.feed(at)
        far, earlier, beyond = tube.take(slice(1, 2)), tube.take(slice(2, None)), tube.take(slice(1, None))
        angle, forward = self.leading.swing(at), about.follows(feed)
        back = about.swinging(self.leading.angle(at) - angle)
        checks.add("all", beyond, [about.pressure("travel")], about.apart)
        checks.add("all", tube, about.slide("travel"), about.need(tube.total))
        swung = about.swung(beyond, angle)
        checks.add("all", swung, [about.pressure("travel", (forward, forward))], about.apart, back)
        bent, need = about.swung(tube, angle), about.need(tube.total + feed)
        checks.add("all", bent, about.slide("travel", (forward, forward)), need, back)
        about.past_section(checks, beyond, {0: EASE}, back)
        checks.add("all", tube, about.arm, about.need(tube.total + feed), back)
        for clamp in about.clamps:
            for solid, motion in ((about.clamp(clamp, opened=False), STILL), (about.clamp(clamp), back)):
                checks.add(clamp, far, [solid], EASE, motion)
                checks.add(clamp, earlier, [solid], about.apart, motion)
