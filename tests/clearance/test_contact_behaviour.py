"""What the contact table means on real motions, for heads of either direction."""

from dataclasses import replace

import numpy as np
import pytest

from planner.clearance.certify import certify, smallest_clearances
from planner.clearance.rows import rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding
from planner.inputs.machine import Machine
from planner.tolerances import REPORT_GAP
from planner.tube import motions
from planner.tube.bodies import Motion
from planner.tube.motions import InDie, Standing
from planner.tube.partly_bent import leading_part
from tests.clearance.cases import RADIUS, WALL, part_of
from tests.clearance.machines import CLR, box, machine
from tests.clearance.oracle import Drawing

DEG = np.pi / 180.0


def side_of(head: str) -> float:
    return -1.0 if head == "right" else 1.0


def against(motion: Motion, bench: Machine, clamp: float = 76.0) -> dict[str, Answer]:
    """The answer for each solid by itself."""
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0, WALL), [(clamp,)])
    names = list(dict.fromkeys(rows.names))
    which = np.array([names.index(rows.names[k]) for k in rows.solid], dtype=np.int64)
    rows = replace(rows, motion=which, clamp=np.full(rows.count, -1, dtype=np.int64), n_motions=len(names))
    found = certify(rows)
    return {name: found.of(k).answer for k, name in enumerate(names)}


def drawn(straights: list[float], angles: list[float], rotations: list[float] | None = None) -> Drawing:
    turns = [0.0] * len(angles) if rotations is None else rotations
    return Drawing(np.array(straights), np.array(turns) * DEG, np.array(angles) * DEG, CLR)


def in_die(d: Drawing, bend: int, head: str, face: float | None = 2000.0) -> InDie:
    start, angle = float(d.starts[bend - 1]), float(d.angles[bend - 1])
    ahead = leading_part(part_of(d), set(range(1, bend)), start, 0.0, side_of(head), bend)
    return InDie(ahead, CLR, side_of(head), angle, angle, start, d.developed - start, face, True)


def standing(d: Drawing, bend: int, head: str) -> Standing:
    end = float(d.starts[bend - 1] + CLR * d.angles[bend - 1])
    ahead = leading_part(part_of(d), set(range(1, bend + 1)), end, 0.0, side_of(head), bend)
    return Standing(ahead, True, d.developed - end, end, 2000.0, CLR, side_of(head))


@pytest.mark.parametrize("angle", [20, 60, 90, 120, 150, 180])
def test_an_arc_up_to_180_degrees_slides_straight_out_of_the_groove(angle: float, head: str) -> None:
    at_die = standing(drawn([60.0, 900.0], [angle]), 1, head)
    for motion in (
        motions.homing(at_die, (angle * DEG,) * 2, (0.0, 300.0)),
        motions.advance(at_die, (0.0, 300.0), 0.0, False),
    ):
        assert against(motion, machine(head)).get("bend die", Answer.CLEAR) is Answer.CLEAR


@pytest.mark.parametrize(("angle", "answer"), [(185, Answer.CLEAR), (199, Answer.STRUCK)])
def test_beyond_180_degrees_an_arc_slides_out_only_within_the_ease(angle: float, answer: Answer, head: str) -> None:
    # Closed form: at the advance CLR·sin(A − 180°) the end is CLR·(1 − cos(A − 180°)) inside the groove's centre line:
    # 0.29 mm at 185°, 4.15 mm at 199°; 1 mm is allowed.
    at_die = standing(drawn([1.0, 900.0], [angle]), 1, head)
    motion = motions.homing(at_die, (angle * DEG,) * 2, (0.0, 200.0))
    assert against(motion, machine(head, tooling={"wiper_block": None}))["bend die"] is answer


def test_an_arc_cannot_be_rotated_while_it_lies_in_the_groove(head: str) -> None:
    at_die = standing(drawn([200.0, 900.0], [90]), 1, head)
    assert against(motions.rotate(at_die, 0.0, (0.0, 0.5)), machine(head))["bend die"] is Answer.STRUCK
    assert against(motions.rotate(at_die, 5.0, (0.0, -0.5)), machine(head))["bend die"] is Answer.STRUCK
    far_out = 2.0 * CLR
    assert against(motions.rotate(at_die, far_out, (0.0, 0.5)), machine(head))["bend die"] is Answer.CLEAR
    # Once it has been rotated it may not slide in the groove either.
    slid = against(motions.advance(at_die, (far_out, 0.0), np.pi, True), machine(head))
    assert slid["bend die"] is Answer.STRUCK or slid["pressure die"] is Answer.STRUCK


