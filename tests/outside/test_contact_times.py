"""Times of contact with closed forms (arm = tube of radius 12.7 mm turning from +x about the origin, or moving straight).

The closed forms C1, C2 and C5 are elementary geometry and were confirmed with coal and conservative advancement. The
verdict is `clear` up to the contact less the band within which it may be too close to call, and `struck` just after it.
"""

import math

import numpy as np
import pytest

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.distances import Kind
from planner.clearance.rows import EVERY_CLAMP, Rows
from planner.clearance.verdicts import Answer
from planner.tolerances import CLOSE_GAP, REPORT_GAP, STRIKE_MARGIN
from planner.tube.bodies import Role


def one_row(start: list[float], along: list[float], length: float, radius: float, kind: Kind, solid: list[float],
            turn: float = 0.0, way: tuple[float, float, float] = (0.0, 0.0, 0.0), needed: float = 0.0,
            centre: tuple[float, float, float] = (0.0, 0.0, 0.0),
            turning_way: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Rows:  # fmt: skip
    pieces = np.array([[*start, *along, 0.0, 0.0, 1.0, 0.0, 0.0, length, length, 0.0, 0.0, 1.0, 0.0]]).T
    blocks = np.array([[*centre, 0.0, 0.0, 1.0, turn, *way, 0.0, 1.0, *turning_way]]).T
    parameters = np.zeros((8, 1))
    parameters[: len(solid), 0] = solid
    zero = np.zeros(1, dtype=np.int64)
    return Rows(pieces, blocks, np.array([int(kind)]), parameters, ("solid",), zero, zero, zero, np.array([needed]),
                np.zeros(1), zero, np.array([EVERY_CLAMP]), (Role.EARLIER,), radius, 1)  # fmt: skip


def arm(turn: float, kind: Kind, solid: list[float], needed: float = 0.0) -> Rows:
    return one_row([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], 300.0, 12.7, kind, solid, turn=turn, needed=needed)


POST = [200.0 * math.cos(math.radians(60.0)), 200.0 * math.sin(math.radians(60.0)), 20.0, -200.0, 200.0]
BLOCK = [150.0, 80.0, -200.0, 250.0, 180.0, 200.0]
C2 = math.radians(60.0) - math.asin(32.7 / 200.0)
C5 = math.atan2(80.0, 250.0) - math.asin(12.7 / math.hypot(250.0, 80.0))


@pytest.mark.parametrize(("kind", "solid", "contact", "degrees"), [
    (Kind.CYLINDER, POST, C2, 50.589892503),
    (Kind.BOX, BLOCK, C5, 14.971438812),
], ids=["C2 post", "C5 far corner of a box"])  # fmt: skip
def test_the_arm_is_clear_until_the_closed_forms_contact_and_struck_after(
    kind: Kind, solid: list[float], contact: float, degrees: float
) -> None:
    assert math.degrees(contact) == pytest.approx(degrees, abs=1e-8)
    before, after = 1.5 * CLOSE_GAP / 150.0, 2.0 * STRIKE_MARGIN / 150.0  # the near point moves at 150 mm/rad or more
    assert certify(arm(contact - before, kind, solid)).of(0).answer is Answer.CLEAR
    assert certify(arm(contact + 1e-6, kind, solid)).of(0).answer is not Answer.CLEAR
    struck = certify(arm(contact + after, kind, solid)).of(0)
    assert struck.answer is Answer.STRUCK
    assert struck.witness is not None
    assert struck.witness.t > contact / (contact + after) - 1e-9


def test_c1_a_tube_that_moves_straight_at_a_box_meets_it_at_0_825_of_its_way() -> None:
    box = [-25.0, -30.0, -35.0, 25.0, 30.0, 35.0]
    for share, answer in ((0.825 - 0.0005, Answer.CLEAR), (0.825 + 0.001, Answer.STRUCK)):
        rows = one_row([200.0, 0.0, -50.0], [0.0, 0.0, 1.0], 100.0, 10.0, Kind.BOX, box, way=(-200.0 * share, 0.0, 0.0))
        assert certify(rows).of(0).answer is answer


def test_a_near_miss_is_bounded_below_within_the_report_gap() -> None:
    # The arm passes 30 mm under a box: 30 − 12.7 = 17.3 mm.
    rows = arm(math.radians(80.0), Kind.BOX, [100.0, 50.0, 30.0, 200.0, 150.0, 60.0], needed=10.0)
    (least,) = smallest_clearances(rows)
    assert 17.3 - REPORT_GAP <= least.bound <= 17.3
    assert certify(rows).of(0).answer is Answer.CLEAR


def test_a_point_that_passes_the_die_radius_moves_though_its_speed_there_is_zero() -> None:
    """Seen from the carriage that comes on at CLR·θ, the point on the die's circle stands still for a moment.

    CLR 76.2, right head, quarter turn either side: 76.2·(π/4) − 76.2·sin(π/4) = 5.97 mm along and 22.3 mm across: 23 mm.
    A bound by the midpoint's speed alone would certify the whole cell.
    """
    clr, half = 76.2, math.pi / 4.0
    moved = clr * math.hypot(half - math.sin(half), 1.0 - math.cos(half))
    assert moved == pytest.approx(23.1, abs=0.1)
    # A short piece about the point, posed a quarter turn before it stands still; a box where it is at the start.
    start = [-clr * math.sin(half), -clr + clr * math.cos(half), 0.0]
    box = [start[0] - 1.0, start[1] - 1.0, -1.0, start[0] + 1.0, start[1] + 1.0, 1.0]
    rows = one_row(start, [0.0, 0.0, 1.0], 0.5, 2.0, Kind.BOX, box, turn=-2.0 * half,
                   way=(-2.0 * clr * half, 0.0, 0.0), centre=(0.0, -clr, 0.0))  # fmt: skip
    assert certify(rows).of(0).answer is Answer.STRUCK


def test_tube_that_is_run_forward_while_the_arm_turns_goes_along_a_spiral() -> None:
    """Seen from the arm: 100 mm from the axis it goes 60 mm farther out in a quarter turn, along r = 100 + 60 t, φ = 90° t.

    After 0.7 of it it stands 142 mm out at 63°; a way that did not turn with it would leave it at (87.4, 89.1) instead.
    """
    out, angle = 100.0 + 0.7 * 60.0, math.radians(63.0)
    x, y = out * math.cos(angle), out * math.sin(angle)
    off = math.hypot(100.0 * math.cos(angle) + 42.0 - x, 100.0 * math.sin(angle) - y)
    assert off == pytest.approx(43.9, abs=0.1)

    def spiral(share: float, **ways: tuple[float, float, float]) -> Rows:
        post = [x, y, 5.0, -10.0, 10.0]
        return one_row([100.0, 0.0, 0.0], [0.0, 0.0, 1.0], 0.5, 2.0, Kind.CYLINDER, post, share * math.pi / 2.0, **ways)

    met = certify(spiral(0.72, turning_way=(0.72 * 60.0, 0.0, 0.0))).of(0)
    assert met.answer is Answer.STRUCK
    assert met.witness is not None
    # Its speed against the post is hypot(60, 142 · π/2) = 231 mm over the whole way: 7 mm before the post it is clear.
    assert met.witness.t * 0.72 == pytest.approx(0.7, abs=7.2 / 231.0)
    assert certify(spiral(0.66, turning_way=(0.66 * 60.0, 0.0, 0.0))).of(0).answer is Answer.CLEAR
    assert certify(spiral(1.0, way=(60.0, 0.0, 0.0))).of(0).answer is Answer.CLEAR
