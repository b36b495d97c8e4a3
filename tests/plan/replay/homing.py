"""The arm's ways home, step by step: run forward, partial returns, tube and arm together, by hand or by the machine."""

from __future__ import annotations

from tests.plan.replay.motions import Body, Pair
from tests.plan.replay.steps import SAME, Document, Steps


class WaysHome(Steps):
    """What is done between the dies' opening and the next place."""

    def _run_forward(self, step: Document) -> None:
        """The tube is run forward with the arm standing, by the machine or by hand."""
        assert self.just_formed
        assert not self.turned
        by_hand = step["reading"] is None
        assert self.holds != by_hand or self.face is None, "a readout goes with the carriage"
        assert by_hand or self.machine["head"].get("may_ease_off"), "the machine does not ease the tube off the die"
        self._run(step, "the arm standing", by_hand)

    def _return(self, step: Document) -> None:
        """The arm goes home, or part of the way, the tube standing or run forward meanwhile."""
        if step["from"] is None:
            assert self.off, "the arm comes through the tube unseen"
            self.arm, self.forward = 0.0, 0.0
            return
        assert step["to"]["arm"] < step["from"]["arm"]
        if step["to"]["y"] != step["from"]["y"]:
            assert self.holds
            assert self.machine["head"].get("homes_with_tube"), "the carriage does not run while the arm goes home"
            self._run(step, "together")
        else:
            self._run(step, "the tube standing")

    def _die_down(self, step: Document) -> None:
        """The die goes down, the arm standing where the bend left it."""
        assert self.just_formed
        assert not self.turned
        assert self.arm > 0.0
        self._die_moves(step, (0.0, self.machine["head"].get("die_drops") or 0.0))

    def _die_up(self, step: Document) -> None:
        """The die comes up again, the tube at its next bend."""
        self._at_home()
        self._die_moves(step, (self.lowered, 0.0))

    def _die_moves(self, step: Document, drop: Pair) -> None:
        self._begins(step)
        self._only(step)
        assert abs(step["amount"] - abs(drop[1] - drop[0])) <= SAME
        assert drop[0] == self.lowered != drop[1]
        at = (self.at, self.at)
        ahead = Body("ahead", self._standing(), roll=(self._roll(),) * 2, shift=(self.y, self.y))
        slides = self.just_formed and not self.turned
        self._add(
            step, "die drops", (ahead, *self._beside(at)), at, slides=slides, forward=(self.forward,) * 2, drop=drop
        )
        self.lowered = drop[1]

    def _run(self, step: Document, what: str, by_hand: bool = False) -> None:
        """One leg of a way home. The pressure die goes home as the arm first moves."""
        self._begins(step)
        first, last = step["from"], step["to"]
        way, back = last["y"] - first["y"], last["arm"] - first["arm"]
        assert (way != 0.0) == (what != "the tube standing")
        assert (back != 0.0) == (what != "the arm standing")
        assert step["action"] == "unload" or abs((step["amount"] or 0.0) - way) <= SAME
        self._only(step, y=way, arm=back, face=-way if self.holds else 0.0)
        at = (self.place + first["y"], self.place + last["y"])
        ahead = Body("ahead", self._standing(), roll=(self._roll(),) * 2, shift=(first["y"], last["y"]))
        left = 0.0 if back else self.forward
        bodies = (ahead, *self._beside(at))
        self._add(step, "return", bodies, at, slides=True, by_hand=by_hand, forward=(self.forward, left))
        self._ends(step)
        self.forward = left
