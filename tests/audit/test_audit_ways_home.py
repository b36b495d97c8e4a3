"""The arm's way home, the carriage's runs and the solids about them: right ones are confirmed, every fault is refused."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest

from planner.audit import shapes, solids
from planner.audit.bounds import Cells, Placed
from planner.audit.carrying_out import carry_out
from planner.audit.confirming import by_planes
from planner.audit.contact import must_keep, on_the_rod, wanted
from planner.audit.motions import Body, Motion
from planner.audit.proof import audit_proof
from planner.audit.seen import pairs_of
from planner.audit.shapes import Array
from planner.inputs.machine import Machine
from tests.audit.ways_home import CASES, machine_of, planned, solids_in, steps
from tests.plan.shop import bender


def carried(name: str) -> tuple[Motion, ...]:
    """The motions of a case as the auditor carries its plan out."""
    return carry_out(planned(name)["plan"], CASES[name][0], machine_of(name)).motions


# What is right


@pytest.mark.parametrize(
    ("name", "toward"),
    [
        *((name, "right") for name in CASES),
        *((n, "left") for n in ("together", "drawn off", "re-gripped", "drawn back")),
    ],
)
def test_every_kind_of_way_home_is_confirmed_on_either_head(name: str, toward: str) -> None:
    document = planned(name, toward)
    assert document["plan"]["verdict"] == "makeable"
    found = audit_proof(document)
    assert found.confirmed, found.sentence


def test_all_kinds_of_steps_are_among_them() -> None:
    """Run forward by the carriage and by hand, together, partial, past the tube, past the arm, without the tube."""
    kinds = set()
    for name in CASES:
        for step in steps(planned(name), "return", "run forward", "unload", "carriage forward", "carriage back"):
            first, last = step["from"], step["to"]
            if first is None:
                kinds.add(f"{step['action']} of nothing")
                continue
            by_hand = step["action"] == "run forward" and step["reading"] is None
            kinds.add(
                f"{step['action']}{' by hand' if by_hand else ''}"
                f"{' with the tube' if first['y'] != last['y'] and step['action'] == 'return' else ''}"
                f"{' in part' if last['arm'] and step['action'] == 'return' else ''}"
                f"{' past the arm' if step['action'] == 'unload' and last['arm'] else ''}"
            )
    assert kinds >= {
        "return", "return in part", "return with the tube in part", "return with the tube", "return of nothing",
        "run forward", "run forward by hand", "unload", "unload past the arm", "unload of nothing",
        "carriage forward", "carriage back",
    }  # fmt: skip


def test_every_motion_is_held_against_the_solids_that_it_moves_past() -> None:
    """By hand, from the design: which solids which step is held against."""
    standing = {"floor", "bend die"}
    arm = {"arm", "clamp die", "grip section", "pressure die", "slide beside it"}
    document = planned("balls")
    assert solids_in(planned("reloaded"), steps(planned("reloaded"), "carriage forward")[1]) == {"carriage"}
    for action, held in (
        ("carriage back", {"carriage"}),
        ("rotate", standing | arm | {"mandrel rod", "mandrel", "carriage"}),
        ("bend", standing | {"arm", "grip section", "pressure die", "slide beside it", "mandrel rod", "its own tail"}),
        ("open dies", arm),
        ("return", arm),
        ("run forward", standing | arm | {"mandrel rod", "mandrel", "carriage"}),
        ("unload", standing | arm | {"mandrel rod", "mandrel", "carriage"}),
    ):
        step = steps(document, action)[-1]
        assert solids_in(document, step) >= held, (action, held - solids_in(document, step))
        assert action != "return" or "floor" not in solids_in(document, step), "it stands as before"
    for step in steps(planned("re-gripped"), "return")[-2:]:
        assert solids_in(planned("re-gripped"), step) >= standing | arm | {"mandrel rod", "carriage"}
    assert "carriage" in solids_in(planned("released"), steps(planned("released"), "bend")[0]), "where it waits"
    for name in ("balls", "drawn back"):
        fronts = {
            solid.shape.numbers[1]
            for motion in carried(name)
            for solid in (pair.solid for pair in wanted(motion, machine_of(name)))
            if solid.name == "mandrel" and motion.phase == "place"
        }
        assert fronts == ({45.0} if name == "balls" else {0.0})


def test_rod_and_section_are_as_large_as_the_profile_says() -> None:
    """By hand: bore 38.1 − 3.3, less 0.3; a rod no thicker; the section 1.5 diameters deep, as long as the clamp."""
    machine = bender({"mandrel": {"rod_diameter": 20}})
    (tooling,) = machine.tooling
    thin, thick = solids.mandrel_rod(machine, tooling, 1.65, False)
    assert thin.shape.numbers == pytest.approx((-9000.0, -5 * 38.1, 10.0))
    assert thick.shape.numbers == pytest.approx((-5 * 38.1, 5.0, 17.25))
    assert solids.mandrel_rod(machine, tooling, 1.65, True)[1].shape.numbers[1] == 0.0
    (whole,) = solids.mandrel_rod(machine, tooling, 9.0, False)
    assert whole.shape.numbers == pytest.approx((-9000.0, 5.0, 9.9)), "the bore of a thick wall lets no thicker rod in"
    assert solids.mandrel_rod(bender({"mandrel": None}), tooling, 1.65, False) == ()
    (section,) = solids.grip_section(machine, tooling, 60.0)
    assert section.shape.numbers == pytest.approx((0.0, 60.0, -1.0, 0.0, 57.15, 40.0, 19.05))
    assert solids.grip_section(machine, bender({"tooling": {"grip_section": False}}).tooling[0], 60.0) == ()
    fixed = bender({"tooling": {"grip_section": {"length": 95, "depth": 30, "height": 50}}}).tooling[0]
    assert solids.grip_section(machine, fixed, 60.0)[0].shape.numbers[1:6] == (95.0, -1.0, 0.0, 30.0, 25.0)


def test_of_what_is_on_the_rod_only_what_leaves_it_counts() -> None:
    """By hand: an arc beyond half a turn, and of the straight after it what lies a diameter past the balls."""
    machine = machine_of("balls")
    (tooling,) = machine.tooling
    assert on_the_rod("forming", 1 / 76.2, 0.0, tooling, machine) == pytest.approx(math.pi * 76.2)
    assert on_the_rod("just formed", 1 / 76.2, 0.0, tooling, machine) == pytest.approx(math.pi * 76.2)
    assert on_the_rod("after it", 0.0, 30.0, tooling, machine) == pytest.approx(45.0 + 38.1 - 30.0)
    assert on_the_rod("after it", 0.0, 100.0, tooling, machine) == 0.0
    assert on_the_rod("earlier", 1 / 76.2, 0.0, tooling, machine) == 0.0


def test_the_contact_table_lets_touch_what_lies_in_the_section_and_on_the_rod_only() -> None:
    """Row by row from the design; "after it" only while it lies in the groove or slides straight out."""
    machine = machine_of("balls")
    motions = {(motion.phase, motion.slides): motion for motion in carried("balls")}
    about = {solid.name: solid for motion in motions.values() for solid in (p.solid for p in wanted(motion, machine))}
    section, rod = about["grip section"], about["mandrel rod"]
    for (phase, slides), motion in motions.items():
        for role in ("tail", "forming", "first", "just formed", "far arc"):
            assert must_keep(role, section, motion) == "ease"
        assert must_keep("earlier", section, motion) == "tooling"
        in_groove = phase in ("re-grip", "dies open", "return") or (phase == "place" and slides)
        assert must_keep("after it", section, motion) == ("ease" if in_groove else "tooling"), phase
        assert must_keep("tail", rod, motion) is None
        assert must_keep("first", rod, motion) == ("tooling" if phase == "bend" else None)
        assert must_keep("earlier", rod, motion) == must_keep("far arc", rod, motion) == "tooling"


def test_what_the_lemma_says_of_the_grip_section_is_so() -> None:
    """Sampled on the tube's surface: tail, straight and arc seen from an arm that stands out; tube fed past the end."""
    rng = np.random.default_rng(7)
    count, radius, bore, length, depth = 400_000, 76.2, 19.05, 115.0, 57.15
    beta, turn, far = rng.uniform(0.0, np.pi, count), rng.uniform(0.0, 2.0 * np.pi, count), rng.uniform(0, 600, count)
    a, z = bore * np.cos(turn), bore * np.sin(turn)

    def inside(x: Array, y: Array, less: float = 1e-6) -> Array:
        within = (x > less) & (x < length - less) & (y > less) & (y < depth - less)
        return np.asarray(within & (np.hypot(y, z) > bore + less))

    for along in (-far, far):
        x = along * np.cos(beta) - (radius - a) * np.sin(beta)
        y = radius - (radius - a) * np.cos(beta) - along * np.sin(beta)
        assert not inside(x, y).any()
    psi = rng.uniform(0.0, 1.0, count) * beta
    assert not inside(-(radius - a) * np.sin(psi), radius - (radius - a) * np.cos(psi)).any()
    # With the arm at home: an arc and the straight after it that begin at or beyond the section's end, at any roll.
    y0, roll, arc = length + rng.uniform(0.0, 80.0, count), rng.uniform(0.0, 2.0 * np.pi, count), beta
    for angle, on, holds in ((rng.uniform(0, 1, count) * arc, 0.0, True), (arc / 2.0, far, True), (arc, far, False)):
        x = y0 + (radius - a) * np.sin(angle) + on * np.cos(angle)
        aside = radius - (radius - a) * np.cos(angle) + on * np.sin(angle)
        out = aside * np.cos(roll) - z * np.sin(roll)
        up = aside * np.sin(roll) + z * np.cos(roll)
        deep = (x > 1e-6) & (x < length - 1e-6) & (out > 1e-6) & (out < depth) & (np.hypot(out, up) > bore)
        assert (not deep.any()) == holds


