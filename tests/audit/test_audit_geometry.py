"""The auditor's own geometry against coal, sampled surfaces, samples of cells, and the design's example by hand."""

import math
from dataclasses import replace

import coal
import numpy as np
import pytest
from scipy.spatial import cKDTree

from planner.audit import shapes, tube
from planner.audit.bounds import Cells, Placed
from planner.audit.confirming import by_planes, hull
from planner.audit.seen import Pairs
from planner.audit.shapes import Array, Kind, Shape
from planner.audit.tiling import untiled
from planner.inputs.part import Part
from tests.geometry.shapes import REQUEST
from tests.plan.replay.stock import Stock

CONVEX: tuple[Kind, ...] = ("half-space", "box", "cone", "lengthwise", "prism")
GROOVED: tuple[Kind, ...] = ("die", "block")
SIZE = 400.0
"""Random solids and points lie within this [mm]."""


def random_shape(kind: Kind, rng: np.random.Generator) -> Shape:
    u = rng.uniform
    if kind == "half-space":
        return Shape(kind, (float(u(-SIZE, 0)),))
    if kind == "box":
        low = u(-200, 100, 3)
        return Shape(kind, (*map(float, low), *map(float, low + u(10, 200, 3))))
    if kind == "cone":
        low, same = u(-150, 50), rng.random() < 0.4
        first = float(u(20, 150))
        return Shape(
            kind,
            (
                *map(float, u(-100, 100, 2)),
                float(low),
                first,
                float(low + u(5, 200)),
                first if same else float(u(20, 150)),
            ),
        )
    if kind == "lengthwise":
        return Shape(kind, (-float(u(20, 300)), float(u(0, 20)), float(u(5, 50))))
    if kind == "prism":
        a0, z0 = float(u(0, 40)), float(u(-40, 40))
        return Shape(
            kind,
            (
                -float(u(10, 200)),
                float(u(0, 100)),
                float(rng.choice([-1, 1])),
                a0,
                z0,
                a0 + float(u(-15, 15)),
                z0 + float(u(1, 50)),
                a0 + float(u(20, 90)),
            ),
        )
    bore = float(u(8, 40))
    if kind == "die":
        radius = bore * float(u(1.5, 4))
        return Shape(kind, (float(rng.choice([-1, 1])) * radius, radius, bore + float(u(0.5, 40)), bore))
    return Shape(
        kind,
        (
            -float(u(50, 250)),
            float(u(0, 60)),
            float(rng.choice([-1, 1])),
            float(u(0, 50)),
            bore + float(u(5, 60)),
            bore + float(u(0.5, 40)),
            bore,
        ),
    )


def column(shape: Shape) -> Array:
    return np.array(shape.numbers)[:, None]


def distances(shape: Shape, x: Array) -> Array:
    return shapes.distances(shape.kind, column(shape), x)


def hull_of_corners(shape: Shape) -> coal.ConvexBase:
    """A prism as coal's hull of its corners."""
    first, last, side, a0, z0, a1, z1, back = shape.numbers
    profile = [(a0, z0), (back, z0), (back, z1), (a1, z1)]
    corners = coal.StdVec_Vec3s()
    for x in (first, last):
        for a, z in profile:
            corners.append(np.array([x, side * a, z]))
    return coal.ConvexBase.convexHull(corners, True, None)


def to_coal(shape: Shape) -> tuple[object, Array, Array]:
    """A shape of coal's with its matrix and its place."""
    n, upright = shape.numbers, np.eye(3)
    if shape.kind == "half-space":
        return coal.Halfspace(np.array([0.0, 0.0, 1.0]), n[0]), upright, np.zeros(3)
    if shape.kind == "box":
        low, high = np.array(n[:3]), np.array(n[3:])
        return coal.Box(*(high - low)), upright, (low + high) / 2.0
    if shape.kind == "cone":
        assert n[3] == n[5], "coal has no cut cones"
        return coal.Cylinder(n[3], n[4] - n[2]), upright, np.array([n[0], n[1], (n[2] + n[4]) / 2.0])
    if shape.kind == "lengthwise":
        lying = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
        return coal.Cylinder(n[2], n[1] - n[0]), lying, np.array([(n[0] + n[1]) / 2.0, 0.0, 0.0])
    return hull_of_corners(shape), upright, np.zeros(3)


