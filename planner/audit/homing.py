"""The arm's way home after a bend, and the carriage's runs along the tail with its collet open.

The grip section would push what still lies in it: so the tube is run forward out of it first, the arm standing, or goes
forward together with the arm, where the machine can. After the last bend of a load that may be done by hand, the collet
open.
"""

from __future__ import annotations

from dataclasses import replace

from planner.audit import motions
from planner.audit.loading import Loading
from planner.audit.readings import advance_shows
from planner.audit.standing import Step, begins, changes, near, number, position, refused


class Homing(Loading):
    """What is done between a bend and the next place, or the unloading."""

    # The arm's way home

    def run_forward(self, step: Step) -> None:
        """Run the tube forward out of the groove, the arm standing where it is: by the carriage, or by hand."""
        if self.now.lowered or self.before not in ("open dies", "zero", "return", "run forward", "carriage back"):
            raise refused(step, "the tube is not on the arm's way home")
        self._after_bend(step)
        now, way = self.now, number(step, "amount")
        if way <= 0.0:
            raise refused(step, f"it is run forward by {way:g} mm")
        if step["reading"] is None:
            if now.held is not None or not self.last_of_load():
                raise refused(step, "the tube is moved by hand only once the collet is open, to be taken off")
        elif self.machine.carriage is not None and now.held is None:
            raise refused(step, "the collet is open")
        elif now.arm != 0.0 and not self.machine.head.may_ease_off:
            raise refused(step, "the machine cannot run the tube forward before the arm is home")
        begins(step, now)
        changes(step, y=way, face=self.along(way))
        self.hold_grip(step)
        if step["reading"] is not None:
            advance_shows(step, self.machine, self.load, now)
        self.shift(step, way, 0.0, "return")

    def home(self, step: Step) -> None:
        """The arm goes home or part of the way, past the standing tube or together with it; or without it."""
        if not self.loaded:
            self.home_without_tube(step)
            return
        self._after_bend(step)
        now = self.now
        way, arm = position(step, "to", "y") - position(step, "from", "y"), position(step, "to", "arm")
        y = (now.y, now.y + way)
        if not 0.0 <= arm < now.arm:
            raise refused(step, f"the arm goes from {now.arm:.3f}° to {arm:.3f}°")
        if way != 0.0:
            self._together(step, way)
        else:
            near(step, "the amount", step["amount"], None)
            near(step, "the reading", step["reading"], None)
        begins(step, now)
        changes(step, arm=arm - now.arm, y=way, face=self.along(way))
        self.hold_grip(step)
        standing = self.standing()
        roles = motions.standing_roles(standing, True)
        bodies = [motions.ahead(standing.fed(y[0]), roles, shift=way), *self.beside(y, way != 0.0)]
        reach = standing.total
        self.add(
            step, "return", bodies, (reach + y[0], reach + y[1]), self.tail_end - now.tangent_u - y[0],
            pressure=(now.forward, 0.0), slides=True, past=y[0], **self.arc(),
        )  # fmt: skip
        self.fed_to(y[1])
        now.arm, now.forward = arm, 0.0

    def die_down(self, step: Step) -> None:
        """The die goes down, the arm standing where the bend left it."""
        if self.before not in ("open dies", "zero"):
            raise refused(step, "the die goes down only once the dies are open")
        self._after_bend(step)
        self._die_moves(step, (0.0, self.machine.head.die_drops))

    def die_up(self, step: Step) -> None:
        """The die comes up again, the tube at its next bend."""
        if self.now.closed or self.now.arm != 0.0 or self.now.by_hand is not None or not self.loaded:
            raise refused(step, "the die cannot come up here")
        self.names(step, self.next_bend()["bend"])
        self._die_moves(step, (self.now.lowered, 0.0))

    def _die_moves(self, step: Step, drop: tuple[float, float]) -> None:
        way = abs(drop[1] - drop[0])
        if way == 0.0 or drop[0] != self.now.lowered:
            raise refused(step, "the machine's die does not drop, or it stands there already")
        near(step, "how far the die goes", number(step, "amount"), way)
        begins(step, self.now)
        changes(step)
        self.hold_grip(step)
        self.shift(step, 0.0, 0.0, "die drops", drop=drop)
        self.now.lowered = drop[1]

    def _together(self, step: Step, way: float) -> None:
        """Refuse tube and arm that go together where the machine cannot, and not forward; hold what is shown."""
        if way < 0.0 or not self.machine.head.homes_with_tube:
            raise refused(step, f"the machine cannot run the tube by {way:g} mm while the arm goes home")
        if self.machine.carriage is not None and self.now.held is None:
            raise refused(step, "the collet is open")
        near(step, "the amount", number(step, "amount"), way)
        advance_shows(step, self.machine, self.load, self.now)

    def _after_bend(self, step: Step) -> None:
        """Refuse what belongs to the arm's way home where no bend has just been made."""
        now, bent = self.now, self.bent
        out = now.arm != 0.0 or step["action"] == "run forward"
        if now.closed or bent is None or now.arc is None or now.turned or now.by_hand is not None or not out:
            raise refused(step, "no bend has just been made with the dies open, or the arm is at home")
        self.names(step, bent.number)

    # The carriage, its collet open

    def open_collet(self, step: Step) -> None:
        """The collet opens: to take the tube off after a load's last bend, or before the job's last bend is made."""
        now, carriage, bent = self.now, self.machine.carriage, self.bent
        if carriage is None or now.held is None or bent is None or now.by_hand is not None:
            raise refused(step, "the collet cannot be opened here")
        last = sum(one["action"] == "bend" for one in self.coming)
        if now.closed and not (carriage.finish_released and last == 1 and now.arm == 0.0):
            raise refused(step, "the collet may not be opened while the dies grip, but for the job's last bend")
        if not now.closed and not self.last_of_load():
            raise refused(step, "the collet may not be opened: another bend is to be made")
        self.names(step, bent.number)
        now.held = None
        self.hold_grip(step)
        if now.closed:
            self.bent = replace(bent, released=True)
        now.due = "carriage back"

    def carriage_back(self, step: Step) -> None:
        """The carriage runs back along the tail to where it waits."""
        carriage = self.machine.carriage
        if carriage is None or self.now.due != step["action"]:
            raise refused(step, "the carriage holds the tube, or stands back already")
        self._run(step, carriage.waits_at)
        self.now.due = None

    def carriage_forward(self, step: Step) -> None:
        """The carriage runs forward along the tail to its hold, and the collet closes."""
        if self.now.due != step["action"]:
            raise refused(step, "the carriage has its hold already")
        face = position(step, "to", "face")
        self.now.held = self.now.tangent_u + face
        self.load.holds.append(self.now.held)
        self._run(step, face)
        self.now.due = self.zero_due

    def _run(self, step: Step, face: float) -> None:
        """Run the carriage along the tube until the collet's face is at a place [mm]; all else stands."""
        now = self.now
        self.names(step, self.next_bend()["bend"] if self.bent is None else self.bent.number)
        assert now.face is not None  # there is a carriage
        way = face - now.face
        near(step, "the amount", number(step, "amount"), abs(way))
        begins(step, now)
        changes(step, face=way)
        self.hold_grip(step)
        if self.gripped is not None and now.closed:
            bodies: list[motions.Body | None] = [motions.ahead(self.gripped, motions.gripped_roles(self.gripped))]
            reach = self.gripped.total
        else:
            chain = self.standing()
            roles = motions.standing_roles(chain, now.arc is not None)
            bodies, reach = [motions.ahead(chain.fed(now.y), roles), *self.beside((now.y, now.y))], chain.total + now.y
        self.add(step, "carriage run", bodies, (reach, reach), self.tail_end - self.at)
        now.face = face