# Tube and arm together


def together() -> Iterator[tuple[Motion, Machine]]:
    """Motions in which tube and arm go together, on either head."""
    for toward in ("right", "left"):
        machine = machine_of("re-gripped", toward)
        for motion in carry_out(planned("re-gripped", toward)["plan"], CASES["re-gripped"][0], machine).motions:
            if motion.phase == "return" and motion.feeds and motion.arm[0] != motion.arm[1]:
                yield motion, machine


def from_the_arm(x: Array, arm: float, motion: Motion) -> Array:
    """Points (3, N) of the machine's frame as the arm at an angle sees them: turned back about the die axis."""
    turned = -motion.toward * arm
    y = x[1] - motion.die_y
    return np.stack(
        (
            math.cos(turned) * x[0] - math.sin(turned) * y,
            motion.die_y + math.sin(turned) * x[0] + math.cos(turned) * y,
            x[2],
        )
    )


def at_moment(body: Body, piece: int, s: Array, t: float) -> Array:
    """Points of a body at a moment in the machine's frame, fed by so much; what runs through stands as a set."""
    way = 0.0 if body.runs else body.shift * t
    return np.asarray(body.chain.points(piece, s) + np.array([[way], [0.0], [0.0]]))


def test_tube_and_arm_that_go_together_stand_to_each_other_as_turned_and_fed_one_after_the_other() -> None:
    seen = 0
    for motion, machine in together():
        pairs = pairs_of((motion,), machine, 19.05, 2.0)
        for number, key in enumerate(pairs.names):
            (solid,) = {pair.solid for pair in wanted(motion, machine) if pair.solid.name == key.solid}
            body = next(one for one in motion.bodies if key.piece in one.labels)
            piece = body.labels.index(key.piece)
            s = np.linspace(0.0, float(body.chain.length[piece]), 4)
            for t in (0.0, 0.31, 1.0):
                x = at_moment(body, piece, s, t)
                if solid.owner == "arm":
                    x = from_the_arm(x, motion.arm[0] + t * (motion.arm[1] - motion.arm[0]), motion)
                elif solid.owner == "carriage":
                    continue
                many = np.full(4, number)
                found = Placed.of(pairs, Cells(many, s, s, np.full(4, t), np.full(4, t))).x
                assert solid.owner == "bend die" or np.allclose(found, x, atol=1e-6), key
                seen += 1
    assert seen > 300


