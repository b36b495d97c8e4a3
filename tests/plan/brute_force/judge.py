"""A job's motions one after the other, each bend with the clamp that does best, and the chuck as it turns."""

from __future__ import annotations

import math

from tests.plan.brute_force.bending import Bending
from tests.plan.brute_force.carriage import Carriage
from tests.plan.brute_force.homing import Home, Homing, Room
from tests.plan.brute_force.leading_part import At, LeadingParts
from tests.plan.brute_force.legs import Legs
from tests.plan.brute_force.loads import FREE_HANDS, Loads
from tests.plan.brute_force.moves import Move, Moves, Ways
from tests.plan.brute_force.orders import Bend, Job, goes_on
from tests.plan.brute_force.sampled import CLEAR, STRUCK, UNSURE
from tests.plan.brute_force.set_up import SetUp
from tests.plan.brute_force.shop_rules import Kept, ShopRules
from tests.plan.brute_force.surroundings import Surroundings
from tests.plan.brute_force.tube import own_gap

WHOLE_TURN = 2.0 * math.pi

Stands = dict[float, int]
"""Where a chuck of limited range may stand [rad], and the best verdict of getting there."""


class Judge:
    """All motions of a part's jobs on a machine; what one job has shown of a motion serves all the others."""

    def __init__(self, set_up: SetUp, rules: ShopRules) -> None:
        self.views, self.reach, self.rules = set_up.views, set_up.carriage.reach, rules
        self.rotation = set_up.machine.rotation
        self.about = about = Surroundings(set_up)
        assert own_gap(self.views["A"], about.radius) > about.itself + 1.0, (
            "the drawing's own gap would cap what the tube must keep"
        )
        self.leading = LeadingParts(self.views, about.side, about.clr)
        self.bending, self.carriage = Bending(self.leading, about), Carriage(self.leading, about)
        legs = Legs(self.leading, about)
        self.homing, self.moves = Homing(self.leading, about, legs), Moves(self.leading, about, legs, self.carriage)
        self.loads = Loads(self.leading, about, legs)

    def verdict(self, job: Job, kept: Kept) -> int:
        """The worst of the job's bends, each with the best clamp, of the moves between them, of its loads and unloads.

        The bends are looked at first, and how the tube goes on and comes off where all else may go.
        """
        if any(min(self._bent(job, i, kept).values()) == STRUCK for i in range(len(job))):
            return STRUCK
        found = self._walked(job, kept, False)
        return found if found == STRUCK else self._walked(job, kept, True)

    def _walked(self, job: Job, kept: Kept, passages: bool) -> int:
        worst = CLEAR
        chuck: Stands = {0.0: CLEAR}
        for i, at in enumerate(job):
            bent = self._bent(job, i, kept)
            if passages:
                passed = {
                    c: STRUCK if verdict == STRUCK else self._passed(job, i, kept, c) for c, verdict in bent.items()
                }
                bent = {c: max(verdict, passed[c]) for c, verdict in bent.items()}
            if at.how in ("link", "re-grip"):
                moves = {c: self._moved(job, i, kept, c) for c in bent}
                best = (min(max(bent[c], moves[c][0]) for c in bent), min(max(bent[c], moves[c][1]) for c in bent))
                chuck = self._turned(chuck if at.how == "link" else {0.0: min(chuck.values())}, at, best)
                worst = max(worst, min(chuck.values(), default=STRUCK))
            else:
                chuck = {0.0: CLEAR}
                worst = max(worst, min(bent.values()))
            if worst == STRUCK:
                break
        return worst

    def _bent(self, job: Job, i: int, kept: Kept) -> dict[float, int]:
        """The i-th bend and the arm's way home after it, with each clamp that finds room."""
        at, place, window = job[i], at_the_die(job[i], kept), kept.windows[i]
        if at.released:
            carried = self.carriage.waiting(place)
        else:
            after = kept.windows[i + 1] if goes_on(job, i) else window
            carried = self.carriage.in_bend(place, window, after, self.rules.anywhere(at))
        held = {c: max(carried, self.bending.verdict(place, c)) for c in self.rules.clamps(at)}
        homes = {c: self._home(job, i, kept, c).verdict for c, verdict in held.items() if verdict != STRUCK}
        return {c: max(verdict, homes.get(c, STRUCK)) for c, verdict in held.items()}

    def _passed(self, job: Job, i: int, kept: Kept, clamp: float) -> int:
        """The tube put on before the i-th bend and taken off after it, where a load begins or ends there.

        With a mandrel it comes from the front; the carriage runs to its hold, and back.
        """
        at, place, window = job[i], at_the_die(job[i], kept), kept.windows[i]
        mandrel, passed = self.about.machine.mandrel is not None, CLEAR
        if at.how not in ("link", "re-grip"):
            passed = self.carriage.runs(place, window, self.rules.anywhere(at))
            if mandrel and passed != STRUCK:
                passed = max(passed, self.loads.put_on(place, clamp))
        if at.released:
            passed = max(passed, min(UNSURE, self.carriage.runs(place, window, self.rules.anywhere(at))))
        if passed != STRUCK and not goes_on(job, i):
            home = self._home(job, i, kept, clamp)
            if not at.released and home.stands is not None:
                stood = 0.0 if home.by_hand else home.stands
                passed = max(passed, self.carriage.runs_back(place, window[1], stood))
            if mandrel:
                passed = max(passed, self.loads.taken_off(place, clamp, home))
        return passed

    def _home(self, job: Job, i: int, kept: Kept, clamp: float) -> Home:
        """The arm goes home past the standing tube, or past the tube run forward as far as the carriage goes.

        After the last bend of a load the collet may be opened, and the tube run forward by hand.
        """
        at, view = job[i], self.views[job[i].leads]
        place, end = at_the_die(at, kept), view.ends[at.bend - 1]
        trim = self.rules.part.trim_b if at.leads == "A" else self.rules.part.trim_a
        anyhow = view.length + trim - self.rules.carriage.grip_length - end - self.reach[0]
        if goes_on(job, i):
            held, off = kept.windows[i + 1][1] - end - self.reach[0], None
            if not self.rules.carriage.may_go_back:
                held, anyhow = (min(way, view.straights[at.bend]) for way in (held, anyhow))
        else:
            held = 0.0 if at.released else kept.windows[i][1] - end - self.reach[0]
            off = view.length + place.trim_tail - end + self.about.reach + FREE_HANDS
        return self.homing.home(place, clamp, Room(max(held, 0.0), max(anyhow, 0.0), off))

    def _moved(self, job: Job, i: int, kept: Kept, clamp: float) -> Ways:
        """The move to bend i from the one before it in the load, the shorter and the longer way round."""
        before, window = job[i - 1], kept.windows[i]
        view = self.views[before.leads]
        farthest = window[1] - view.ends[before.bend - 1] - self.reach[0]
        if not self.rules.carriage.may_go_back:  # past the next bend there is no way back to it
            farthest = min(farthest, view.straights[before.bend])
        move = Move(at_the_die(before, kept), clamp, window, farthest)
        ways = [self.moves.ways(move, self._home(job, i - 1, kept, held)) for held in self.rules.clamps(before)]
        return (min(way[0] for way in ways), min(way[1] for way in ways))

    def _turned(self, chuck: Stands, at: Bend, best: Ways) -> Stands:
        """Where the chuck may stand after a move, the shorter or the longer way round."""
        limits = self.rotation.range
        if limits == "continuous":
            return {0.0: max(min(chuck.values()), min(best))}
        roll = self.views[at.leads].rotations[at.bend - 1]
        ways = (roll, roll - math.copysign(WHOLE_TURN, roll)) if abs(roll) > 1e-9 else (0.0,)
        after: Stands = {}
        for stands, known in chuck.items():
            for way, verdict in zip(ways, best, strict=False):
                angle = round(stands + way, 9)
                if limits[0] - 1e-6 <= angle <= limits[1] + 1e-6:
                    after[angle] = min(after.get(angle, STRUCK), max(known, verdict))
        return after


def at_the_die(at: Bend, kept: Kept) -> At:
    """The bend with its trims as they lie in front of it and behind."""
    a, b = kept.trims
    return At(at.leads, at.ahead, at.bend, *((a, b) if at.leads == "A" else (b, a)))
