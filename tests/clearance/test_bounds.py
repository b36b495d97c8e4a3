"""The bounds (3) and (4): every term matters, and with all of them no cell is ever nearer than its bound."""

from collections.abc import Callable

import numpy as np
import pytest

from planner.clearance import bounds as module
from planner.clearance.bounds import bounds
from planner.clearance.certify import certify
from planner.clearance.distances import Kind, evaluate
from planner.clearance.poses import Cells, pose
from planner.clearance.rows import EVERY_CLAMP, Rows, rows_of
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer
from planner.tube import motions
from planner.tube.motions import InDie, Role, straight_piece
from tests.clearance.machines import CLR, DIAMETER, box, machine
from tests.clearance.oracle import Array

R = DIAMETER / 2.0


def random_cells(seed: int, count: int, kinds: tuple[Kind, ...]) -> tuple[Rows, Cells]:
    """One row and one cell each: a piece (arc or straight) that turns and goes on past a convex solid."""
    rng = np.random.default_rng(seed)
    pieces, blocks, parameters = np.zeros((18, count)), np.zeros((12, count)), np.zeros((8, count))
    q, _ = np.linalg.qr(rng.normal(size=(count, 3, 3)))
    pieces[0:3], pieces[3:6], pieces[6:9] = rng.uniform(-200.0, 200.0, (3, count)), q[:, :, 0].T, q[:, :, 1].T
    pieces[9] = np.where(rng.random(count) < 0.5, 1.0 / rng.uniform(40.0, 300.0, count), 0.0)
    pieces[11] = pieces[12] = rng.uniform(20.0, 200.0, count)
    blocks[0:3] = rng.uniform(-200.0, 200.0, (3, count))
    feed = rng.random(count) < 0.4
    blocks[3], blocks[5] = feed, ~feed
    blocks[6] = rng.uniform(-3.0, 3.0, count)
    blocks[7:10] = rng.uniform(-300.0, 300.0, (3, count)) * (rng.random(count) < 0.6)
    blocks[11] = 1.0
    kind = rng.choice([int(k) for k in kinds], count)
    low, size = rng.uniform(-150.0, 100.0, (3, count)), rng.uniform(5.0, 200.0, (3, count))
    flat = kind == int(Kind.FLOOR)
    parameters[0:3], parameters[3:6] = low, low + size
    parameters[:, flat] = 0.0
    parameters[0, flat] = rng.uniform(-300.0, -50.0, np.count_nonzero(flat))
    number = np.arange(count)
    rows = Rows(
        pieces=pieces, blocks=blocks, kind=kind.astype(np.int64), parameters=parameters,
        names=tuple(map(str, number)), piece=number, block=number, solid=number, needed=np.zeros(count),
        spread=np.zeros(count), motion=number, clamp=np.full(count, EVERY_CLAMP), roles=(Role.EARLIER,) * count,
        radius=R, n_motions=count,
    )  # fmt: skip
    ds = pieces[11] / 2.0 * 10.0 ** rng.uniform(-2.0, 0.0, count)
    dt = 0.5 * 10.0 ** rng.uniform(-2.0, 0.0, count)
    s = ds + rng.random(count) * (pieces[11] - 2.0 * ds)
    t = dt + rng.random(count) * (1.0 - 2.0 * dt)
    return rows, Cells(number, s, ds, t, dt)


def shortfall(rows: Rows, cells: Cells, lower: Array, rims: int = 16) -> Array:
    """The most by which a bound passes the distance really found at a 7 × 7 grid of the cell's flat sections [mm]."""
    worst = np.full(cells.count, -np.inf)
    around = np.linspace(0.0, 2.0 * np.pi, rims, endpoint=False)
    for a in np.linspace(-1.0, 1.0, 7):
        for b in np.linspace(-1.0, 1.0, 7):
            posed = pose(rows, cells.row, cells.s + a * cells.ds, cells.t + b * cells.dt)
            one = np.cross(posed.tangent.T, [0.3, 0.5, 0.81]).T
            one = one / np.linalg.norm(one, axis=0)
            two = np.cross(posed.tangent.T, one.T).T
            for angle in around:
                x = posed.x + R * (np.cos(angle) * one + np.sin(angle) * two)
                which = rows.solid[cells.row]
                found = evaluate(rows.kind[which], x, rows.parameters[:, which])[0]
                worst = np.maximum(worst, lower - found)
    return worst


