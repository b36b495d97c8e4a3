"""The tube laid in, put on and taken off: loads of a plan under way.

The collet is open meanwhile and the carriage stands back; it runs forward to its hold before the readouts are set to 0,
and back before the tube is taken off. A tube that the arm would push on its way home may be drawn off past it first.
"""

from __future__ import annotations

from planner.audit.standing import Load, Now, Step, begins, changes, near, number, position, refused
from planner.audit.under_way import UnderWay
from planner.tolerances import CLEAR_OF_NOSE, WRITTEN


class Loading(UnderWay):
    """Loads, and what is done by hand."""

    def lay_in(self, step: Step) -> None:
        """Lay the tube in: bare, turned end for end, or put back the same way round."""
        self._begin_load(step)
        bend = self.bend_of(step, self.next_bend()["bend"])
        if self.load.formed:
            if bend - 1 not in self.load.formed:
                raise refused(step, f"bend {self.next_bend()['bend']} does not lie next behind the formed ones")
            self._rolled_for(bend)
        self._place(step, bend)
        if (step["from"] is None) != (self.machine.mandrel is None):
            raise refused(step, "the way on to the mandrel is missing, or there is no mandrel")
        if step["from"] is None:
            self._in_place()
            return
        self.now.by_hand, self.now.y = "load", position(step, "from", "y")
        self.now.roll = position(step, "from", "rotation")
        self._free(step)
        self._leg(step)

    def _begin_load(self, step: Step) -> None:
        event, leads = step["action"], step["leads"]
        before = self.loads[-1].leads if self.loads else None
        wanted = "load" if before is None else "reload" if leads == before else "turn"
        if leads not in ("A", "B") or event != wanted:
            raise refused(step, f"end {leads} leads, and {'none' if before is None else f'end {before}'} led before")
        if self.loaded or self.now.closed or self.now.arm != 0.0:
            raise refused(step, "the tube has not been taken off, the dies are closed or the arm is not at home")
        lead, tail = self.trims if leads == "A" else self.trims[::-1]
        self.loads.append(Load(event, leads, self.built.formed(leads), lead, tail))
        self.now, self.stood, self.bent = Now(), None, None
        self.carry, self.off, self.loaded = 0.0, 0.0, True

    def _rolled_for(self, bend: int) -> None:
        """A formed tube is rolled as the rotation to its next bend is printed, to what the dial shows."""
        resolution, leads = self.machine.rotation.resolution, self.load.leads
        drawn = self.built.rotation_drawn(leads, bend)
        roll = round(drawn / resolution) * resolution
        self.built.turn(leads, bend, roll)
        self.carry = drawn - roll
        begins_at = float(self.built.view(leads).bend_starts[bend - 2])
        self.off = begins_at - self.built.start_drawn(leads, bend - 1)

    def _place(self, step: Step, bend: int) -> None:
        """Find where the tube is laid: by the collet's hold, without a carriage flush or by the bend ahead."""
        now, load = self.now, self.load
        view = self.built.view(load.leads)
        ahead = float(view.bend_ends[bend - 2]) if load.formed else -load.trim_lead
        carriage = self.machine.carriage
        if carriage is None:
            shown = self.machine.advance.resolution
            straight = float(self.part_seen().straights[bend - 1]) if load.formed else 0.0
            now.tangent_u = ahead + round(straight / shown) * shown
        else:
            running = next((one for one in self.coming if one["action"] in ("carriage forward", "bend")), step)
            if running["action"] != "carriage forward":
                raise refused(step, "the carriage does not run forward to hold the tube")
            held, length = number(running, "grip"), carriage.grip_length
            if held < length - WRITTEN or (not carriage.passes_through and held > length + WRITTEN):
                raise refused(step, f"the collet holds {held:.3f} mm from the tail's end, its grip is {length:g} mm")
            now.face = carriage.waits_at
            now.tangent_u = self.tail_end - held - position(running, "to", "face")
        if abs(now.tangent_u - ahead) <= WRITTEN:
            now.tangent_u = ahead
        if now.tangent_u < ahead:
            raise refused(step, f"it stands {ahead - now.tangent_u:.3f} mm too far back")
        self.hold_grip(step)

    def _free(self, step: Step) -> None:
        """Refuse a way on that begins, or a way off that ends, where the tube is still on the rod."""
        if self.machine.mandrel is None:
            raise refused(step, "there is no mandrel to come from or to leave")
        free = self.tail_end - self.now.tangent_u + self.reach + CLEAR_OF_NOSE
        if self.now.y < free - WRITTEN:
            raise refused(step, f"at an advance of {self.now.y:.3f} mm it is on the rod, {free:.3f} mm is clear of it")

    def _in_place(self) -> None:
        self.now.by_hand = None
        self.now.y = self.now.roll = 0.0
        self.now.due = self.zero_due if self.machine.carriage is None else "carriage forward"

    @property
    def zero_due(self) -> str | None:
        """What is due at a load and at the end of a bend: that the readouts are set to 0, where they are."""
        return "zero" if self.machine.advance.zeroed or self.machine.rotation.zeroed else None

    def by_hand(self, step: Step) -> None:
        """A leg of the way on or off, moved by hand."""
        if self.now.by_hand is None:
            if self.bent is None or self.now.closed or self.now.arm != 0.0 or self.machine.mandrel is None:
                raise refused(step, "nothing is moved by hand here")
            self.now.by_hand, self.now.roll = "unload", 0.0
        self._leg(step)

    def _leg(self, step: Step) -> None:
        now = self.now
        for name, value in (("y", now.y), ("rotation", now.rotation + now.roll), ("arm", 0.0), ("face", now.face)):
            near(step, f"where it begins, {name}", step["from"][name], value)
        self.hold_grip(step)
        way, turn = (position(step, "to", name) - position(step, "from", name) for name in ("y", "rotation"))
        if step["action"] == "advance":
            near(step, "the amount", number(step, "amount"), way)
        elif step["action"] == "rotate":
            near(step, "the amount", number(step, "amount") * sign_of(step), turn)
        if (way != 0.0) == (turn != 0.0) or (step["action"] == "rotate") != (turn != 0.0):
            raise refused(step, "it is neither pushed alone nor rotated alone")
        changes(step, y=way, rotation=turn)
        self.shift(step, way, turn, "place")
        if now.by_hand == "load" and abs(now.y) <= WRITTEN and abs(now.roll) <= WRITTEN:
            self._in_place()

    def unload(self, step: Step) -> None:
        """Take the tube off, past the standing arm if that is out; after the last bend that is the end of it."""
        now, mandrel = self.now, self.machine.mandrel
        if now.closed or self.bent is None or not self.loaded:
            raise refused(step, "the dies are closed, or no bend has been made")
        if now.held is not None:
            raise refused(step, "the collet holds the tube")
        if (step["from"] is None) != (mandrel is None):
            raise refused(step, "the way off the mandrel is missing, or there is no mandrel")
        if step["from"] is not None:
            self._drawn_off(step) if now.arm != 0.0 else self.by_hand(step)
            self._free(step)
        elif step["checked"]:
            raise refused(step, "how it comes off is not looked at, and it says that it is")
        self.loaded = False
        if now.arm != 0.0:
            self.now = Now(arm=now.arm, due="return")
            return
        self._taken_off()

    def _drawn_off(self, step: Step) -> None:
        """Draw the tube off straight, the arm standing out."""
        if step["bend"] is not None:
            raise refused(step, "it is moved by hand")
        begins(step, self.now)
        way = position(step, "to", "y") - self.now.y
        changes(step, y=way)
        self.hold_grip(step)
        self.shift(step, way, 0.0, "return")

    def home_without_tube(self, step: Step) -> None:
        """The arm goes home, the tube taken off."""
        if self.bent is None or step["from"] is not None or step["to"] is not None:
            raise refused(step, "it is not the arm's way home without the tube")
        self.names(step, self.bent.number)
        self.hold_grip(step)
        self._taken_off()

    def _taken_off(self) -> None:
        self.done = all(one["action"] != "bend" for one in self.coming)
        self.now, self.bent = Now(), None


def sign_of(step: Step) -> float:
    """Return +1 for a rotation clockwise seen along the feed, −1 for one counter-clockwise."""
    if step["way"] not in ("clockwise", "counter-clockwise"):
        raise refused(step, f"it is rotated {step['way']}")
    return 1.0 if step["way"] == "clockwise" else -1.0
