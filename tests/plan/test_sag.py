"""The leading part hangs below the drawing: how far, whether it keeps clear as it hangs, and where it wants a stand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from planner.clearance.certify import certify
from planner.clearance.distances import evaluate
from planner.clearance.poses import pose
from planner.clearance.rows import rows_of
from planner.clearance.strip import strips
from planner.clearance.verdicts import Answer
from planner.inputs.part import Part
from planner.planning import plan
from planner.plans.document import Plan, Step
from planner.plans.evidence import Evidence
from planner.plans.sag import POISSON, beam_of
from tests.plan.shop import bender, tube


def straight(diameter: float, wall: float, material: str = "stainless 304") -> Part:
    return replace(tube([400, 400], [0], [60]), outside_diameter=diameter, wall=wall, material=material)


def at_its_end(part: Part, length: float) -> float:
    beam = beam_of(part)
    assert beam is not None
    return float(beam.sag(np.array(length), np.array(length), False))


# ------------------------------------------------------------------ the beam


@pytest.mark.parametrize(
    ("diameter", "wall", "length", "expected"),
    [(38.1, 1.65, 3000.0, 24.7), (38.1, 1.65, 4700.0, 149.0), (25.4, 1.65, 2000.0, 11.5)],
)
def test_a_tube_of_304_hangs_as_the_beam_table_says(
    diameter: float, wall: float, length: float, expected: float
) -> None:
    """w L⁴ / (8 E I), a cantilever under its own weight (beam tables of any handbook), reckoned by hand with E = 193 GPa and
    8000 kg/m³: 38.1 × 1.65 weighs 14.8 N/m with I = 31,440 mm⁴."""
    assert at_its_end(straight(diameter, wall), length) == pytest.approx(expected, abs=0.06)


def test_the_whole_curve_is_that_of_the_beams_differential_equation() -> None:
    """E I δ'' = w (L − x)² / 2 with δ(0) = δ'(0) = 0, integrated by numpy in small steps."""
    beam, length = beam_of(straight(38.1, 1.65)), 3000.0
    assert beam is not None
    x = np.linspace(0.0, length, 30001)
    step = x[1]
    curvature = beam.weight * (length - x) ** 2 / 2.0 / beam.stiffness
    slope = np.concatenate([[0.0], np.cumsum((curvature[1:] + curvature[:-1]) / 2.0 * step)])
    sag = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2.0 * step)])
    assert np.abs(beam.sag(x, np.array(length), False) - sag).max() < 1e-3


def test_no_plane_chain_hangs_lower_than_its_bound() -> None:
    """Castigliano on level chains of straights: bending and twist of every piece, the weight at 200 points of it."""
    rng = np.random.default_rng(4)
    beam = beam_of(straight(38.1, 1.65))
    assert beam is not None
    lowest = 0.0
    for _ in range(60):
        legs, turns = rng.uniform(100, 900, 4), np.cumsum(rng.uniform(-2.6, 2.6, 4))
        ends = np.concatenate([[[0.0, 0.0]], np.cumsum(legs[:, None] * np.stack([np.cos(turns), np.sin(turns)], 1), 0)])
        length = float(legs.sum())
        s = (np.arange(400) + 0.5) / 400 * length
        leg = np.minimum(np.searchsorted(np.cumsum(legs), s), 3)
        way = np.stack([np.cos(turns[leg]), np.sin(turns[leg])], 1)
        at = ends[leg] + (s - (np.cumsum(legs) - legs)[leg])[:, None] * way
        lever = at[None, -1:] - at[:, None]  # of a unit load at the tip about every place
        load = at[None] - at[:, None]
        beyond = s[None] > s[:, None]
        across = np.stack([-way[:, 1], way[:, 0]], 1)
        moments = [(lever[:, 0] * way).sum(1), (lever[:, 0] * across).sum(1)]
        weight = beam.weight * length / 400.0
        loaded = [((load * v[:, None]).sum(2) * beyond).sum(1) * weight for v in (way, across)]
        torsion = beam.stiffness / (1.0 + POISSON)
        sag = float((moments[0] * loaded[0] / beam.stiffness + moments[1] * loaded[1] / torsion).sum() * length / 400.0)
        bound = float(beam.sag(np.array(length), np.array(length), True))
        assert sag <= bound * 1.01
        lowest = max(lowest, sag / bound)
    assert lowest > 0.2


def test_sag_grows_with_the_length_and_with_the_weight_outboard() -> None:
    part = straight(38.1, 1.65)
    lengths = [500.0, 1000.0, 2000.0, 4000.0]
    sags = [at_its_end(part, length) for length in lengths]
    assert sags == sorted(sags)
    assert sags[-1] == pytest.approx(sags[0] * 8.0**4)
    beam = beam_of(part)
    assert beam is not None
    heavier = replace(beam, weight=beam.weight * 1.5)
    x = np.linspace(0.0, 2000.0, 50)
    assert (heavier.sag(x, np.array(2000.0), False) >= beam.sag(x, np.array(2000.0), False)).all()
    longer = beam.sag(x, np.array(2500.0), False)
    assert (longer >= beam.sag(x, np.array(2000.0), False) - 1e-12).all()


def test_nothing_is_reckoned_of_a_metal_that_is_not_known() -> None:
    assert beam_of(straight(38.1, 1.65, material="unobtainium")) is None
    made = plan(replace(tube([2500, 400], [0], [60]), material="unobtainium"), bender())
    assert all(step.sag is None for step in made.steps)
    assert any(warning.startswith("Sag not reckoned") for warning in made.warnings)


