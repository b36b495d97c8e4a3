"""The plan document: what a plan says, as data [mm, degrees, seconds].

The document is written for people and for a replay: it carries the part and the machine in full, so that nothing
else is needed to carry out the plan again on a simulated tube. It is the one place inside the program where
angles stand in degrees.
"""

from __future__ import annotations

import json
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from planner.facts import Fact, Value
from planner.wording.say import say

End = Literal["A", "B"]
Verdict = Literal["makeable", "not makeable", "undecided"]
Because = Literal["time limit", "too close", "no path found", "orders not tried", "engines disagree"]
Action = Literal[
    "load",
    "change dies",
    "change clamp",
    "open collet",
    "carriage back",
    "carriage forward",
    "zero",
    "advance",
    "rotate",
    "close dies",
    "bend",
    "open dies",
    "die down",
    "run forward",
    "return",
    "die up",
    "re-grip",
    "turn",
    "reload",
    "unload",
    "trim",
    "check",
]

ChangeKind = Literal[
    "trim",
    "another machine",
    "clearance",
    "carriage travel",
    "rod",
    "pressure die",
    "clamp",
    "machine raised",
    "straight longer",
    "two pieces",
]
"""What can be changed; what touches least comes first."""


class Record(BaseModel):
    """A frozen part of the document; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Position(Record):
    """Where everything stands at one moment.

    y: advance since the end of the bend made last, or since the load [mm]; while bending the tail's feed counts on.
    rotation: angle of the chuck since the load, clockwise seen along the feed is positive [deg].
    arm: angle of the bend arm from home [deg].
    face: collet's face to tangent point [mm], whether it holds the tube or stands open; None on a hand-fed bender.
    """

    y: float
    rotation: float
    arm: float
    face: float | None


class NearestAt(Position):
    """A position and the place on the tube.

    place: stock coordinate from end A of the part, negative in the trim there [mm]. y: as in Position [mm]. rotation:
    as in Position [deg]. arm: as in Position [deg]. face: as in Position [mm].
    """

    place: float


class Swing(Record):
    """How far tube, arm and clamp come round in one motion, the tube's own thickness counted in; upper bounds.

    about: the axis that they turn about, the die's or the feed's; None where it is only pushed along. farthest: from
    that axis, or ahead of the tangent point [mm]. highest, lowest: of the tube, above the centreline's height, negative
    below [mm]. tip_speed: of what lies farthest from the axis [mm/s]; None where nothing but a hand or the tube's
    spring moves it.
    """

    about: Literal["die", "feed"] | None
    farthest: float
    highest: float
    lowest: float
    tip_speed: float | None


class KeepClear(Record):
    """The floor that tube, arm and clamp sweep in the whole plan.

    sentence: how far it reaches, in words. fact: the same as a fact. outline: its corners x, y in turn [mm].
    """

    sentence: str
    fact: Fact
    outline: tuple[tuple[float, float], ...]


class Step(Record):
    """One line of the step list.

    number: from 1. action: what is done. bend: the bend that it is done for, counted from end A. leads: the leading
    end.
    angle: of the bend, as on the drawing [deg]. setting: what the machine is set to so that this angle results [deg].
    amount: how far to advance, or how far to rotate, bend or swing back, as in `unit`.
    unit: of amount and reading.
    reading: what the readout shows when the move is done (rounded to its resolution); None where there is no readout.
    way: which way round the dial goes, for a rotation.
    from: where everything stands before it. to: where everything stands after it.
    grip: distance of the collet's face from the tail end of the stock [mm].
    clamp: length of the clamp die in the machine [mm].
    end: which one is cut off.
    time: it takes [s].
    checked: whether the motion is.
    clearance: proved smallest clearance of the motion, a lower bound, of what moves against the tube in it [mm]; None
    where nothing moves or where the motion is not checked.
    nearest: name of the solid that the clearance is to. nearest_at: where and when.
    sag: how far the end of the leading part hangs below where it is drawn in this motion, at most [mm]; None where that
    was not reckoned, or is nothing. stand: where it has to be held up, along the tube from the tangent point [mm].
    note: what to do, in words. caution: what can go wrong with people or tube at this step.
    swing: how far the tube comes round meanwhile. fact: note and caution as facts.
    """

    number: int
    action: Action
    bend: int | None = None
    leads: End | None = None
    angle: float | None = None
    setting: float | None = None
    amount: float | None = None
    unit: Literal["mm", "deg"] | None = None
    reading: float | None = None
    way: Literal["clockwise", "counter-clockwise"] | None = None
    from_: Position | None = Field(default=None, alias="from")
    to: Position | None = None
    grip: float | None = None
    clamp: float | None = None
    end: End | None = None
    time: float = 0.0
    checked: bool = True
    clearance: float | None = None
    nearest: str | None = None
    nearest_at: NearestAt | None = None
    sag: float | None = None
    stand: float | None = None
    note: str | None = None
    caution: str | None = None
    swing: Swing | None = None
    fact: dict[Literal["note", "caution"], tuple[Fact, ...]] = Field(default_factory=dict)


class Proved(Record):
    """Which claims of the plan are proved, not merely believed.

    makeable: the verdict. reclamps: no plan needs fewer re-clamps. trim: none with as many needs less trim. time: none
    with as much of both takes less time.
    """

    makeable: bool
    reclamps: bool
    trim: bool
    time: bool


class Stock(Record):
    """The tube to cut.

    cut_length: developed length and trim at both ends together [mm]. developed_length: of the finished part along its
    centreline [mm]. trim_a: extra stock at end A [mm]. trim_b: extra stock at end B [mm]. unasked: the ends whose trim
    nobody has stated: they carry some only where nothing goes without, and little of it.
    """

    cut_length: float
    developed_length: float
    trim_a: float
    trim_b: float
    unasked: tuple[End, ...] = ()

    @property
    def more(self) -> dict[End, float]:
        """Extra stock that nobody has stated, by the end that carries it [mm]."""
        trims: dict[End, float] = {"A": self.trim_a, "B": self.trim_b}
        return {end: trims[end] for end in self.unasked if trims[end] > 0.0}


class OrderedBend(Record):
    """A bend and the end that leads while it is made.

    bend: counted from end A, from 1. leads: the end.
    """

    bend: int
    leads: End


class Setup(Record):
    """What is fitted, set and looked at once for the job: before the first tube, and before each pass over the batch.

    list: what to do, in words. time: of fitting the tooling of all passes [s]. fact: the list as facts.
    """

    list: tuple[str, ...] = ()
    time: float = 0.0
    fact: tuple[Fact, ...] = ()


class Short(Record):
    """A solid that the tube comes nearer than is asked for, within what counts as kept.

    solid: its name. needed: what is asked for [mm], negative where the tube may press in. kept: what is proved [mm].
    steps: their numbers.
    """

    solid: str
    needed: float
    kept: float
    steps: tuple[int, ...]


class Reason(Record):
    """One fact with its evidence; sentence: the same in words [mm].

    sentence: the reason in words, with its numbers. fact: the same as a fact. grade: "proved" (a shop rule, a strike)
    or "unproved" (too close to call). rule: its short name. bend: that it is about. leads: the end that leads then.
    order: the order that it is about, where it is about one. solid: what is struck. depth: how deep [mm].
    """

    sentence: str
    fact: Fact
    grade: Literal["proved", "unproved"]
    rule: str
    bend: int | None = None
    leads: End | None = None
    order: tuple[OrderedBend, ...] = ()
    solid: str | None = None
    depth: float | None = None

    @classmethod
    def of(cls, fact: Fact, **evidence: Any) -> Reason:
        """Return a fact as a reason."""
        return cls(sentence=say(fact), fact=fact, **evidence)

    def saying(self, **more: Value) -> Reason:
        """Return the reason with more values in its fact."""
        said = self.fact.saying(**more)
        return self.model_copy(update={"sentence": say(said), "fact": said})


class Alternative(Record):
    """Another plan that no plan found beats in all of re-clamps, trim, time and smallest clearance at once.

    sentence: the same in words. fact: and as a fact. reclamps: their number. trim: of both ends [mm]. time: a part at
    the machine [s]. smallest_clearance: of all its motions, a lower bound [mm]. order: in which the bends are made.
    """

    sentence: str
    fact: Fact
    reclamps: int
    trim: float
    time: float
    smallest_clearance: float | None
    order: tuple[OrderedBend, ...]


class Single(Record):
    """One thing changed.

    kind: what. where: at which end, straight or place. amount: by how much, in `unit`. unit: of the amount. smallest:
    every smaller whole millimetre is proved impossible (of two changes: with the other one made), else it is the
    smallest found.
    """

    kind: ChangeKind
    where: str
    amount: float
    unit: str = "mm"
    smallest: bool


class Change(Record):
    """A change that makes the part possible, verified by planning again with it made.

    sentence: what to change, what it costs on the drawing or at the machine, and what the plan then is. kind: as in
    Single. where: as in Single. amount: as in Single; 0 for another machine, and for two pieces the place of the joint
    behind the bend before it. unit: as in Single. smallest: as in Single. also: a second change that has to be made
    besides. fact: the sentence as a fact.

    verdict: of the plan with the change made. reclamps: of that plan, of two pieces of both together. trim: of that
    plan, of two pieces of both together [mm]. smallest_clearance: of that plan, of two pieces the smaller one [mm].
    parts: what was planned, as documents with a part file's keys, so that it can be tried at once; two for two pieces.
    machine: the same of the profile.
    """

    sentence: str
    fact: Fact
    kind: ChangeKind
    where: str
    amount: float
    unit: str = "mm"
    smallest: bool
    also: Single | None = None
    verdict: Verdict
    reclamps: int
    trim: float
    smallest_clearance: float | None
    parts: tuple[dict[str, Any], ...]
    machine: dict[str, Any]


class Plan(Record):
    """The whole plan document, schema `bendorder-plan/2`: lengths [mm], angles [deg], times [s].

    For "not makeable" the order and the steps are empty and `reasons` say why; for "undecided" they hold the best plan
    so far, if any.

    schema: name and number of this kind of document. fingerprint: SHA-256 of part and machine as they stand here. part:
    the part in full, with a part file's keys [mm, degrees], right-handed. machine: the profile in full, with its file's
    keys [mm, degrees]. verdict: on the part on this machine. undecided_because: why there is no verdict. proved: which
    claims are. opinions: what the engines say of the proved bound where they were asked. confirmed: whether they agree;
    None where only one spoke.

    reclamps: turns, regrips, reloads and released together. turns: the tube put back end for end. regrips: the collet
    takes hold elsewhere. reloads: the tube put back the same way round. released: a last bend with the collet open.
    time: what one part takes at the machine, the tooling fitted, a clamp that is changed on the way put back for the
    next part [s]. cycle_time: the same [s]. smallest_clearance: proved, over all motions of the plan [mm]. keep_clear:
    the floor that is swept. short: where less is kept than is asked for. stock: the tube to cut. order: in which the
    bends are made. steps: the step list. setup: what comes before that, once.

    reasons: why this order, or why none. changes: what would make it possible, where that was asked. alternatives:
    plans better in something else. warnings: what to know of part and profile. cautions: for everyone at the machine.
    hangs_on: the solids that the verdict hangs on. rotation_sign: how the part's file counted rotations. fact: warnings
    and cautions as facts.
    """

    schema_: Literal["bendorder-plan/2"] = Field(default="bendorder-plan/2", alias="schema")
    fingerprint: str
    part: dict[str, Any]
    machine: dict[str, Any]
    verdict: Verdict
    undecided_because: Because | None = None
    proved: Proved
    opinions: dict[str, str] = Field(default_factory=dict)
    confirmed: bool | None = None
    reclamps: int | None = None
    turns: int | None = None
    regrips: int | None = None
    reloads: int | None = None
    released: int | None = None
    time: float | None = None
    cycle_time: float | None = None
    smallest_clearance: float | None = None
    keep_clear: tuple[KeepClear, ...] = ()
    short: tuple[Short, ...] = ()
    stock: Stock | None = None
    order: tuple[OrderedBend, ...] = ()
    steps: tuple[Step, ...] = ()
    setup: Setup = Setup()
    reasons: tuple[Reason, ...] = ()
    changes: tuple[Change, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    hangs_on: tuple[str, ...] = ()
    rotation_sign: Literal["right-handed", "left-handed"] = "right-handed"
    fact: dict[Literal["warnings", "cautions"], tuple[Fact, ...]] = Field(default_factory=dict)

    def warned(self, *more: Fact) -> Plan:
        """Return the plan with more to warn of."""
        facts = (*self.fact.get("warnings", ()), *more)
        said = {"warnings": tuple(map(say, facts)), "fact": {**self.fact, "warnings": facts}}
        return self.model_copy(update=said)

    def as_dict(self) -> dict[str, Any]:
        """Return the document as plain JSON data with the file's key names."""
        return self.model_dump(mode="json", by_alias=True)

    def to_json(self) -> str:
        """Return the document as JSON text; the same plan gives the same bytes."""
        return json.dumps(self.as_dict(), indent=1, ensure_ascii=False) + "\n"
