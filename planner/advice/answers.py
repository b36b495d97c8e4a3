"""What is asked beside the plan, answered as data [mm, s]: one order, what must come before what, and why."""

from __future__ import annotations

import json
from typing import Any, Literal

from pydantic import Field

from planner.facts import Fact
from planner.plans.document import Because, Change, End, OrderedBend, Reason, Record, Verdict

Doing = Literal["load", "carriage run", "move", "bend", "return", "unload"]
Standing = Literal["goes", "fails", "not settled", "not reached"]
BegunVerdict = Literal["never", "costs more", "as good", "not settled"]


class Costs(Record):
    """What a way to make a part costs.

    reclamps: turns, regrips, reloads and released together. turns, regrips, reloads, released: as in a plan. trim_a:
    extra stock at end A [mm]. trim_b: extra stock at end B [mm]. time: handling and bending [s]. smallest_clearance:
    proved, of all its motions [mm].
    """

    reclamps: int
    turns: int
    regrips: int
    reloads: int
    released: int
    trim_a: float
    trim_b: float
    time: float
    smallest_clearance: float | None


class AtStep(Record):
    """One step of an order.

    number: from 1. bend: that it makes. leads: the end that leads.
    """

    number: int
    bend: int
    leads: End


class Judged(Record):
    """One order, judged.

    order: as it was asked for. verdict: on it. sentence: the verdict in words. fact: and as a fact. costs: of the best
    way to carry it out. best: what the plan costs, beside it. fewest: no way to carry this order out does with fewer
    re-clamps, or with as many and less trim (proved; the other way about where less trim counts first). fails: the
    first step that cannot be made whatever the steps before it. reasons: exclude that step together, and none of them
    can be left out. undecided_because: why there is neither a way nor a proof that there is none; `fails` then is the
    first step of which that is so.
    """

    order: tuple[OrderedBend, ...]
    verdict: Literal["goes", "fails", "undecided"]
    sentence: str
    fact: Fact
    costs: Costs | None = None
    best: Costs | None = None
    fewest: bool | None = None
    fails: AtStep | None = None
    reasons: tuple[Reason, ...] = ()
    undecided_because: Because | None = None


class Before(Record):
    """One bend that comes before another in every plan that is as good as the best.

    first: the earlier bend. then: the later bend. proved: by rules and strikes alone; else what is too close to call,
    or for which no path was found, stands in the way of the other way round.
    """

    first: int
    then: int
    proved: bool


class Leads(Record):
    """A bend that in every plan as good as the best is made with one end leading.

    bend: its number. leads: the end. proved: as in Before.
    """

    bend: int
    leads: End
    proved: bool


class Precedence(Record):
    """What every plan as good as the best has in common; as good: no more re-clamps and no more trim.

    sentence: the same in words. fact: and as a fact. bends: how many the part has. arrows: the fewest that say it all,
    what follows from two of them is left out. leads: the bends that one end always leads for. diagram: the same as
    lines of text.
    """

    sentence: str
    fact: Fact
    bends: int
    arrows: tuple[Before, ...]
    leads: tuple[Leads, ...]
    diagram: tuple[str, ...]


class Begun(Record):
    """A way to begin with an end bend, and what it comes to.

    bend: the one begun with. leads: the end that leads. verdict: "never" (no plan begins so, proved, for the
    `reasons`), "costs more", "as good" (then `sentence` says by what the plan comes before it) or "not settled".
    sentence: the same in words. fact: and as a fact. reasons: why no plan begins so.
    """

    bend: int
    leads: End
    verdict: BegunVerdict
    sentence: str
    fact: Fact
    reasons: tuple[Reason, ...] = ()


class Start(Record):
    """Why a part is not begun with an end bend, where its plan begins elsewhere.

    sentence: the answer in words. fact: and as a fact. must: no plan as good begins with an end bend. ways: those there
    are to begin with one.
    """

    sentence: str
    fact: Fact
    must: bool
    ways: tuple[Begun, ...]


