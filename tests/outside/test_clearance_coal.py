"""Clearance against the general-purpose collision library coal, with poses from the tests' own forward kinematics.

coal at gjk_tolerance 1e-10: its default overstates capsule–cylinder distances by up to 5e-4 mm.
"""

from collections import Counter
from dataclasses import replace
from typing import Any

import coal
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from planner.clearance.certify import _Search, smallest_clearances, starting_cells
from planner.clearance.distances import Kind
from planner.clearance.rows import Rows, rows_of
from planner.clearance.solids import Owner, Solid
from planner.feasibility.bend_check import BendCheck, moves, straight_home
from planner.feasibility.bend_checks import Batches
from planner.feasibility.cases import case_of, surroundings_of
from planner.feasibility.orders import Order, Run, ready_of
from planner.feasibility.stations import station
from planner.feasibility.whole_order import attempts_of
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.tolerances import CLOSE_GAP, REPORT_GAP, STRIKE_MARGIN
from planner.tube.bodies import Motion, Phase, Role
from tests.geometry.shapes import REQUEST
from tests.machines import roomy
from tests.plan.forced import forced_sequence
from tests.simulated import Array, Lra, poses

RADIUS = 38.1 / 2.0
BEYOND = (Role.FAR_ARC, Role.EARLIER)


TOOLING = {
    "tube_diameter": 38.1, "bend_radius": 76.2, "clamp_lengths": [80, 60], "shortest_grip": 50,
    "pressure_die_length": 320, "pressure_die_follows": True, "shortest_tail": 20, "die_height": 80,
    "clamp_block": {"width": 60, "height": 60, "opens": 110}, "pressure_block": {"width": 60, "height": 60, "opens": 40},
}  # fmt: skip


def random_solids(rng: np.random.Generator) -> list[dict[str, Any]]:
    """Boxes and posts near the tube, moving with frame, arm or carriage."""
    solids: list[dict[str, Any]] = []
    for k in range(7):
        moves_with = ("frame", "arm", "carriage", "frame")[k % 4]
        x = -rng.uniform(50.0, 300.0) if moves_with == "carriage" else rng.uniform(-400.0, 500.0)
        y, z = rng.uniform(-500.0, 500.0), rng.uniform(-400.0, 400.0)
        name = f"{moves_with} solid {k}"
        if k % 3 == 2 and moves_with != "carriage":
            cylinder = {"centre": [x, y], "radius": rng.uniform(20.0, 90.0), "z": [z - 120.0, z + 60.0]}
            solids.append({"name": name, "moves_with": moves_with, "cylinder": cylinder})
        else:
            size = rng.uniform(20.0, 160.0, 3)
            low = [x - size[0], y - size[1], z - size[2]]
            high = [min(x + size[0], 0.0) if moves_with == "carriage" else x + size[0], y + size[1], z + size[2]]
            solids.append({"name": name, "moves_with": moves_with, "box": {"from": low, "to": high}})
    return solids


def random_part(rng: np.random.Generator) -> Part:
    n = int(rng.integers(2, 6))
    straights = np.concatenate(([rng.uniform(80.0, 500.0)], rng.uniform(85.0, 260.0, n - 1), [400.0]))
    return Part(
        name="random", machine=None, outside_diameter=38.1, wall=1.65, gauge=None, material="stainless 304",
        yield_strength=None, straights=straights, rotations=np.concatenate(([0.0], rng.uniform(-3.1, 3.1, n - 1))),
        angles=np.radians(rng.uniform(15.0, 150.0, n)), radii=np.full(n, 76.2), trim_a=100.0, trim_b=100.0,
    )  # fmt: skip


def shape_of(solid: Solid) -> tuple[Any, Array]:
    """A coal shape and the place of its centre."""
    p = solid.parameters
    if solid.kind is Kind.BOX:
        low, high = np.array(p[:3]), np.array(p[3:6])
        return coal.Box(*(high - low)), (low + high) / 2.0
    assert solid.kind is Kind.CYLINDER
    return coal.Cylinder(p[2], p[4] - p[3]), np.array([p[0], p[1], (p[3] + p[4]) / 2.0])


def distance(shape: Any, centre: Array, point: Array) -> float:
    """From a point to a solid in the solid's frame."""
    result = coal.DistanceResult()
    at = coal.Transform3s(np.eye(3), point)
    return float(coal.distance(coal.Sphere(1e-9), at, shape, coal.Transform3s(np.eye(3), centre), REQUEST, result))


