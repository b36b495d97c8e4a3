"""Carrying out the plan document on a simulated tube gives the drawing's centreline, never its mirror image."""

from __future__ import annotations

import math

import pytest

from tests.plan.planned import Planned
from tests.plan.workpiece import Workpiece, drawing, fit

FINE_KINDS = ("right", "left", "hand-fed right", "hand-fed left")


def bound(made: Planned) -> float:
    """How far the finished tube may lie off the drawing, for what its readouts resolve [mm].

    Every place and every plane of bend is right to half a resolution (rounding is carried), so every straight and every
    rotation to a whole one; a rotation's error moves what lies beyond it by no more than error · length. A part
    that is turned or put back is laid in to half of the 0.1 mm and 0.1° that the words give. Walked from one end the errors only add up, and the best
    fit has no larger root mean square than that.
    """
    document, length = made.document, made.document["stock"]["cut_length"]
    bends = len(document["order"])
    along = (bends + 1) * document["machine"]["advance"]["resolution"]
    turned = bends * math.radians(document["machine"]["rotation"]["resolution"]) * length
    laid_in = document["turns"] + document["reloads"]
    return float(along + turned + laid_in * (0.05 + math.radians(0.05) * length) + 1e-6 * length)


def ways_home(made: Planned, words: str) -> bool:
    """Whether some step of the arm's way home says so."""
    steps = made.document["steps"]
    return any(s["action"] in ("return", "run forward") and words in (s["note"] or "") for s in steps)


def test_the_finished_centreline_is_the_drawings_within_what_the_readouts_resolve(plans: list[Planned]) -> None:
    assert len(plans) >= 45
    for made in plans:
        along, points = made.workpiece.finished()
        off, _ = fit(points, drawing(made.document, along))
        assert off <= bound(made), made.name


def test_with_fine_readouts_the_finished_centreline_is_exact(plans: list[Planned]) -> None:
    fine = [made for made in plans if made.kind in FINE_KINDS]
    assert len(fine) >= 12
    for made in fine:
        along, points = made.workpiece.finished()
        _, worst = fit(points, drawing(made.document, along))
        assert worst <= 1e-6 * made.part.developed_length, made.name


def test_a_tube_bent_by_the_plan_is_never_the_drawings_mirror_image(plans: list[Planned]) -> None:
    chiral = 0
    for made in plans:
        along, points = made.workpiece.finished()
        goal = drawing(made.document, along)
        handed, _ = fit(goal, goal, mirrored=True)  # 0 for a part that is its own mirror image
        if handed > 3.0 * bound(made):
            chiral += 1
            assert fit(points, goal, mirrored=True)[0] >= handed - bound(made), made.name
    assert chiral >= 28


def test_turning_the_chuck_the_wrong_way_makes_the_mirror_image(plans: list[Planned]) -> None:
    """What a flipped sign in the code would make: so the tests above do see it."""
    shown = 0
    for made in plans:
        if made.kind not in FINE_KINDS or made.document["turns"] or made.document["reloads"]:
            continue
        along, points = Workpiece(made.document, mirror_the_chuck=True).carry_out().finished()
        goal = drawing(made.document, along)
        if fit(goal, goal, mirrored=True)[0] < 3.0:
            continue
        shown += 1
        assert fit(points, goal)[0] > 2.0, made.name
        assert fit(points, goal, mirrored=True)[1] <= 1e-6 * made.part.developed_length, made.name
    assert shown >= 8


@pytest.mark.parametrize(
    "wanted",
    [
        "end A leads",
        "end B leads",
        "a turn",
        "a reload",
        "a re-grip",
        "released",
        "trim",
        "home with the arm",
        "pushed by hand",
        "waits nearer",
    ],
)
def test_among_the_plans_there_is(wanted: str, plans: list[Planned]) -> None:
    found = {
        "end A leads": [p for p in plans if {o["leads"] for o in p.document["order"]} == {"A"}],
        "end B leads": [p for p in plans if {o["leads"] for o in p.document["order"]} == {"B"}],
        "a turn": [p for p in plans if p.document["turns"]],
        "a reload": [p for p in plans if p.document["reloads"]],
        "a re-grip": [p for p in plans if p.document["regrips"]],
        "released": [p for p in plans if p.document["released"]],
        "home with the arm": [p for p in plans if ways_home(p, "together")],
        "pushed by hand": [p for p in plans if ways_home(p, "by hand")],
        "waits nearer": [p for p in plans if (p.document["machine"].get("carriage") or {}).get("stand_back")],
        "trim": [p for p in plans if p.document["stock"]["trim_a"] + p.document["stock"]["trim_b"] > 0.0],
    }[wanted]
    assert len(found) >= 3