@pytest.mark.parametrize("kind", CONVEX)
def test_points_are_as_far_from_a_convex_shape_as_small_spheres_of_coal(kind: Kind) -> None:
    """coal (BSD, github.com/coal-library/coal) is the outside reference, as for the planner's own distances."""
    rng, judged = np.random.default_rng(11), 0
    for _ in range(60):
        shape = random_shape(kind, rng)
        if kind == "cone":
            shape = Shape(kind, (*shape.numbers[:5], shape.numbers[3]))
        solid, turn, place = to_coal(shape)
        x = rng.uniform(-SIZE, SIZE, (3, 40))
        found = distances(shape, x)
        for k in np.flatnonzero(found > 1.5):
            there = coal.Transform3s(np.eye(3), x[:, k])
            told = coal.distance(
                coal.Sphere(1.0), there, solid, coal.Transform3s(turn, place), REQUEST, coal.DistanceResult()
            )
            assert found[k] - 1.0 == pytest.approx(told, abs=2e-6)
            judged += 1
    assert judged > 500


def grooved_surface(shape: Shape, spacing: float) -> Array:
    """Points of the profile's outline (a, z) of a grooved shape, the groove's centre at a = 0."""
    n = shape.numbers
    half, bore = (n[2], n[3]) if shape.kind == "die" else (n[5], n[6])
    width = n[1] if shape.kind == "die" else n[4]
    turns = np.arange(0.0, np.pi / 2.0 + 1e-12, spacing / bore)
    arc = np.stack((bore * np.cos(turns), bore * np.sin(turns)), axis=1)
    lip = np.stack((np.zeros(600), np.linspace(bore, half, 600)), axis=1)
    top = np.stack((np.linspace(0.0, width, 6000), np.full(6000, half)), axis=1)
    back = np.stack((np.full(3000, width), np.linspace(0.0, half, 3000)), axis=1)
    upper = np.concatenate((arc, lip, top) if shape.kind == "die" else (arc, lip, top, back))
    return np.concatenate((upper, upper * [1.0, -1.0]))