@pytest.mark.parametrize("turn", [90, -90, 180], ids=["up", "down", "other way"])
def test_a_straight_as_long_as_the_clamp_is_clear_and_a_shorter_one_is_struck(turn: float, head: str) -> None:
    bench = machine(head)
    for length, answer in ((76.0, Answer.CLEAR), (120.0, Answer.CLEAR), (50.0, Answer.STRUCK)):
        grip = in_die(drawn([300.0, length, 900.0], [90, 90], [0, turn]), 2, head)
        assert against(motions.close_dies(grip), bench)["clamp die"] is answer, length
    # The longer clamp is struck where the shorter one is clear.
    grip = in_die(drawn([300.0, 76.0, 900.0], [90, 90], [0, turn]), 2, head)
    assert against(motions.close_dies(grip), bench, clamp=115.0)["clamp die"] is Answer.STRUCK


def test_an_arc_that_turns_away_from_the_clamp_block_leaves_it(head: str) -> None:
    # The block fills the other side of the parting line only.
    grip = in_die(drawn([300.0, 50.0, 900.0], [90, 90], [0, 0]), 2, head)
    assert against(motions.close_dies(grip), machine(head))["clamp die"] is Answer.CLEAR


def test_a_u_of_180_degrees_lies_beside_its_tail(head: str) -> None:
    # At the end of the swing two straights stand 2·CLR apart: 152.4 − 38.1 = 114.3 mm.
    bench = machine(head)
    motion = motions.bend(in_die(drawn([600.0, 1500.0], [180]), 1, head, None))
    assert against(motion, bench)["its own tail"] is Answer.CLEAR
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0), [(76.0,)])
    mine = rows.solid == rows.names.index("its own tail")
    blocks = rows.blocks.copy()
    blocks[10] = 1.0  # only the end of the motion
    parts = {
        name: getattr(rows, name)[mine] for name in ("piece", "block", "solid", "needed", "spread", "motion", "clamp")
    }
    (least,) = smallest_clearances(replace(rows, blocks=blocks, **parts))
    assert 114.3 - REPORT_GAP <= least.bound <= 114.3
    assert least.found >= 114.3 - 1e-9


@pytest.mark.parametrize(("angle", "answer"), [(170, Answer.CLEAR), (180, Answer.CLEAR), (195, Answer.STRUCK)])
def test_the_first_straight_can_strike_the_tail_only_far_round(angle: float, answer: Answer, head: str) -> None:
    # Beyond 180° the straight runs into the tail's line CLR·(1 + cos(A − 180°))/sin(A − 180°) after the arc: 579 mm.
    motion = motions.bend(in_die(drawn([1200.0, 2500.0], [angle]), 1, head, None))
    assert against(motion, machine(head))["its own tail"] is answer


@pytest.mark.parametrize(("leg", "answer"), [(600.0, Answer.STRUCK), (100.0, Answer.CLEAR)])
def test_a_triangle_closes_on_its_tail_only_if_its_leg_is_long(leg: float, answer: Answer, head: str) -> None:
    motion = motions.bend(in_die(drawn([leg, 300.0, 1500.0], [120, 120]), 2, head, None))
    assert against(motion, machine(head))["its own tail"] is answer


def test_the_gripped_straight_may_rest_on_the_arm_in_the_bend(head: str) -> None:
    # 5 mm of air: enough against tooling (2), too little for any other solid (10).
    for moves_with, answer in (("arm", Answer.CLEAR), ("frame", Answer.STRUCK)):
        bench = machine(head, [box("plate", moves_with, (100, -15, -60), (300, 15, -RADIUS - 5.0))])
        motion = motions.bend(in_die(drawn([500.0, 900.0], [30]), 1, head))
        assert against(motion, bench)["plate"] is answer
    bench = machine(head, [box("plate", "arm", (100, -15, -60), (300, 15, -RADIUS - 1.0))])
    assert against(motions.bend(in_die(drawn([500.0, 900.0], [30]), 1, head)), bench)["plate"] is Answer.STRUCK


