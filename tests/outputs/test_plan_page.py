"""The page of a plan says what the plan document says, in the words of the trade."""

from __future__ import annotations

from collections.abc import Callable

from planner.outputs.plan_page import PEOPLE, WHY_UNDECIDED, order, part_lines, rotation_lines
from planner.plans.document import Action, OrderedBend, Plan
from tests.outputs.conftest import HOME

Printed = Callable[[Plan], str]


def line_with(page: str, words: str) -> str:
    """Return the only line of the page that holds the words."""
    found = [line for line in page.splitlines() if words in line]
    assert len(found) == 1, found
    return found[0]


def joined(page: str) -> str:
    """Return the page with its lines run together, for words that may be wrapped."""
    return " ".join(page.split())


def test_the_verdict_stands_in_the_first_line(
    makeable: Plan, not_makeable: Plan, undecided: Plan, printed: Printed
) -> None:
    assert printed(makeable).startswith("MAKEABLE: boarding ladder rail")
    assert printed(not_makeable).startswith("NOT MAKEABLE: boarding ladder rail")
    assert printed(undecided).startswith("UNDECIDED: ")


def test_an_undecided_plan_says_why(undecided: Plan, printed: Printed) -> None:
    for because, words in WHY_UNDECIDED.items():
        page = joined(printed(undecided.model_copy(update={"undecided_because": because})))
        assert words in page


def test_every_page_says_that_clear_never_means_clear_of_people(
    makeable: Plan, not_makeable: Plan, undecided: Plan, printed: Printed
) -> None:
    for plan in (makeable, not_makeable, undecided):
        assert printed(plan).rstrip().endswith('"Clear" means clear of the machine, never of people.')
    assert PEOPLE == '"Clear" means clear of the machine, never of people.'


def test_a_turn_is_written_turn_end_for_end_at_its_first_use(makeable: Plan, printed: Printed) -> None:
    page = joined(printed(makeable))
    first = page.index("turn ")
    assert page[first:].startswith("turn end for end")


def test_the_order_names_the_leading_end_and_the_turn(makeable: Plan) -> None:
    assert order(makeable) == "1 with end A leading, turn end for end, 2 with end B leading"


def test_the_order_of_a_plan_without_steps_still_shows_the_turn(makeable: Plan) -> None:
    bends = [(1, "A"), (2, "A"), (3, "A"), (5, "B"), (4, "B")]
    plan = makeable.model_copy(update={"steps": (), "order": tuple(OrderedBend(bend=b, leads=e) for b, e in bends)})
    assert order(plan) == "1 2 3 with end A leading, turn end for end, 5 4 with end B leading"


def test_a_regrip_between_two_bends_stands_in_the_order(makeable: Plan) -> None:
    bend = makeable.steps[2]
    steps = (bend, bend.model_copy(update={"action": "re-grip"}), bend.model_copy(update={"bend": 2}))
    bends = (OrderedBend(bend=1, leads="A"), OrderedBend(bend=2, leads="A"))
    plan = makeable.model_copy(update={"steps": steps, "order": bends})
    assert order(plan) == "1 with end A leading, re-grip, 2 with end A leading"


def test_the_setting_stands_beside_the_part_angle(makeable: Plan, printed: Printed) -> None:
    assert "90.0°, set 93.2°" in line_with(printed(makeable), "93.2°")


def test_a_reading_keeps_the_digits_of_its_readout(makeable: Plan, printed: Printed) -> None:
    line = line_with(printed(makeable), "advance")
    assert line.count("123.45") == 2, "amount and reading, to the 0.05 mm that the readout shows"


def test_a_rotation_says_which_way_round(makeable: Plan, printed: Printed) -> None:
    line = line_with(printed(makeable), "rotate")
    assert "counter-clockwise" in line
    assert "270.0°" in line
    assert "31.0 mm to post" in line


def test_a_motion_that_was_not_checked_says_so(makeable: Plan, printed: Printed) -> None:
    page = printed(makeable)
    for action in ("unload  ", "turn   "):
        assert "not checked yet" in line_with(page, action)
    assert "Not checked yet: unload (step 8)." in page


def test_a_clearance_at_the_ceiling_is_printed_as_more_than(makeable: Plan, printed: Printed) -> None:
    assert "more than 1000.0 mm" in line_with(printed(makeable), "advance")


def test_a_caution_stands_under_its_step(makeable: Plan, printed: Printed) -> None:
    lines = printed(makeable).splitlines()
    bend = next(i for i, line in enumerate(lines) if "93.2°" in line)
    assert "CAUTION: The leg swings at head height." in lines[bend + 1]


