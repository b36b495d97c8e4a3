"""Times of contact with closed forms, found by bisection on the verdict of the motion cut off at t.

Source: C1–C6g and C8 are elementary geometry (an arm of radius 12.7, 300 long, turns from +x about the origin), and
coal 3.0.3 with conservative advancement gives the same figures. They are stated for an arm with a rounded tip. Where
the tip decides (C3, C4) the program, whose tube is flat-ended, must be clear at the stated time and meets the solid at
the time of the flat end, whose closed form stands beside it.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.distances import Kind
from planner.clearance.rows import EVERY_CLAMP, Rows
from planner.clearance.verdicts import Answer
from planner.tolerances import CLOSE_GAP, NEED_BAND, REPORT_GAP, STRIKE_MARGIN
from planner.tube.bodies import Role

ARM, LENGTH = 12.7, 300.0
DEG = np.pi / 180.0


@dataclass(frozen=True)
class Meeting:
    """A piece of tube from `start` along `along` that turns by `whole` about an axis through `centre`, or goes `way`.

    contact: closed form, as a share of the whole; speed: no more than the speed at which the gap closes there [mm per
    unit of t].
    """

    kind: Kind
    solid: tuple[float, ...]
    contact: float
    speed: float
    whole: float = 0.0
    way: tuple[float, float, float] = (0.0, 0.0, 0.0)
    start: tuple[float, float, float] = (0.0, 0.0, 0.0)
    along: tuple[float, float, float] = (1.0, 0.0, 0.0)
    axis: tuple[float, float, float] = (0.0, 0.0, 1.0)
    length: float = LENGTH
    radius: float = ARM
    needed: float = 0.0

    def rows(self, share: float = 1.0) -> Rows:
        """One row: the motion up to a share of it."""
        inward = np.cross(self.axis, self.along) if self.whole else (0.0, 1.0, 0.0)
        numbers = [*self.start, *self.along, *inward, 0.0, 0.0, self.length, self.length, 0.0, 0.0, -1.0, 0.0]
        block = [*self.start, *self.axis, self.whole * share, *(share * np.array(self.way)), 0.0, 1.0, 0.0, 0.0, 0.0]
        parameters = np.zeros((8, 1))
        parameters[: len(self.solid), 0] = self.solid
        zero = np.zeros(1, dtype=np.int64)
        return Rows(
            pieces=np.array(numbers)[:, None], blocks=np.array(block)[:, None], kind=np.array([int(self.kind)]),
            parameters=parameters, names=("solid",), piece=zero, block=zero, solid=zero,
            needed=np.array([self.needed]), spread=np.zeros(1), motion=zero, clamp=np.array([EVERY_CLAMP]),
            roles=(Role.EARLIER,), radius=self.radius, n_motions=1,
        )  # fmt: skip

    def answer(self, share: float) -> Answer:
        return certify(self.rows(share)).of(0).answer


def first(meeting: Meeting, answers: tuple[Answer, ...]) -> float:
    """The first share of the motion with one of the answers, by bisection."""
    low, high = 0.0, 1.0
    assert meeting.answer(1.0) in answers
    assert meeting.answer(1e-9) not in answers
    while high - low > 1e-8:
        middle = (low + high) / 2.0
        low, high = (low, middle) if meeting.answer(middle) in answers else (middle, high)
    return high


def turning(kind: Kind, solid: tuple[float, ...], angle: float, lever: float, **changes: object) -> Meeting:
    """The arm turns by 1 rad in all; `angle` [deg] of contact; `lever`: the gap closes at least so fast [mm/rad]."""
    return Meeting(kind, solid, angle * DEG, lever, whole=1.0, **changes)  # type: ignore[arg-type]


POST_60 = (200.0 * np.cos(60 * DEG), 200.0 * np.sin(60 * DEG), 20.0, -300.0, 300.0)
FAR_POST = (310.0 * np.cos(60 * DEG), 310.0 * np.sin(60 * DEG), 20.0, -300.0, 300.0)
SPHERE = (150.0 * np.cos(40 * DEG), 150.0 * np.sin(40 * DEG), 30.0)
PIVOT_OF_SPHERE = tuple(-x for x in SPHERE)
RHO, TIP = np.hypot(LENGTH, ARM), np.arctan2(ARM, LENGTH)
FLAT_C3 = 60.0 - (TIP + np.arccos((RHO**2 + 310.0**2 - 20.0**2) / (2.0 * RHO * 310.0))) / DEG
FLAT_C4 = (np.arcsin(100.0 / RHO) - TIP) / DEG

MEETINGS = {
    "C1 capsule moves straight at a box": Meeting(
        Kind.BOX, (-25.0, -30.0, -35.0, 25.0, 30.0, 35.0), 0.825, 200.0, way=(-200.0, 0.0, 0.0),
        start=(200.0, 0.0, -50.0), along=(0.0, 0.0, 1.0), length=100.0, radius=10.0),
    "C2 post beside the arm": turning(Kind.CYLINDER, POST_60, 50.589892503, 190.0),
    "C3 post beyond the tip, flat end": turning(Kind.CYLINDER, FAR_POST, FLAT_C3, 90.0),
    "C4 floor, flat end": turning(Kind.FLOOR, (-100.0,), FLAT_C4, 250.0, axis=(0.0, 1.0, 0.0)),
    "C5 far corner of a box": turning(Kind.BOX, (150.0, 80.0, -300.0, 250.0, 180.0, 300.0), 14.971438812, 250.0),
    "C6g sphere passed nearer than 3 mm": turning(
        Kind.SEGMENT, (0.0, 0.0, 15.0), 37.509356759, 30.0, start=PIVOT_OF_SPHERE, needed=3.0),
    "C8 tube lying along x": turning(Kind.SEGMENT, (50.0, 250.0, ARM), 20.385647713, 250.0, start=(0.0, -120.0, 0.0)),
}  # fmt: skip


def test_the_closed_forms_give_the_figures_of_the_table() -> None:
    assert 60.0 - np.arcsin(32.7 / 200.0) / DEG == pytest.approx(50.589892503, abs=1e-8)
    assert np.arctan2(80, 250) / DEG - np.arcsin(ARM / np.hypot(250, 80)) / DEG == pytest.approx(14.971438812, abs=1e-8)
    assert np.arctan2(120, 250) / DEG - np.arcsin(25.4 / np.hypot(250, 120)) / DEG == pytest.approx(
        20.385647713, abs=1e-8
    )
    assert 40.0 - np.arcsin(np.sqrt(30.7**2 - 900.0) / 150.0) / DEG == pytest.approx(37.509356759, abs=1e-8)
    # The flat end's contact, checked against a root of the nearest distance of its leading corner.
    corner = brentq(
        lambda a: np.hypot(*(RHO * np.array([np.cos(a + TIP), np.sin(a + TIP)]) - np.array(FAR_POST[:2]))) - 20.0,
        50.0 * DEG, 57.0 * DEG,
    )  # fmt: skip
    assert corner / DEG == pytest.approx(FLAT_C3, abs=1e-9)
    assert LENGTH * np.sin(FLAT_C4 * DEG) + ARM * np.cos(FLAT_C4 * DEG) == pytest.approx(100.0, abs=1e-9)


@pytest.mark.parametrize("name", MEETINGS)
def test_the_motion_is_clear_up_to_the_contact_and_struck_just_after(name: str) -> None:
    meeting = MEETINGS[name]
    not_clear = first(meeting, (Answer.CLOSE, Answer.STRUCK))
    struck = first(meeting, (Answer.STRUCK,))
    # Nothing past the contact is clear, and only a gap under CLOSE_GAP keeps it from being clear before. Where a
    # clearance is asked for, what is within the band of it is clear too, up to a strike.
    past = min(NEED_BAND, meeting.needed) / meeting.speed
    assert meeting.contact - (CLOSE_GAP + 1e-3) / meeting.speed <= not_clear <= meeting.contact + past + 2e-6
    # A strike is one STRIKE_MARGIN deep, and is found within CLOSE_GAP of that.
    assert meeting.contact + 1e-9 < struck <= meeting.contact + (STRIKE_MARGIN + CLOSE_GAP) / meeting.speed


@pytest.mark.parametrize(("name", "rounded"), [
    ("C3 post beyond the tip, flat end", 54.148101219), ("C4 floor, flat end", 16.917834046),
])  # fmt: skip
def test_a_flat_end_is_still_clear_when_the_rounded_one_would_touch(name: str, rounded: float) -> None:
    if name.startswith("C3"):
        closed = 60.0 - np.arccos((LENGTH**2 + 310.0**2 - 32.7**2) / (2.0 * LENGTH * 310.0)) / DEG
    else:
        closed = np.arcsin((100.0 - ARM) / LENGTH) / DEG
    assert closed == pytest.approx(rounded, abs=1e-8)
    assert MEETINGS[name].answer(closed * DEG) is Answer.CLEAR
    assert closed < MEETINGS[name].contact / DEG


def test_c6_the_near_miss_is_reported_within_the_report_gap_below_2_3_mm() -> None:
    # 30 − 12.7 − 15 = 2.3 mm, at 40 degrees.
    miss = turning(Kind.SEGMENT, (0.0, 0.0, 15.0), 40.0, 1.0, start=PIVOT_OF_SPHERE, needed=1.0)
    assert miss.answer(1.0) is Answer.CLEAR
    (least,) = smallest_clearances(miss.rows())
    assert 2.3 - REPORT_GAP <= least.bound <= 2.3
    assert least.found >= 2.3 - 1e-9
    assert least.witness is not None
    assert least.witness.t * 1.0 / DEG == pytest.approx(40.0, abs=2.0)