def rims(along: Array, radius: float = 19.05) -> Array:
    """From the middle to the rim of sections across some directions (3, N): (3, N, 24)."""
    first = np.cross(along.T, [0.36, 0.48, 0.8]).T
    first = first / np.sqrt((first * first).sum(axis=0))
    second = np.cross(along.T, first.T).T
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    return np.asarray(radius * (first[:, :, None] * np.cos(turn) + second[:, :, None] * np.sin(turn)))


def test_no_bound_of_tube_and_arm_that_go_together_is_above_the_clearance_sampled() -> None:
    """Whole motions, and ever smaller parts of them, against section and clamp: sampled by their own kinematics."""
    rng, tried = np.random.default_rng(11), 0
    for motion, machine in together():
        pairs = pairs_of((motion,), machine, 19.05, 2.0)
        for number, key in enumerate(pairs.names):
            (solid,) = {pair.solid for pair in wanted(motion, machine) if pair.solid.name == key.solid}
            if solid.owner != "arm" or key.piece == "tail":
                continue
            body = next(one for one in motion.bodies if key.piece in one.labels)
            piece = body.labels.index(key.piece)
            for size in (1.0, 0.2, 0.02):
                s0, t0 = rng.uniform(0.0, 1.0 - size, 2)
                s0, s1 = (float(pairs.s_to[number]) * x for x in (s0, s0 + size))
                cells = Cells(*(np.array([x]) for x in (number, s0, s1, t0, t0 + size)))
                placed = Placed.of(pairs, cells)
                column = np.array(solid.shape.numbers)[:, None]
                bound = placed.by_distance(shapes.distances(solid.shape.kind, column, placed.x))
                if shapes.is_convex(solid.shape.kind):
                    bound = np.maximum(bound, by_planes(placed, np.full(1, np.inf), solid.shape.kind, column))
                least, s = math.inf, np.linspace(s0, s1, 25)
                rim = rims(body.chain.tangents(piece, s))
                for t in np.linspace(t0, t0 + size, 25):
                    x = (at_moment(body, piece, s, float(t))[:, :, None] + rim).reshape(3, -1)
                    x = from_the_arm(x, motion.arm[0] + float(t) * (motion.arm[1] - motion.arm[0]), motion)
                    least = min(least, float(shapes.distances(solid.shape.kind, column, x).min()))
                assert bound[0] <= least + 1e-9, (key, size)
                tried += 1
    assert tried > 100


def test_the_straight_that_comes_out_counts_as_far_as_it_is_out_where_tube_and_arm_go_together() -> None:
    for motion, machine in together():
        pairs = pairs_of((motion,), machine, 19.05, 2.0)
        grows = [n for n, key in enumerate(pairs.names) if key.piece == "fed" and key.solid == "clamp die"]
        assert len(grows) == 1
        begun, more = pairs.lives[:, grows[0]]
        assert begun + more == pytest.approx(pairs.s_to[grows[0]])
        assert more > 0.0