def test_a_note_stands_under_its_step(makeable: Plan, printed: Printed) -> None:
    lines = printed(makeable).splitlines()
    load = next(i for i, line in enumerate(lines) if "load " in line and "0:45" in line)
    assert "End A leads." in lines[load + 1]


def test_every_action_stands_in_one_line_of_its_column(makeable: Plan, printed: Printed) -> None:
    for action in Action.__args__:  # type: ignore[attr-defined]
        step = makeable.steps[1].model_copy(update={"action": action, "bend": None, "note": None, "time": 0.0})
        page = printed(makeable.model_copy(update={"steps": (step,)}))
        assert line_with(page, f"2    {action}").startswith(f"2    {action}")


def test_an_arm_that_goes_home_in_steps_says_how_far(makeable: Plan, printed: Printed) -> None:
    left_at = HOME.model_copy(update={"arm": 19.3})
    back = makeable.steps[1].model_copy(update={"action": "return", "to": left_at, "note": None})
    together = back.model_copy(update={"number": 3, "amount": 36.25, "unit": "mm", "reading": 36.25})
    page = printed(makeable.model_copy(update={"steps": (back, together)}))
    assert "to 19.3°" in line_with(page, "2    return")
    assert "36.25 mm, to 19.3°" in line_with(page, "3    return")


def test_the_smallest_clearance_says_to_what_and_in_which_step(makeable: Plan, printed: Printed) -> None:
    assert "Smallest proved clearance: 14.2 mm, to floor, in step 3." in joined(printed(makeable))


def test_the_solids_that_a_plan_hangs_on_are_listed(makeable: Plan, printed: Printed) -> None:
    page = joined(printed(makeable))
    assert "checked against the profile" in page
    assert "It hangs on these solids: floor and post." in page


def test_stock_and_trim_are_given_to_a_tenth(makeable: Plan, printed: Printed) -> None:
    page = joined(printed(makeable))
    assert "cut 1059.5 mm of tube; developed length 909.5 mm" in page
    assert "trim, cut off after the last bend: 150.0 mm at end B" in page


def test_what_is_not_proved_is_said(makeable: Plan, printed: Printed) -> None:
    page = joined(printed(makeable))
    assert "Proved: that it can be made." in page
    assert "Not proved: that no plan needs fewer re-clamps" in page


def test_reasons_that_are_not_proved_are_marked(not_makeable: Plan, printed: Printed) -> None:
    page = joined(printed(not_makeable))
    assert "190 allowed. -" in page, "a proved reason carries no remark"
    assert "too close to the post. (not proved)" in page


def test_a_plan_without_steps_has_no_step_list(not_makeable: Plan, undecided: Plan, printed: Printed) -> None:
    for plan in (not_makeable, undecided):
        assert "\nSteps" not in printed(plan)


def test_the_best_plan_so_far_is_never_called_the_plan(makeable: Plan, printed: Printed) -> None:
    page = joined(printed(makeable.model_copy(update={"verdict": "undecided", "undecided_because": "too close"})))
    assert "The best plan so far, which is not proved to work, has 1 re-clamp" in page


def test_the_hand_is_said_in_words_with_a_picture(makeable: Plan, printed: Printed) -> None:
    page = printed(makeable)
    assert "bend 2 points down" in joined(page)
    assert "counted right-handed seen from end A to end B" in joined(page)
    assert "bend 1 ─────────O" in page


def test_a_piped_page_is_plain_text_of_a_hundred_columns(makeable: Plan, printed: Printed) -> None:
    page = printed(makeable)
    assert "\x1b" not in page
    assert max(len(line) for line in page.splitlines()) <= 100


def test_a_name_cannot_drive_the_terminal_or_be_taken_for_markup(makeable: Plan, printed: Printed) -> None:
    part = {**makeable.part, "name": "rail [red]\x1b[2J\n[/red]"}
    page = printed(makeable.model_copy(update={"part": part}))
    assert "\x1b" not in page
    assert "rail [red]" in page


def test_a_left_handed_table_is_echoed_as_left_handed(makeable: Plan) -> None:
    assert "left-handed" in rotation_lines(makeable.part, 1, "left-handed")[1]
    assert "left-handed" not in " ".join(rotation_lines(makeable.part, 1, "right-handed"))


def test_the_tube_is_given_as_on_the_drawing(makeable: Plan) -> None:
    assert part_lines(makeable.part)[1] == "tube 38.1 x 1.65 mm, stainless 304, 2 bends"