def test_a_leg_that_swings_back_over_the_carriage_strikes_it(head: str) -> None:
    # After 180° the leading 800 mm lie at y = ∓152.4 over x = −800 … 0; the face comes from 700 to 461 mm behind.
    bench = machine(head, [box("carriage body", "carriage", (-300, -250, -60), (0, 250, 60))])
    assert (
        against(motions.bend(in_die(drawn([800.0, 3000.0], [180]), 1, head, 700.0)), bench)["carriage body"]
        is Answer.STRUCK
    )
    narrow = machine(head, [box("carriage body", "carriage", (-300, -100, -60), (0, 100, 60))])
    assert (
        against(motions.bend(in_die(drawn([800.0, 3000.0], [180]), 1, head, 700.0)), narrow)["carriage body"]
        is Answer.CLEAR
    )


def test_a_smallest_clearance_is_told_where_none_is_required(head: str) -> None:
    # The floor 100 mm below the centreline, nothing required: 100 − 19.05 = 80.95 mm, not "more than a metre".
    bench = machine(head, clearance={"required": 0.0, "to_tooling": 0.0, "to_itself": 0.0}, height=100.0)
    motion = motions.bend(in_die(drawn([800.0, 2000.0], [60]), 1, head))
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 0.0), [(76.0,)])
    (least,) = smallest_clearances(rows)
    assert least.bound <= 80.95 + 1e-9


def over_a_plate(head: str, gap: float, required: float) -> Finding:
    """The finding on a bend whose gripped straight runs so high above a plate [mm]."""
    plate = box("plate", "frame", (150, -700, -60), (300, 700, -RADIUS - gap))
    bench = machine(head, [plate], clearance={"required": required, "to_tooling": 2.0, "to_itself": 2.0})
    motion = motions.bend(in_die(drawn([500.0, 900.0], [30]), 1, head))
    rows = rows_of([motion], Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0), [(76.0,)])
    return certify(rows).of(0)


def test_nothing_is_too_close_to_call_about_what_is_asked_for_and_what_comes_short_names_its_number(head: str) -> None:
    """From 0.05 mm more than is asked for to 0.25 mm less, in hundredths: clear, clear but short, struck."""
    answers = []
    for hundredths in range(5, -26, -1):
        gap = 10.0 + hundredths / 100.0
        found = over_a_plate(head, gap, 10.0)
        answers.append(found.answer)
        short = found.answer is Answer.CLEAR and hundredths < 0
        assert (found.witness is None) == (found.answer is Answer.CLEAR and not short), gap
        if short:
            assert found.witness is not None
            assert gap - 0.06 <= found.witness.clearance <= gap + 1e-9
            assert (found.witness.solid, found.witness.needed) == ("plate", 10.0)
    assert set(answers) == {Answer.CLEAR, Answer.STRUCK}
    assert answers == sorted(answers, key=lambda answer: answer is Answer.STRUCK)
    assert answers[: 5 + 10] == [Answer.CLEAR] * 15
    assert answers[5 + 16 :] == [Answer.STRUCK] * 10


@pytest.mark.parametrize(("required", "gap"), [(0.0, -0.02), (0.0, -0.09), (0.05, -0.02), (0.1, -0.01)])
def test_no_band_makes_a_contact_clear(head: str, required: float, gap: float) -> None:
    assert over_a_plate(head, gap, required).answer is not Answer.CLEAR


def test_what_is_too_close_to_call_names_a_place(head: str) -> None:
    """Nothing asked for and the plate 0.02 mm into the tube: neither clear nor a strike."""
    finding = over_a_plate(head, -0.02, 0.0)
    assert finding.answer is Answer.CLOSE
    assert finding.witness is not None
    assert np.isfinite([finding.witness.place, finding.witness.s, finding.witness.t]).all()


def test_a_pressure_die_that_stands_forward_is_met_there_while_the_tube_is_eased_off(head: str) -> None:
    """The die goes home with the arm, after easing off; until then it stands CLR·θ farther forward."""
    d = drawn([900.0, 80.0, 900.0], [90, 90], [0, 180])
    at_die, clr_feed = standing(d, 2, head), CLR * np.pi / 2.0
    bench = machine(head, tooling={"pressure_die_length": 160.0})
    eased = rows_of(
        [motions.homing(at_die, (np.pi / 2.0,) * 2, (0.0, 100.0), (clr_feed, clr_feed))],
        Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0),
        [(76.0,)],
    )
    home = rows_of(
        [motions.homing(at_die, (np.pi / 2.0, 0.0), (100.0, 100.0), (clr_feed, 0.0))],
        Surroundings.of(bench, bench.tooling[0], RADIUS, 2.0), [(76.0,)],
    )  # fmt: skip
    ends = [float(rows.parameters[1, rows.names.index("pressure die")]) for rows in (eased, home)]
    assert ends == [pytest.approx(clr_feed)] * 2
