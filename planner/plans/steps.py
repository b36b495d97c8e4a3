"""The step list: a carried-out order as what the operator does, with readings, clearances and cautions."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from planner.clearance.certify import Least
from planner.facts import Fact, angle, fact, length, six_digits
from planner.feasibility.loading import Passage
from planner.feasibility.stations import Station, Stationed
from planner.feasibility.whole_order import BendDone, Trial, passes_of
from planner.plans import cautions
from planner.plans.arm_sweep import arm_reach
from planner.plans.document import Step
from planner.plans.laying_in import bare_tube, draw_off, drawn_off, formed_tube, hold, put_on, run_forward, stand_back
from planner.plans.nearest import nearest
from planner.plans.readings import Now, advance_reading, degrees, dial_reading, position
from planner.plans.sag import Sag
from planner.plans.swing import reach_about_die, reach_about_feed, speed_of, swing_of
from planner.tolerances import PLACE_DECIMALS
from planner.tube.bodies import Motion, Phase
from planner.wording.say import say

SAID = ("note", "caution")
"""What a step says in sentences."""


class StepList:
    """Writes the steps of one carried-out order, in order, and adds up their time [s].

    moved: the motions of the steps that were certified, by the number of the step.
    """

    def __init__(self, trial: Trial, least: dict[Motion, Least], sags: dict[Motion, Sag] | None = None) -> None:
        assert trial.loads is not None  # only an order carried out to the end has steps
        self.stationed: Stationed = trial.stationed
        self.machine = trial.stationed.ready.case.machine
        self.radius = trial.stationed.as_built.radius
        self.loads = trial.loads
        self.least, self.sags = least, sags or {}
        self.steps: list[Step] = []
        self.moved: dict[int, Motion] = {}
        self.now = Now()

    def write(self) -> tuple[Step, ...]:
        """Return all steps from the first load to the last check."""
        for number, done in enumerate(self.loads):
            self._begin_pass(number, done[0])
            self._load(number, done[0])
            for bend in done:
                self._bend(number, bend)
            # On the way to another load it is part of turning or reloading, and of their time.
            last = number == len(self.loads) - 1
            self._off(number, done[-1], self.machine.times.load if last else 0.0)
            self._end_pass(number)
        self._finish()
        return tuple(self.steps)

    def _add(self, action: str, **fields: Any) -> None:
        clamp, grip = self.now.clamp, self.now.grip
        held = {"clamp": clamp, "grip": None if grip is None else round(grip, PLACE_DECIMALS)}
        fields["time"] = round(fields.get("time", 0.0), 3)
        said = {name: _all(fields.pop(name, None)) for name in SAID}
        words = {name: " ".join(map(say, facts)) or None for name, facts in said.items()}
        fields |= {"number": len(self.steps) + 1, "action": action, **held, **words, "fact": said}
        self.steps.append(Step.model_validate(fields))

    def _load(self, number: int, first: BendDone) -> None:
        ready, st = self.stationed.ready, first.station
        load, run = ready.loads[number], ready.order[number]
        self.now = replace(self.now, chuck=0.0, grip=None)
        self._clamp(first.clamp, first.station.number)
        turned = number > 0 and ready.order[number - 1].leads != run.leads
        action = "turn" if turned else "reload" if number > 0 else "load"
        stands = formed_tube(self.stationed, number) if load.formed else bare_tube(self.stationed, number)
        fields: dict[str, Any] = {
            "note": (stands, *stand_back(self.machine)),
            "time": self.machine.times.turn if turned else self.machine.times.load,
            "caution": cautions.TURN if turned else cautions.LOAD,
        }
        if first.put_on is None or not first.put_on.motions:
            self._add(action, leads=run.leads, checked=False, **fields)
        else:
            fields["note"] += (put_on(first.put_on),)
            self._by_hand(first.put_on, st, run.leads, action, fields)
        if first.put_on is not None and first.put_on.run is not None:
            self.now = replace(self.now, grip=load.loaded.stock_behind_zero - load.grips[0].u)
            self._carriage_runs("carriage forward", first.put_on.run, st, run.leads, hold(self.stationed, number))
        self._zero(st, run.leads, fact("at-the-load"))

    def _carriage_runs(self, action: str, motion: Motion, st: Station, leads: str, note: Fact) -> None:
        """Write a run of the carriage along the tail, its collet open."""
        assert motion.face is not None  # of every run
        way = abs(motion.face[1] - motion.face[0])
        self._motion(
            action,
            motion,
            st,
            self.now.chuck,
            leads=leads,
            amount=round(way, PLACE_DECIMALS),
            unit="mm",
            time=way / self.machine.speeds.advance,
            note=note,
            caution=cautions.CARRIAGE,
        )

    def _open_collet(self, motion: Motion, st: Station, leads: str) -> None:
        """Write that the collet is opened and the carriage runs back to where it waits."""
        self.now = replace(self.now, grip=None)
        self._add("open collet", bend=st.number, leads=leads, note=fact("open-collet"))
        assert motion.face is not None  # of every run
        note = fact("stand-it-back", face=length(motion.face[1]))
        self._carriage_runs("carriage back", motion, st, leads, note)

    def _by_hand(self, passage: Passage, st: Station, leads: str, action: str, fields: dict[str, Any]) -> None:
        """Write the legs of a way on or off the rod: the first on or the last off as the step itself."""
        assert passage.path is not None  # else the order were not carried out
        legs = list(zip(passage.motions, passage.path.legs, strict=True))
        main = 0 if passage.way == "load" else len(legs) - 1
        chuck = 0.0 if passage.way == "load" else self.now.chuck
        for place, (motion, leg) in enumerate(legs):
            if place == main:
                self._motion(action, motion, st, chuck, by_hand=True, bend=None, leads=leads, **fields)
                continue
            way = leg.end - leg.start
            amount, unit = (math.degrees(abs(way)), "deg") if leg.kind == "rotate" else (way, "mm")
            named = {"way": "clockwise" if way > 0 else "counter-clockwise"} if leg.kind == "rotate" else {}
            self._motion(
                leg.kind,
                motion,
                st,
                chuck,
                by_hand=True,
                bend=None,
                leads=leads,
                amount=round(amount, PLACE_DECIMALS),
                unit=unit,
                note=fact("by-hand"),
                caution=cautions.BY_HAND,
                **named,
            )

    def _off(self, number: int, done: BendDone, time: float) -> None:
        """Take the tube off after the last bend of a load."""
        leads, off = self.stationed.ready.order[number].leads, done.taken_off
        fields: dict[str, Any] = {"time": time, "caution": cautions.UNLOAD}
        if off is not None and off.run is not None and not done.home.by_hand:
            self._open_collet(off.run, done.station, leads)
        if done.home.drawn_off:
            self._drawn_off(done, leads, fields)
        elif off is None or not off.motions:
            self._add("unload", leads=leads, checked=False, **fields)
        else:
            fields["note"] = draw_off(off)
            self._by_hand(off, done.station, leads, "unload", fields)

    def _drawn_off(self, done: BendDone, leads: str, fields: dict[str, Any]) -> None:
        """Draw the tube off past the standing arm, and bring the arm home without it."""
        st, motion = done.station, done.returning[-1]
        checked = self.machine.mandrel is not None
        note = drawn_off(motion)
        if checked:
            self._motion(
                "unload", motion, st, self.now.chuck, by_hand=True, bend=None, leads=leads, note=note, **fields
            )
        else:
            self._add("unload", leads=leads, checked=False, note=note, **fields)
        self._add(
            "return",
            bend=st.number,
            leads=leads,
            note=fact("arm-goes-home"),
            time=motion.arm[0] / self.machine.speeds.return_,
            caution=cautions.arm_home(self._arm(st)),
        )

    def _begin_pass(self, number: int, first: BendDone) -> None:
        """Fit the tooling of a pass over the batch: the first one's is there as the job begins."""
        radius, of = first.station.radius, [p[0].station.radius for p in passes_of(self.loads)]
        if number > 0 and radius != self.now.radius:
            place = len({step.number for step in self.steps if step.action == "change dies"}) + 2
            note = fact(
                "next-pass", number=place, passes=len(of), radius=six_digits(radius), clamp=six_digits(first.clamp)
            )
            self.now = replace(self.now, clamp=first.clamp, grip=None)
            self._add(
                "change dies",
                bend=first.station.number,
                amount=radius,
                unit="mm",
                caution=cautions.TOOL_CHANGE,
                note=note,
            )
        if number == 0 or radius != self.now.radius:
            self.now = replace(self.now, clamp=first.clamp, radius=radius, begun=first.clamp)

    def _end_pass(self, number: int) -> None:
        """Put back the clamp that the pass began with, after the last load of the pass."""
        last = number == len(self.loads) - 1 or self.loads[number + 1][0].station.radius != self.now.radius
        if last and self.now.begun is not None:
            self._clamp(self.now.begun, None)

    def _clamp(self, clamp: float, bend: int | None) -> None:
        """Change the clamp if the next bend wants another; bend: None where it is put back for the next part."""
        if self.now.clamp == clamp:
            return
        self.now = replace(self.now, clamp=clamp, grip=self.now.grip if bend is not None else None)
        self._add(
            "change clamp",
            bend=bend,
            amount=clamp,
            unit="mm",
            time=self.machine.times.tool_change,
            caution=cautions.TOOL_CHANGE,
            note=fact("fit-clamp", clamp=six_digits(clamp), again="for the next part" if bend is None else None),
        )

    def _zero(self, st: Station, leads: str, when: Fact) -> None:
        readouts = tuple(
            name for name, one in (("advance", self.machine.advance), ("dial", self.machine.rotation)) if one.zeroed
        )
        if readouts:
            self._add("zero", bend=st.number, leads=leads, note=fact("zero", readouts=readouts, when=when))

    def _bend(self, number: int, done: BendDone) -> None:
        st, leads = done.station, self.stationed.ready.order[number].leads
        self._clamp(done.clamp, done.station.number)
        chuck = self.now.chuck
        for motion, leg in zip(done.placing, done.path.legs, strict=False):
            self._moved(number, motion, st, leg.kind, chuck)
        for motion in done.placing[len(done.path.legs) :]:
            self._die_moves("die up", motion, st, chuck, leads)
        self.now = replace(self.now, chuck=chuck + done.path.roll)
        for motion in done.gripping:
            if motion.phase is Phase.LOAD:
                continue
            self._gripped(motion, done, leads)
        self._zero(st, leads, fact("at-the-end-of", bend=st.number))
        self._home(number, done)

    def _moved(self, number: int, motion: Motion, st: Station, kind: str, chuck: float) -> None:
        leads = self.stationed.ready.order[number].leads
        if kind == "advance":
            way = motion.y[1] - motion.y[0]
            reading = advance_reading(self.stationed, number, st, motion.y[1])
            self._motion(
                "advance",
                motion,
                st,
                chuck,
                leads=leads,
                amount=round(way, PLACE_DECIMALS),
                unit="mm",
                reading=reading,
                time=abs(way) / self.machine.speeds.advance,
                caution=cautions.long_leading_part(motion.leading_length[1]),
                note=None if way >= 0 else fact("draw-back"),
            )
            return
        turn = motion.rotation[1] - motion.rotation[0]
        self._motion(
            "rotate",
            motion,
            st,
            chuck,
            leads=leads,
            amount=round(math.degrees(abs(turn)), PLACE_DECIMALS),
            unit="deg",
            way="clockwise" if turn > 0 else "counter-clockwise",
            reading=dial_reading(self.machine, chuck, motion.rotation[1]),
            time=abs(turn) / self.machine.speeds.rotate,
            caution=cautions.rotating(reach_about_feed(motion, self.radius)),
        )

    def _gripped(self, motion: Motion, done: BendDone, leads: str) -> None:
        st, times, chuck = done.station, self.machine.times, self.now.chuck
        fields: dict[str, Any] = {"leads": leads}
        if motion.phase is Phase.CLOSE:
            self._motion("close dies", motion, st, chuck, time=times.clamp, caution=cautions.PINCH, **fields)
        elif motion.phase is Phase.RUN:
            self._open_collet(motion, st, leads)
        elif motion.phase is Phase.BEND:
            self._motion(
                "bend",
                motion,
                st,
                chuck,
                angle=degrees(st.angle),
                setting=degrees(st.setting),
                amount=degrees(st.setting),
                unit="deg",
                reading=degrees(st.setting),
                time=st.setting / self.machine.speeds.bend,
                caution=cautions.swinging(max(reach_about_die(motion, self.radius), self._arm(st))),
                **fields,
            )
        elif motion.phase is Phase.REGRIP and st.regrip is not None:
            self.now = replace(self.now, grip=self._grip_after(st))
            limited = self.machine.rotation.range != "continuous"
            note = (fact("regrip"), fact("turn-chuck-back")) if limited else (fact("regrip"),)
            self._motion(
                "re-grip",
                motion,
                st,
                chuck,
                amount=round(st.regrip[1] - st.regrip[0], PLACE_DECIMALS),
                unit="mm",
                time=times.regrip,
                note=note,
                caution=cautions.PINCH,
                **fields,
            )
            if limited:
                self.now = replace(self.now, chuck=0.0)
                turned_back = position(motion, 0.0, 1.0)
                self.steps[-1] = self.steps[-1].model_copy(update={"to": turned_back})
        else:
            self._motion("open dies", motion, st, chuck, time=times.clamp, caution=cautions.SPRINGS_BACK, **fields)

    def _grip_after(self, st: Station) -> float | None:
        for load, stations in zip(self.stationed.ready.loads, self.stationed.loads, strict=True):
            if st in stations:
                following = stations[stations.index(st) + 1].bend
                grip = next(g for g in load.grips if following in g.bends)
                return load.loaded.stock_behind_zero - grip.u
        return None

    def _home(self, number: int, done: BendDone) -> None:
        """Write the arm's way home, by hand once the collet is open."""
        st, leads, home = done.station, self.stationed.ready.order[number].leads, done.home
        if home.by_hand and done.taken_off is not None and done.taken_off.run is not None:
            self._open_collet(done.taken_off.run, st, leads)
        legs = list(zip(done.returning, home.legs, strict=True))
        for motion, leg in legs[:-1] if home.drawn_off else legs:
            if leg.drop[0] != leg.drop[1]:
                self._die_moves("die down", motion, st, self.now.chuck, leads)
                continue
            way, back = leg.y[1] - leg.y[0], leg.arm[0] - leg.arm[1]
            caution = cautions.arm_home(self._arm(st)) if back else cautions.PINCH
            fields: dict[str, Any] = {"leads": leads, "caution": caution}
            fields["time"] = abs(way) / self.machine.speeds.advance + back / self.machine.speeds.return_
            if way:
                said = run_forward(way, back, home.by_hand)
                fields |= {"amount": round(way, PLACE_DECIMALS), "unit": "mm", "note": said}
                if not home.by_hand:
                    fields["reading"] = advance_reading(self.stationed, number, st, leg.y[1], eased=True)
            elif leg.arm[1] > 0.0:
                fields["note"] = fact("as-far-as", angle=angle(leg.arm[1]))
            self._motion("return" if back else "run forward", motion, st, self.now.chuck, home.by_hand, **fields)

    def _die_moves(self, action: str, motion: Motion, st: Station, chuck: float, leads: str) -> None:
        """Write that the die goes down or up by itself."""
        fields: dict[str, Any] = {"leads": leads, "time": self.machine.times.clamp, "caution": cautions.PINCH}
        fields |= {"amount": round(max(motion.drop), PLACE_DECIMALS), "unit": "mm", "note": cautions.FREES_ITSELF}
        self._motion(action, motion, st, chuck, **fields)

    def _finish(self) -> None:
        for end, trim in (("A", self.stationed.ready.trim_a), ("B", self.stationed.ready.trim_b)):
            if trim > 0.0:
                note = fact("cut-off", trim=six_digits(trim), end=end)
                self._add("trim", amount=trim, unit="mm", end=end, note=note, caution=cautions.SAW)
        self._add("check", note=fact("check-first-part"))

    def _motion(
        self, action: str, motion: Motion, st: Station, chuck: float, by_hand: bool = False, **fields: Any
    ) -> None:
        least = self.least.get(motion)
        fields["from"], fields["to"] = position(motion, chuck, 0.0), position(motion, chuck, 1.0)
        if least is not None:
            fields |= nearest(self.stationed, st, motion, chuck, least)
        fields.setdefault("bend", st.number)
        sag = self.sags.get(motion)
        if sag is not None:
            fields |= {"sag": round(sag.deepest, 3), "stand": sag.stand}
            if sag.stand is not None:
                fields["caution"] = (*_all(fields.get("caution")), cautions.hold_up(sag.deepest, sag.stand))
        speed = None if by_hand and motion.arm[0] == motion.arm[1] else speed_of(self.machine, motion)
        self._add(action, swing=swing_of(motion, self.radius, speed, self._arm(st)), **fields)
        self.moved[len(self.steps)] = motion

    def _arm(self, st: Station) -> float:
        """Return how far arm, clamp and section reach from the die axis with the tools in the machine [mm]."""
        tooling = self.machine.tooling_for(2.0 * self.radius, st.radius)
        assert self.now.clamp is not None  # fitted before anything moves
        return math.ceil(arm_reach(self.machine, tooling, self.now.clamp) / 10.0) * 10.0


def _all(said: Fact | tuple[Fact, ...] | None) -> tuple[Fact, ...]:
    return (said,) if isinstance(said, Fact) else said or ()