class Case:
    """One random part on one random machine with every motion of its bends, straight through, and of their first paths."""

    def __init__(self, seed: int, head: str) -> None:
        rng = np.random.default_rng(seed)
        self.head, self.side = head, -1.0 if head == "right" else 1.0
        bench = roomy(head, solids=random_solids(rng), tooling=[TOOLING])
        together = bench.head.model_copy(update={"homes_with_tube": seed % 2 == 1})
        self.machine: Machine = bench.model_copy(update={"head": together})
        self.part = random_part(rng)
        case = case_of(self.part, self.machine)
        leads = "A" if seed % 2 else "B"
        numbers = tuple(range(1, self.part.n_bends + 1))
        order: Order = (Run(leads, numbers if leads == "A" else numbers[::-1]),)  # type: ignore[arg-type]
        sequence = forced_sequence(case, order)
        self.motions: list[tuple[BendCheck, Motion]] = []
        if sequence is not None:
            self.stationed = station(ready_of(case, sequence))
            self.around = surroundings_of(case)
            batches = Batches(self.machine, self.around)
            bent = batches.bend_all(attempts_of(self.stationed, 0, self.around))
            eased = [0.0, *(before.eased for before in bent)]
            attempts = [replace(one, eased_before=y) for one, y in zip(bent, eased, strict=False)]
            for attempt in attempts:
                home = attempt.returning or (straight_home(attempt),)
                self.motions.extend((attempt, motion) for motion in [*attempt.gripping, *home])
                for path in batches._paths(attempt)[:3]:
                    self.motions.extend((attempt, motion) for motion in moves(attempt, path))
            self.lra = Lra(*(np.asarray(getattr(self.stationed.view(0), name))
                             for name in ("straights", "rotations", "angles", "radii")))  # fmt: skip

    def points(self, w: BendCheck, motion: Motion, places: Array, t: float) -> Array:
        """Places of the tube (stock coordinates from the leading end) at a moment, (…, 3) in the machine frame."""
        st = w.station
        formed = {b for b in range(1, len(self.lra.angles) + 1) if b < st.bend}
        arm = motion.arm[0] + t * (motion.arm[1] - motion.arm[0])
        if motion.phase in (Phase.CLOSE, Phase.BEND, Phase.OPEN):
            swing = arm
            if motion.phase is Phase.OPEN:
                swing = st.setting + t * (st.angle - st.setting)
            at = st.start + st.radius * swing
            return poses(self.lra, formed, at, 0.0, self.side, places, die=(st.bend, swing))
        y = motion.y[0] + t * (motion.y[1] - motion.y[0])
        if motion.phase is Phase.RETURN:
            return poses(self.lra, formed | {st.bend}, st.end + y, 0.0, self.side, places, plane=st.bend)
        roll = motion.rotation[0] + t * (motion.rotation[1] - motion.rotation[0])
        at = st.start - st.advance + y
        plane = max(formed) if formed else st.bend
        return poses(self.lra, formed, at, roll, self.side, places, plane=plane)

    def point(self, w: BendCheck, motion: Motion, place: float, t: float) -> Array:
        return np.asarray(self.points(w, motion, np.array([place]), t)[0])

    def seen(self, solid: Solid, motion: Motion, point: Array, t: float) -> Array:
        """Points (…, 3) seen from what the solid moves with."""
        if solid.owner is Owner.ARM:
            arm = motion.arm[0] + t * (motion.arm[1] - motion.arm[0])
            axis = np.array([0.0, self.side * 76.2, 0.0])
            return np.asarray(Rotation.from_euler("z", -self.side * arm).apply(point - axis) + axis)
        if solid.owner is Owner.CARRIAGE:
            assert motion.face is not None
            return np.asarray(point + [motion.face[0] + t * (motion.face[1] - motion.face[0]), 0.0, 0.0])
        return point


def judged(rows: Rows) -> _Search:
    search, cells = _Search(rows, False, CLOSE_GAP), starting_cells(rows)
    while cells.count:
        cells = search.round(cells)
    return search


def section(middle: Array, along: Array) -> Array:
    """The centre of a flat cross-section and 24 points of its rim."""
    along = along / np.linalg.norm(along)
    first = np.cross(along, [1.0, 0.0, 0.0] if abs(along[0]) < 0.9 else [0.0, 1.0, 0.0])
    first = first / np.linalg.norm(first)
    second = np.cross(along, first)
    angles = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    rim = middle + RADIUS * (np.outer(np.cos(angles), first) + np.outer(np.sin(angles), second))
    return np.vstack((middle, rim))


def to_end(curvature: float, along: float) -> float:
    """How far a point so far along a piece lies from the cross-section at its end [mm]."""
    return along if curvature == 0.0 else float(np.sin(min(curvature * along, np.pi / 2.0))) / curvature