@pytest.mark.parametrize("kind", GROOVED)
@pytest.mark.parametrize("seed", range(8))
def test_points_are_as_far_from_a_grooved_shape_as_from_its_sampled_outline(kind: Kind, seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    shape = random_shape(kind, rng)
    n, x = shape.numbers, rng.uniform(-160.0, 160.0, (3, 3000))
    near = rng.uniform(-1.3, 1.3, (3, 1500))  # half of them about the shape
    if kind == "die":
        x[:, ::2] = near * [[n[1]], [n[1]], [n[2]]] + [[0.0], [n[0]], [0.0]]
        flat = np.stack((n[1] - np.hypot(x[0], x[1] - n[0]), x[2]), axis=1)
        width, half, bore = np.inf, n[2], n[3]
    else:
        x[:, ::2] = near * [[n[1] - n[0]], [n[4]], [n[5]]] + [
            [(n[0] + n[1]) / 2.0],
            [n[2] * (n[3] + n[4] / 2.0)],
            [0.0],
        ]
        flat = np.stack((n[2] * x[1] - n[3], x[2]), axis=1)
        width, half, bore = n[4], n[5], n[6]
    away, _ = cKDTree(grooved_surface(shape, 0.02)).query(flat)
    a, z = flat[:, 0], np.abs(flat[:, 1])
    within = (a > 0.0) & (a < width) & (z < half) & (np.hypot(a, z) > bore)
    wanted = np.where(within, -away, away)
    if kind == "block":
        past = np.maximum(n[0] - x[0], x[0] - n[1])
        wanted = np.where(
            (wanted < 0) & (past < 0), np.maximum(wanted, past), np.hypot(np.maximum(wanted, 0), np.maximum(past, 0))
        )
    assert np.abs(distances(shape, x) - wanted).max() < 0.05
    assert np.count_nonzero(wanted < 0) > 20


@pytest.mark.parametrize("kind", [*CONVEX, *GROOVED])
def test_no_distance_grows_faster_than_the_way_gone(kind: Kind) -> None:
    rng = np.random.default_rng(7)
    for _ in range(30):
        shape = random_shape(kind, rng)
        x = rng.uniform(-250.0, 250.0, (3, 500))
        y = x + rng.normal(size=(3, 500)) * 10.0 ** rng.uniform(-3.0, 2.0, 500)
        way = np.sqrt(((x - y) ** 2).sum(axis=0))
        assert (np.abs(distances(shape, x) - distances(shape, y)) <= way * (1.0 + 1e-9) + 1e-9).all()


@pytest.mark.parametrize("kind", CONVEX)
def test_the_direction_is_a_unit_subgradient_and_its_plane_leaves_the_shape_behind(kind: Kind) -> None:
    """f(y) ≥ f(x) + g·(y − x) everywhere, and g·x − h(g) is the distance itself outside."""
    rng = np.random.default_rng(8)
    for _ in range(30):
        shape = random_shape(kind, rng)
        x, y = rng.uniform(-250.0, 250.0, (2, 3, 400))
        far, g = shapes.nearest(kind, column(shape), x)
        assert np.allclose((g * g).sum(axis=0), 1.0)
        assert (distances(shape, y) >= far + (g * (y - x)).sum(axis=0) - 1e-8).all()
        assert np.allclose((g * x).sum(axis=0) - shapes.support(kind, column(shape), g), far, atol=1e-8)


@pytest.mark.parametrize("kind", [kind for kind in CONVEX if kind != "half-space"])
def test_the_support_function_is_the_farthest_that_the_shape_reaches(kind: Kind) -> None:
    """No sampled point of the shape passes its plane; and the plane that touches it from afar is no farther than it."""
    rng = np.random.default_rng(9)
    for _ in range(20):
        shape = random_shape(kind, rng)
        x = rng.uniform(-350.0, 350.0, (3, 60_000))
        x = x[:, distances(shape, x) <= 0.0]
        g = rng.normal(size=(3, 40))
        g = g / np.sqrt((g * g).sum(axis=0))
        found = shapes.support(kind, column(shape), g)
        if x.size:
            assert (g.T @ x).max() <= found.max() + 1e-9
            assert ((g.T @ x).max(axis=1) <= found + 1e-9).all()
        from_afar = distances(shape, 1e7 * g)
        assert np.allclose(1e7 - from_afar, found, atol=0.02)  # a ball that large is all but a plane


def test_a_half_space_reaches_farther_than_any_number_in_every_direction_but_straight_up() -> None:
    """Tilted by 4e-8 its plane is 0.4 thousandths of a millimetre off at ten metres, more than a bound may be."""
    shape = column(Shape("half-space", (-50.0,)))
    assert shapes.support("half-space", shape, np.array([[0.0], [0.0], [1.0]])).tolist() == [-50.0]
    for tilt in (4e-8, 1e-12, 0.1, math.pi):
        g = np.array([[math.sin(tilt), 0.0], [0.0, -math.sin(tilt)], [math.cos(tilt), math.cos(tilt)]])
        assert np.isinf(shapes.support("half-space", shape, g)).all(), tilt


@pytest.mark.parametrize("kind", GROOVED)
def test_the_convex_parts_cover_a_grooved_shape_and_stand_out_of_it_by_hundredths(kind: Kind) -> None:
    rng = np.random.default_rng(10)
    for _ in range(10):
        shape = random_shape(kind, rng)
        x = rng.uniform(-150.0, 150.0, (3, 20_000))
        for deeper in (0.0, 1.0):
            parts = shapes.convex_parts(shape, deeper)
            to_parts = np.min([distances(part, x) for part in parts], axis=0)
            to_shape = distances(shape, x) + deeper
            assert (to_parts <= 1e-9)[to_shape <= -1e-9].all()
            assert to_shape[to_parts <= 0.0].max() <= shapes.STANDS_OUT + 1e-9
            if not deeper:
                out = to_shape > shapes.STANDS_OUT
                assert (np.abs(to_parts - to_shape)[out] <= shapes.STANDS_OUT + 1e-9).all()
        assert (distances(hull(shape), x) <= distances(shape, x) + 1e-9).all()


# The tube


def test_a_leg_of_a_quarter_turn_hangs_down_on_a_right_head_and_stands_up_on_a_left_one() -> None:
    """By hand (the design's example): bend 1 of 90°, rotation +90° before bend 2."""
    part = Part(
        "hook", None, 38.1, 1.65, None, "steel", None, np.array([300.0, 200.0, 300.0]),
        np.array([0.0, math.pi / 2.0]), np.array([math.pi / 2.0, math.pi / 2.0]), np.array([76.2, 76.2]),
    )  # fmt: skip
    for toward, way in ((-1.0, -1.0), (1.0, 1.0)):
        found = tube.chain(part, (1,), float(part.bend_starts[1]), 0.0, toward, 2)
        assert found.count == 3
        assert np.allclose(found.along[:, 2], [0.0, 0.0, way], atol=1e-12)
        assert np.allclose(found.start[:, 2], [200.0 + 76.2, 0.0, way * 76.2])


@pytest.mark.parametrize("toward", [-1.0, 1.0])
def test_the_chain_is_that_of_a_stock_with_the_bends_made_on_it(toward: float) -> None:
    """Against the replay's stock, which notes each bend as an azimuth on a straight tube."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        n = int(rng.integers(2, 6))
        rotations = np.concatenate(([0.0], rng.uniform(-3.0, 3.0, n - 1)))
        part = Part(
            "random", None, 20.0, 1.0, None, "steel", None, rng.uniform(50.0, 300.0, n + 1), rotations,
            rng.uniform(0.2, 2.8, n), np.full(n, 60.0),
        )  # fmt: skip
        trim = 20.0
        stock = Stock(part.developed_length + trim, "A")
        azimuth = math.pi if toward < 0.0 else 0.0
        for bend in range(1, n + 1):  # the azimuth about A→B goes on by the rotation; seen forward it goes back
            azimuth -= float(part.rotations[bend - 1])
            place = trim + float(part.bend_starts[bend - 1])
            made = stock.made(bend, place, 60.0, float(part.angles[bend - 1]), azimuth)
            stock = Stock(stock.cut, "A", (*stock.bends, made))
        at = float(part.bend_ends[-1]) + 35.0
        found = tube.chain(part, range(1, n + 1), at, trim, toward, n)
        # Turn the stock until its last bend curls to the die's side.
        last = stock.azimuth(stock.bends[-1])
        turned = Stock(stock.cut, "A", stock.bends, (math.pi if toward < 0.0 else 0.0) - last)
        pieces = turned.ahead(at + trim)
        assert len(pieces) == found.count
        for k, piece in enumerate(pieces):
            s = np.linspace(0.0, piece.length, 5)
            assert np.allclose(found.points(k, s), piece.points(s).T, atol=1e-6)
            assert np.allclose(found.tangents(k, s), piece.tangents(s).T, atol=1e-8)
            assert found.u[k] + trim == pytest.approx(piece.raw)


def test_what_lies_in_the_groove_stays_in_it_as_it_slides_out() -> None:
    """The lemma of `planner.audit.contact`, sampled: from the die axis no point of arc and straight comes nearer than R.

    An arc bent round a larger die stays out of a smaller one too; one bent round a smaller die goes deep into a larger.
    """
    rng = np.random.default_rng(5)
    count = 200_000
    angle, y, beyond = rng.uniform(0.0, np.pi, count), rng.uniform(0.0, 400.0, count), rng.uniform(0.0, 600.0, count)
    share = rng.uniform(0.0, 1.0, count)
    for bent, die, stays in ((76.2, 76.2, True), (114.3, 76.2, True), (76.2, 114.3, False)):
        for turned, ahead in ((share * angle, 0.0), (angle, beyond)):
            x = bent * np.sin(turned) + ahead * np.cos(turned) + y
            aside = bent * (1.0 - np.cos(turned)) + ahead * np.sin(turned)
            nearest = np.hypot(x, aside - die).min()
            assert (nearest >= die - 1e-9) == stays
    # Against the wiper: x never falls below 0 for points R − r … R + r from the arc's axis, straights up to 90° only.
    for turned, ahead in ((share * angle, 0.0), (angle / 2.0, beyond)):
        x = (76.2 + rng.uniform(-19.0, 19.0, count)) * np.sin(turned) + ahead * np.cos(turned) + y
        assert x.min() >= 0.0


# Bounds


def random_pairs(shape: Shape, count: int, rng: np.random.Generator) -> Pairs:
    """Pieces in all kinds of motion past one shape."""
    frames = np.linalg.qr(rng.normal(size=(count, 3, 3)))[0]
    turning, pushed = rng.random(count) < 0.8, rng.random(count) < 0.5
    feed = rng.random(count) < 0.4
    level = np.where(feed, 0.0, rng.uniform(-120.0, 120.0, (2, count)))
    centre = np.vstack((level, np.where(feed, rng.uniform(0.0, 120.0, count), 0.0)))  # over a die that was lowered
    flat = np.zeros(count)
    none = np.zeros(count, dtype=bool)
    run = np.where(rng.random(count) < 0.5, rng.uniform(-200.0, 200.0, (3, count)) * [[1.0], [1.0], [0.2]], 0.0)
    return Pairs(
        {}, (), rng.uniform(-250.0, 250.0, (3, count)), frames[:, :, 0].T, frames[:, :, 1].T,
        np.where(rng.random(count) < 0.5, 0.0, 1.0 / rng.uniform(40.0, 150.0, count)), centre, feed,
        np.where(turning, rng.uniform(-3.3, 3.3, count), 0.0),
        np.where(pushed, rng.uniform(-200.0, 200.0, (3, count)) * [[1.0], [0.3], [0.0]], 0.0), run,
        flat, flat, flat, np.zeros((2, count)), flat, none, np.zeros(count, dtype=np.int64), (shape,), 12.0,
    )  # fmt: skip


def sampled(pairs: Pairs, cells: Cells, shape: Shape, across: bool, many: int = 5) -> Array:
    """The least signed distance of sampled tube in the cells [mm]; across: of flat cross-sections, else of balls."""
    least = np.full(cells.count, np.inf)
    rim = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    for i in np.linspace(0.0, 1.0, many):
        for j in np.linspace(0.0, 1.0, many):
            s, t = cells.s0 + i * (cells.s1 - cells.s0), cells.t0 + j * (cells.t1 - cells.t0)
            at = Placed.of(pairs, Cells(cells.pair, s, s, t, t))
            if not across:
                least = np.minimum(least, distances(shape, at.x) - pairs.radius)
                continue
            first = np.cross(at.tangent.T, [0.3, 0.5, 0.81]).T
            first = first / np.sqrt((first * first).sum(axis=0))
            second = np.cross(at.tangent.T, first.T).T
            for turn in rim:
                point = at.x + pairs.radius * (np.cos(turn) * first + np.sin(turn) * second)
                least = np.minimum(least, distances(shape, point))
    return least


def random_cells(count: int, size: float, rng: np.random.Generator) -> Cells:
    s, t = rng.uniform(0.0, 200.0, count), rng.uniform(0.0, 1.0, count)
    ds, dt = size * rng.uniform(0.0, 100.0, count), size * rng.uniform(0.0, 0.5, count)
    return Cells(np.arange(count), s, s + ds, t * (1.0 - dt), t * (1.0 - dt) + dt)


@pytest.mark.parametrize("size", [1.0, 0.1, 0.003])
@pytest.mark.parametrize("kind", [*CONVEX, *GROOVED])
def test_the_bound_by_distance_is_never_above_the_sampled_clearance(kind: Kind, size: float) -> None:
    rng = np.random.default_rng(21)
    shape = random_shape(kind, rng)
    pairs, cells = random_pairs(shape, 3000, rng), random_cells(3000, size, rng)
    placed = Placed.of(pairs, cells)
    found, least = placed.by_distance(distances(shape, placed.x)), sampled(pairs, cells, shape, False)
    assert (found <= least).all()
    if size < 0.01:
        assert np.median(least - found) < 3.0


@pytest.mark.parametrize("size", [1.0, 0.1, 0.003])
@pytest.mark.parametrize("kind", CONVEX)
def test_the_bound_by_planes_is_never_above_the_sampled_clearance(kind: Kind, size: float) -> None:
    rng = np.random.default_rng(22)
    shape = random_shape(kind, rng)
    pairs, cells = random_pairs(shape, 1500, rng), random_cells(1500, size, rng)
    wanted = np.full(1500, np.inf)
    numbers = np.repeat(column(shape), 1500, axis=1)
    found = by_planes(Placed.of(pairs, cells), wanted, kind, numbers)
    least = sampled(pairs, cells, shape, True)
    assert (found <= least).all()
    if size < 0.01:  # and of cells that are all but points it is the clearance itself, where there is one
        gap = (least - found)[least > 1.0]
        assert np.median(gap) < 0.6


@pytest.mark.parametrize("turn", [0.0, 2.9])
def test_the_plane_of_a_straight_that_runs_level_over_the_floor_takes_nothing_off(turn: float) -> None:
    """A whole straight over a whole swing in one cell: exact, whatever its length."""
    shape, zero = Shape("half-space", (-50.0,)), np.zeros(1)
    one = np.zeros(1, dtype=np.int64)
    pairs = Pairs(
        {}, (), np.zeros((3, 1)), np.array([[1.0], [0.0], [0.0]]), np.array([[0.0], [1.0], [0.0]]), zero,
        np.array([[0.0], [-76.0], [0.0]]), np.array([False]), np.array([turn]), np.zeros((3, 1)), np.zeros((3, 1)), zero, zero, zero,
        np.zeros((2, 1)), zero, np.array([False]), one, (shape,), 12.0,
    )  # fmt: skip
    cells = Cells(one, zero, np.array([3000.0]), zero, np.ones(1))
    found = by_planes(Placed.of(pairs, cells), np.array([1e9]), "half-space", column(shape))
    assert found[0] == pytest.approx(38.0, abs=1e-6)


def test_no_point_of_tube_that_is_run_forward_in_a_turn_goes_farther_than_its_cell_allows() -> None:
    """The way from the midpoint, sampled: to the first order and to the second, in cells of every size."""
    rng = np.random.default_rng(23)
    count = 4000
    pairs, cells = random_pairs(Shape("half-space", (0.0,)), count, rng), random_cells(count, 1.0, rng)
    cells = replace(cells, t1=cells.t0 + (cells.t1 - cells.t0) * 10.0 ** rng.uniform(-4.0, 0.0, count))
    middle = Placed.of(pairs, cells)
    _, moved = middle.ways()
    s, farthest = (cells.s0 + cells.s1) / 2.0, np.zeros(count)
    for t in np.linspace(cells.t0, cells.t1, 21):
        gone = Placed.of(pairs, Cells(cells.pair, s, s, t, t)).x - middle.x
        farthest = np.maximum(farthest, np.sqrt((gone * gone).sum(axis=0)))
    assert (farthest <= moved + 1e-9).all()
    assert np.median(moved - farthest) < 0.2 * np.median(farthest)


# Tilings


def test_cells_tile_their_rectangle_or_what_is_wrong_is_said() -> None:
    tiles = np.array([[0.0, 10.0, 0.0, 1.0], [10.0, 25.0, 0.0, 0.5], [10.0, 25.0, 0.5, 1.0]])
    whole = ((0.0, 25.0), (0.0, 1.0), (25.0, 0.0))
    assert untiled(tiles, *whole) is None
    assert "no cell covers" in str(untiled(tiles[:2], *whole))
    assert "overlap" in str(untiled(tiles + [[0.0, 1.0, 0.0, 0.0], [0.0] * 4, [0.0] * 4], *whole))
    assert "reaches past" in str(untiled(tiles, (0.0, 24.0), (0.0, 1.0), (25.0, 0.0)))
    assert "no cell covers" in str(untiled(tiles, (0.0, 25.1), (0.0, 1.0), (25.1, 0.0)))
    assert "no extent" in str(untiled(np.vstack((tiles, [[3.0, 3.0, 0.0, 1.0]])), *whole))
    assert "no number" in str(untiled(np.vstack((tiles, [[3.0, np.nan, 0.0, 1.0]])), *whole))
    # What is not there yet need not be covered: a piece that grows from nothing to 25 mm.
    assert untiled(tiles[[0, 2]], (0.0, 25.0), (0.0, 1.0), (0.0, 25.0)) is not None
    assert untiled(tiles[[0, 2]], (0.0, 25.0), (0.0, 1.0), (0.0, 20.0)) is None