class Why(Record):
    """Why a part is made as it is, or why it cannot be made; schema `bendorder-why/1`.

    schema: name and number of this kind of document. part: its name. machine: its name. verdict: as in a plan.
    undecided_because: as in a plan. sentence: the answer in words. fact: and as a fact. order: of the plan. costs: of
    the plan. rules: of a part that is made, those that decided the order: together they exclude every order that is
    better than the plan, and every plan as good that is not as `precedence` says; of one that is not, those that
    together exclude every order. minimal: none of them can be left out. besides: what excludes every order too, a bend
    or a straight by itself. plain: the orders 1 … n with end A leading and n … 1 with end B leading. start: why it is
    not begun with an end bend. precedence: what comes before what. asked: the order that was asked about. changes: what
    would make the part possible, what touches least first; None where that was not sought. sought_to_the_end: False
    where the time limit came before all of them were looked at.
    """

    schema_: Literal["bendorder-why/1"] = Field(default="bendorder-why/1", alias="schema")
    part: str
    machine: str
    verdict: Verdict
    undecided_because: Because | None = None
    sentence: str
    fact: Fact
    order: tuple[OrderedBend, ...] = ()
    costs: Costs | None = None
    rules: tuple[Reason, ...] = ()
    minimal: bool = False
    besides: tuple[Reason, ...] = ()
    plain: tuple[Judged, ...] = ()
    start: Start | None = None
    precedence: Precedence | None = None
    asked: Judged | None = None
    changes: tuple[Change, ...] | None = None
    sought_to_the_end: bool | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as plain JSON data."""
        return self.model_dump(mode="json", by_alias=True)

    def to_json(self) -> str:
        """Return the answer as JSON text; the same answer gives the same bytes."""
        return json.dumps(self.as_dict(), indent=1, ensure_ascii=False) + "\n"


class StepTried(Record):
    """One step of an order.

    number: from 1. bend: that it makes. leads: the end that leads. standing: "goes" (there is a way to make all steps
    up to this one, its motions proved clear), "fails" (it cannot be made, for the reasons), "not settled" (there is
    neither a way nor a proof that there is none) or "not reached".
    """

    number: int
    bend: int
    leads: End
    standing: Standing


class Contact(Record):
    """What stands in the way of the step that fails or is not settled.

    step: its number. doing: what is being done, None where no motion shows it: a rule alone forbids the step, or
    nothing was tried. solid: what the tube meets there. place: where on the tube, from end A, negative or past its
    length in the trim [mm]. clearance: the least to that solid in this motion, negative where it overlaps [mm]. needed:
    what it should be [mm].

    t: the moment of the motion (0 … 1) up to which it is shown: where the tube first touches something, or, if
    `touches` is False, where it comes nearest. touches: whether it does. near_from: from when on it is nearer to the
    solid than it needs, None where that is too close to call. moment: the same as `t` in words. fact: the sentence as a
    fact. sentence: what is met there, in words. reasons: why the step fails or is not settled, as in the verdict.
    """

    step: int
    doing: Doing | None = None
    solid: str | None = None
    place: float | None = None
    clearance: float | None = None
    needed: float | None = None
    t: float | None = None
    touches: bool | None = None
    near_from: float | None = None
    moment: str | None = None
    sentence: str
    fact: Fact
    reasons: tuple[Reason, ...] = ()


class Tried(Record):
    """An order of one's own, tried; schema `bendorder-tried/1`.

    schema: name and number of this kind of document. part: its name. machine: its name. judged: the verdict on the
    whole. steps: of each step, in order. contact: what stands in the way, None where the order goes.
    """

    schema_: Literal["bendorder-tried/1"] = Field(default="bendorder-tried/1", alias="schema")
    part: str
    machine: str
    judged: Judged
    steps: tuple[StepTried, ...]
    contact: Contact | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the answer as plain JSON data."""
        return self.model_dump(mode="json", by_alias=True)

    def to_json(self) -> str:
        """Return the answer as JSON text; the same answer gives the same bytes."""
        return json.dumps(self.as_dict(), indent=1, ensure_ascii=False) + "\n"