# ------------------------------------------------------------------ the strip


def test_tube_that_keeps_clear_by_its_strip_does_so_wherever_it_hangs() -> None:
    """Against the solids' own distances at points of the tube let down by shares of its sag, over whole plans."""
    box: dict[str, Any] = {
        "name": "shelf",
        "moves_with": "frame",
        "box": {"from": [300, -900, -1200], "to": [900, 900, -600]},
    }
    machine, part = bender({"solid": [box]}), tube([1500, 300, 700], [0, 60], [70, 45])
    evidence = Evidence()
    assert plan(part, machine, evidence=evidence).verdict == "makeable"
    rng, seen = np.random.default_rng(3), {True: 0, False: 0}
    for moved in evidence.moved:
        if moved.motion.leading_length[1] < 300.0:
            continue
        rows = rows_of([moved.motion], moved.measured.surroundings, [(moved.clamp,)])
        ahead = np.array([role.value not in ("tail", "forming arc") for role in rows.roles], dtype=bool)
        rows = rows.take(ahead[rows.piece] & (rows.needed >= 0.0))
        if not rows.count:
            continue
        for deepest in (2.0, 30.0, 140.0):
            length = rows.pieces[11, rows.piece]

            def sag(row: Any, s: Any, deepest: float = deepest, length: Any = length) -> Any:
                return deepest * (0.2 + 0.8 * s / np.maximum(length[row], 1.0))

            clear = certify(strips(rows, sag)).of(0, 0).answer is Answer.CLEAR
            seen[clear] += 1
            if not clear:
                continue
            row = rng.integers(0, rows.count, 4000)
            low = rows.pieces[10, rows.piece[row]]
            s, t = low + rng.random(4000) * (length[row] - low), rng.random(4000)
            first, last = rows.blocks[10, rows.block[row]], rows.blocks[11, rows.block[row]]
            t = first + t * (last - first)
            exists = s <= rows.pieces[12, rows.piece[row]] + rows.pieces[13, rows.piece[row]] * t
            x = pose(rows, row, s, t).x
            x[2] -= rng.random(4000) * sag(row, s)
            exact, _, _ = evaluate(rows.kind[rows.solid[row]], x, rows.parameters[:, rows.solid[row]])
            assert (exact - rows.radius >= rows.needed[row] - rows.spread[row] - 1e-6)[exists].all()
    assert min(seen.values()) >= 5


# ------------------------------------------------------------------ the plan


def test_a_long_leading_part_is_held_up_and_a_short_one_is_not() -> None:
    long, short = (
        plan(tube([length, 420], [0], [60]), bender({"mandrel": {"rod_length": 700}})) for length in (3000, 500)
    )
    assert long.verdict == short.verdict == "makeable"
    assert {step.leads for step in long.steps if step.action == "bend"} == {"A"}
    (bend,) = [step for step in long.steps if step.action == "bend"]
    assert bend.sag is not None
    assert bend.sag == pytest.approx(at_its_end(tube([3000, 420], [0], [60]), 3000.0 - 80.0), rel=0.01)
    (advance,) = [step for step in long.steps if step.action == "advance"]
    assert (advance.stand, advance.nearest) == (2100.0, "pressure die")
    assert advance.sag is not None
    assert advance.clearance is not None
    assert advance.sag > advance.clearance / 2.0
    assert advance.caution is not None
    assert "hold it up on a stand 2.1 m of tube ahead of the die" in advance.caution
    assert all(step.stand is None for step in short.steps)


def test_sag_makes_no_verdict_and_moves_no_step() -> None:
    """The same steps for a tube that hangs and for one of a metal that nothing is known of."""
    part = tube([2500, 300, 420], [0, 40], [60, 30])
    known, unknown = plan(part, bender()), plan(replace(part, material="unobtainium"), bender())
    assert known.verdict == unknown.verdict == "makeable"
    bare = [step.model_copy(update={"sag": None, "stand": None, "caution": None}) for step in known.steps]
    assert bare == [step.model_copy(update={"caution": None}) for step in unknown.steps]


def test_a_profile_that_counts_sag_itself_is_left_to_it() -> None:
    made = plan(tube([2500, 420], [0], [60]), bender({"clearance": {"per_metre": 3}}))
    assert made.verdict == "makeable"
    assert all((step.sag, step.stand) == (None, None) for step in made.steps)


def test_what_hangs_into_something_asks_for_a_stand_though_half_the_clearance_is_more() -> None:
    """A sill 100 mm under the tube's last 200 mm wants 90 mm of it: 3 m hang 24.8 mm. What is near the die keeps 40 mm."""
    sill: dict[str, Any] = {
        "name": "sill",
        "moves_with": "frame",
        "box": {"from": [2700, -60, -200], "to": [2950, 60, -119.1]},
    }
    wide = {"tooling": {"clamp_block": {"width": 60, "height": 60, "opens": 95}}, "clearance": {"required": 90}}
    part, rod = tube([3000, 420], [0], [30]), {"mandrel": {"rod_length": 700}}
    free, under = plan(part, bender(rod, wide)), plan(part, bender(rod, wide, {"solid": [sill]}))
    assert free.verdict == under.verdict == "makeable"

    def bend(made: Plan) -> Step:
        return next(step for step in made.steps if step.action == "bend")

    assert bend(free).sag == bend(under).sag == pytest.approx(at_its_end(part, 2920.0), abs=0.01)
    assert bend(free).stand is None
    assert bend(under).stand == 2100.0
    assert bend(under).nearest == "sill"
    assert bend(under).clearance == pytest.approx(100.0, abs=0.6)