def check_rows(case: Case, w: BendCheck, motion: Motion, tally: Counter[str]) -> None:
    around = case.around(w.station)
    rows = rows_of([motion], around, [w.clamps[:1]])
    search = judged(rows)
    solids = {solid.name: solid for solid in around.envelope if solid.kind is not Kind.FLOOR}
    settled = search._settled()
    for row in range(rows.count):
        piece = rows.piece[row]
        solid = solids.get(rows.names[rows.solid[row]])
        if solid is None or rows.roles[piece] not in BEYOND:
            continue
        shape, centre = shape_of(solid)
        columns = rows.pieces[:, piece]
        length, place, needed = float(columns[11]), float(columns[14]), float(rows.needed[row])

        def gap(s: float, t: float) -> float:
            point = case.point(w, motion, place - s, t)  # noqa: B023
            return distance(shape, centre, case.seen(solid, motion, point, t)) - RADIUS  # noqa: B023

        if search.struck[row]:
            s, t, clearance = search.hit[:, row]
            near = gap(float(s), float(t))
            assert near < needed - STRIKE_MARGIN + 1e-6
            # Near a piece's end a point of its flat cross-section is the witness, farther off than the sphere; and how
            # deep a point lies inside a solid is for the program to say, the library's answer there is no minimum.
            if to_end(float(columns[9]), min(s, length - s)) >= RADIUS and near > -RADIUS:
                assert near == pytest.approx(clearance, abs=1e-5)
            tally["struck"] += 1
            continue
        if settled[row]:
            continue  # the motion is struck elsewhere; this row was not followed to its end
        least = needed if not search.close[row] else needed - STRIKE_MARGIN - CLOSE_GAP
        s_all = np.linspace(0.0, length, 9)
        for t in np.linspace(0.0, 1.0, 9):
            steps = np.array([[0.0], [-1e-4], [1e-4]])
            at = case.points(w, motion, (place - s_all + steps).ravel(), float(t)).reshape(3, -1, 3)
            middle, before, after = (case.seen(solid, motion, points, float(t)) for points in at)
            for k, s in enumerate(s_all):
                # Where the sphere sticks out of the piece its flat cross-section counts: the centre and its rim.
                if RADIUS <= s <= length - RADIUS:
                    found = distance(shape, centre, middle[k]) - RADIUS
                else:
                    found = min(distance(shape, centre, point) for point in section(middle[k], after[k] - before[k]))
                assert found >= least - 1e-6, (rows.names[rows.solid[row]], s, t)
        tally["close" if search.close[row] else "clear"] += 1


def tallied(seeds: range) -> Counter[str]:
    tally: Counter[str] = Counter()
    for seed in seeds:
        case = Case(seed, "right" if seed % 3 else "left")
        for w, motion in case.motions:
            if motion.phase is not Phase.REGRIP:
                check_rows(case, w, motion, tally)
    return tally


def test_clear_is_never_nearer_than_needed_and_a_witness_always_is(campaign: bool) -> None:
    tally = tallied(range(400) if campaign else range(4))
    assert tally["clear"] > 220
    assert tally["struck"] > 14
    assert tally["close"] <= 0.01 * tally["clear"]


def test_the_printed_smallest_clearance_is_a_lower_bound_within_its_gap() -> None:
    checked = 0
    for seed in range(20):
        case = Case(seed, "right" if seed % 3 else "left")
        # What comes late has formed pieces that come near to the solids of the room.
        for w, motion in case.motions[-15:]:
            rows = rows_of([motion], case.around(w.station), [w.clamps[:1]])
            (least,) = smallest_clearances(rows)
            if least.witness is None or least.found <= 0.0:
                continue  # an overlap: no clearance to print, and at an edge no depth that is reached
            assert least.bound <= least.found
            piece, s = rows.pieces[:, rows.piece[least.witness.row]], least.witness.s
            if RADIUS <= s <= float(piece[11]) - RADIUS:
                # Near a piece's end the bound takes a sphere where the tube is cut off flat, and may lie lower.
                assert least.found <= least.bound + REPORT_GAP + 1e-6
            solid = next((s for s in case.around(w.station).envelope if s.name == least.witness.solid), None)
            if solid is None or solid.kind is Kind.FLOOR or rows.roles[rows.piece[least.witness.row]] not in BEYOND:
                continue
            shape, centre = shape_of(solid)
            point = case.point(w, motion, least.witness.place, least.witness.t)
            near = distance(shape, centre, case.seen(solid, motion, point, least.witness.t)) - RADIUS
            if RADIUS <= least.witness.s <= float(piece[11]) - RADIUS:  # nearer an end: the flat section's distance
                assert near == pytest.approx(least.found, abs=1e-5)
            checked += 1
    assert checked > 5, checked