def convex_bound(
    rows: Rows, cells: Cells, accelerated: float, curved: float, crossed: float, reach: float = 1.0
) -> Array:
    """Equation (4) written anew with weights on its second-order terms; 1 each is the equation itself."""
    posed = pose(rows, cells.row, cells.s, cells.t)
    which = rows.solid[cells.row]
    _, hull, g = evaluate(rows.kind[which], posed.x, rows.parameters[:, which])
    omega = np.abs(posed.turn)
    across_axis = posed.q - posed.axis * (posed.axis * posed.q).sum(axis=0)
    a = omega**2 * np.linalg.norm(across_axis, axis=0)
    kappa = rows.pieces[9, rows.piece[cells.row]]
    g_s, g_t = np.abs((g * posed.tangent).sum(axis=0)), np.abs((g * posed.velocity).sum(axis=0))
    g_across = np.sqrt(np.maximum(1.0 - (g * posed.axis).sum(axis=0) ** 2, 0.0))
    lean = np.clip(g_s - kappa * cells.ds - g_across * omega * cells.dt, 0.0, 1.0)
    second = curved * kappa * cells.ds**2 / 2.0
    second = second + g_across * (accelerated * a * cells.dt**2 / 2.0 + crossed * omega * cells.ds * cells.dt)
    return np.asarray(hull - reach * R * np.sqrt(1.0 - lean**2) - g_s * cells.ds - g_t * cells.dt - second)


def lipschitz_bound(rows: Rows, cells: Cells, accelerated: float) -> Array:
    """Equation (3) with a weight on what the acceleration adds to the speed."""
    posed = pose(rows, cells.row, cells.s, cells.t)
    which = rows.solid[cells.row]
    exact = evaluate(rows.kind[which], posed.x, rows.parameters[:, which])[0]
    across_axis = posed.q - posed.axis * (posed.axis * posed.q).sum(axis=0)
    a = posed.turn**2 * np.linalg.norm(across_axis, axis=0)
    speed = np.linalg.norm(posed.velocity, axis=0)
    return np.asarray(exact - R - cells.ds - (speed + accelerated * a * cells.dt / 2.0) * cells.dt)


CONVEX = (Kind.FLOOR, Kind.BOX)


def test_no_flat_section_of_a_cell_is_nearer_than_the_programs_bound(campaign: bool) -> None:
    rows, cells = random_cells(11, 40_000 if campaign else 4000, CONVEX)
    assert shortfall(rows, cells, bounds(rows, cells).lower).max() <= 0.0


def test_the_programs_bound_is_the_larger_of_the_two_equations_and_near_an_end_no_less() -> None:
    rows, cells = random_cells(12, 4000, CONVEX)
    larger = np.maximum(convex_bound(rows, cells, 1.0, 1.0, 1.0), lipschitz_bound(rows, cells, 1.0))
    lower, inside = bounds(rows, cells).lower, module.to_end(rows, cells) >= rows.radius
    assert np.allclose(lower[inside], larger[inside] - module.ROUNDING, atol=1e-9)
    assert (lower >= larger - module.ROUNDING - 1e-9).all()
    assert np.count_nonzero(inside) > 1000
    assert np.count_nonzero(lipschitz_bound(rows, cells, 1.0) < larger - 0.1) > 20
    assert np.count_nonzero(convex_bound(rows, cells, 1.0, 1.0, 1.0) < larger - 0.1) > 20


Variant = Callable[[Rows, Cells], Array]

DROPPED: dict[str, Variant] = {
    "(4) without the acceleration": lambda r, c: convex_bound(r, c, 0.0, 1.0, 1.0),
    "(4) without the curvature": lambda r, c: convex_bound(r, c, 1.0, 0.0, 1.0),
    "(4) without the cross term": lambda r, c: convex_bound(r, c, 1.0, 1.0, 0.0),
    "(4) without the tube's radius": lambda r, c: convex_bound(r, c, 1.0, 1.0, 1.0, reach=0.0),
    "(3) without the acceleration": lambda r, c: lipschitz_bound(r, c, 0.0),
}


@pytest.mark.parametrize("name", DROPPED)
def test_a_bound_without_one_of_its_terms_is_no_bound(name: str) -> None:
    rows, cells = random_cells(13, 3000, CONVEX)
    assert shortfall(rows, cells, DROPPED[name](rows, cells)).max() > 1e-3
    assert shortfall(rows, cells, convex_bound(rows, cells, 1.0, 1.0, 1.0)).max() <= 1e-9
    assert shortfall(rows, cells, lipschitz_bound(rows, cells, 1.0)).max() <= 1e-9


@pytest.mark.parametrize("name", [name for name in DROPPED if name.startswith("(4)")])
def test_a_kernel_with_a_term_dropped_would_call_cells_clear_that_are_not(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same in the program itself: its answers change where the term is taken out of `bounds`."""
    rows, _ = random_cells(14, 4000, CONVEX)

    def without(rows: Rows, cells: Cells, upto: Array | float = np.inf) -> module.Bounds:
        del upto
        whole = bounds(rows, cells)
        lower = np.maximum(DROPPED[name](rows, cells), lipschitz_bound(rows, cells, 1.0))
        return module.Bounds(lower, whole.upper, whole.along)

    found = {key: finding.answer for key, finding in certify(rows).findings.items()}
    monkeypatch.setattr("planner.clearance.certify.bounds", without)
    dropped = {key: finding.answer for key, finding in certify(rows).findings.items()}
    assert any(dropped[key] is Answer.CLEAR and found[key] is Answer.STRUCK for key in found)


@pytest.mark.parametrize("side", [-1.0, 1.0], ids=["right", "left"])
def test_a_point_that_passes_the_die_radius_stands_still_there_and_moves_23_mm_within_a_quarter_turn(
    side: float,
) -> None:
    """Seen from the carriage, which comes on by CLR·θ, the point at the die radius has no speed at the middle of the swing.

    Closed form: over a quarter turn about that moment it moves by CLR·(θ − sin θ) along and CLR·(1 − cos θ) across for
    θ = 45°: 5.97 and 22.3 mm, 23.1 mm in all.
    """
    half = np.pi / 4.0
    along, across = CLR * (half - np.sin(half)), CLR * (1.0 - np.cos(half))
    assert np.hypot(along, across) == pytest.approx(23.1, abs=0.1)
    # A leading piece whose place on the die radius is reached when the arm has gone 45°: on the circle, 45° before it.
    face = 700.0
    start = np.array([-CLR * np.sin(half), side * CLR * (1.0 - np.cos(half)), 0.0])
    upward = straight_piece(40.0, 40.0, 0.0)
    upward.start[:, 0], upward.along[:, 0], upward.inward[:, 0] = start, (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
    # On the carriage, 21 mm of air short of that piece's middle of the way, where it stands at the start.
    at = np.array([start[0] + face, start[1], 0.0])
    low, high = at - [60.0, 4.0, 5.0], at + [4.0, 4.0, 45.0]
    bench = machine(
        "right" if side < 0 else "left", [box("finger", "carriage", low, high)], clearance={"required": 0.5}
    )
    grip = InDie(upward, CLR, side, 2.0 * half, 2.0 * half, 40.0, 3000.0, face, False)
    rows = rows_of([motions.bend(grip)], Surroundings.of(bench, bench.tooling[0], 4.0, 2.0), [(76.0,)])
    finger = rows.names.index("finger")
    (row,) = np.flatnonzero((rows.solid == finger) & (np.array(rows.roles)[rows.piece] == Role.FIRST))
    number = np.array([row])
    middle = pose(rows, number, np.array([20.0]), np.array([0.5]))
    assert np.linalg.norm(middle.velocity) < 1e-9
    ends = [pose(rows, number, np.array([20.0]), np.array([t])).x[:, 0] - middle.x[:, 0] for t in (0.0, 1.0)]
    for end, way in zip(ends, (1.0, -1.0), strict=True):
        assert end == pytest.approx([way * along * 1.0, side * across, 0.0], abs=1e-9)
    cell = Cells(number, np.array([20.0]), np.array([0.01]), np.array([0.5]), np.array([0.5]))
    which = rows.solid[number]
    far = evaluate(rows.kind[which], middle.x, rows.parameters[:, which])[0]
    naive = far - rows.radius - cell.ds - np.linalg.norm(middle.velocity, axis=0) * cell.dt
    assert naive[0] > 0.5  # the midpoint's speed alone would certify the whole swing
    assert bounds(rows, cell).lower[0] < 0.5
    assert certify(rows).of(0).answer is Answer.STRUCK


def test_a_flat_end_that_may_overlap_a_bored_block_overlaps_it_by_no_more_than_that() -> None:
    """Depths in the parts of a block say nothing of the depth in all of it: what is certified keeps out of its inside."""
    rng, count = np.random.default_rng(11), 40_000
    rows, cells = random_cells(5, count, (Kind.BOX,))
    rows.kind[:] = int(Kind.BORED_BLOCK)
    rows.needed[:] = -1.0
    numbers = np.array([0.0, 115.0, 1.0, 0.0, 110.0, 55.0, R])
    rows.parameters[: numbers.size] = numbers[:, None]
    rows.pieces[9], rows.pieces[10], rows.pieces[11], rows.pieces[12] = 0.0, 0.0, 100.0, 100.0
    rows.pieces[0:3] = rng.uniform((-20.0, -25.0, -25.0), (135.0, 80.0, 25.0), (count, 3)).T
    still = Cells(cells.row, np.full(count, 1e-3), np.full(count, 1e-3), np.zeros(count), np.zeros(count))
    certified = np.flatnonzero(bounds(rows, still, rows.needed).lower >= rows.needed)
    posed = pose(rows, certified, still.s[certified], still.t[certified])
    one = np.cross(posed.tangent.T, [0.3, 0.5, 0.81]).T
    one = one / np.linalg.norm(one, axis=0)
    two = np.cross(posed.tangent.T, one.T).T
    deepest = np.full(certified.size, np.inf)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        for angle in np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False):
            x = posed.x + share * R * (np.cos(angle) * one + np.sin(angle) * two)
            found = evaluate(rows.kind[certified], x, rows.parameters[:, certified])[0]
            deepest = np.minimum(deepest, found)
    assert certified.size > 5_000
    assert deepest.min() >= -1.0 - 1e-6, (deepest < -1.0).sum()
