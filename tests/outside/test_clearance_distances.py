"""Distances to single solids against the general-purpose collision library coal, brute force and closed forms."""

import numpy as np
import pytest

from planner.clearance.distances import Kind, evaluate, hull_of_block, hull_of_die
from tests.clearance.oracle import Array, Profile, sphere_gap
from tests.geometry.shapes import body

SEED = 20240611
RODS = (Kind.ROD, Kind.TAIL_END)
"""Flat-ended cylinders about the feed's axis."""


def solids(kind: Kind, count: int, rng: np.random.Generator) -> Array:
    """Random parameters (8, count) of a kind [mm]."""
    p = np.zeros((8, count))
    if kind is Kind.FLOOR:
        p[0] = rng.uniform(-1500.0, -100.0, count)
    elif kind is Kind.BOX:
        low, size = rng.uniform(-400.0, 300.0, (3, count)), rng.uniform(1.0, 400.0, (3, count))
        p[0:3], p[3:6] = low, low + size
    elif kind is Kind.CYLINDER:
        low = rng.uniform(-400.0, 200.0, count)
        p[0:2], p[2], p[3], p[4] = rng.uniform(-300.0, 300.0, (2, count)), rng.uniform(2.0, 200.0, count), low, low
        p[4] += rng.uniform(1.0, 400.0, count)
    elif kind is Kind.SEGMENT:
        p[0], p[1], p[2] = -rng.uniform(1.0, 900.0, count), 0.0, rng.uniform(3.0, 50.0, count)
    elif kind in RODS:
        p[1] = rng.uniform(0.0, 60.0, count)
        p[0], p[2] = p[1] - 10.0 ** rng.uniform(0.0, 3.0, count), rng.uniform(3.0, 50.0, count)
    elif kind is Kind.BORED_BLOCK:
        groove = rng.uniform(5.0, 40.0, count)
        p[0], p[2] = rng.uniform(-300.0, 0.0, count), rng.choice([-1.0, 1.0], count)
        p[1] = p[0] + rng.uniform(10.0, 300.0, count)
        p[3], p[4] = rng.uniform(0.0, 60.0, count), groove + rng.uniform(1.0, 120.0, count)
        p[5], p[6] = groove + rng.uniform(1.0, 80.0, count), groove
    else:
        groove = rng.uniform(5.0, 40.0, count)
        p[1] = groove + rng.uniform(5.0, 250.0, count)
        p[0], p[2], p[3] = rng.choice([-1.0, 1.0], count) * p[1], groove + rng.uniform(1.0, 60.0, count), groove
    return p


def points(count: int, rng: np.random.Generator) -> Array:
    return rng.uniform(-450.0, 450.0, (3, count))


CONVEX = [Kind.FLOOR, Kind.BOX, Kind.CYLINDER, Kind.SEGMENT, Kind.ROD]


def kinds(kind: Kind, count: int) -> np.ndarray:
    return np.full(count, int(kind), dtype=np.int64)


@pytest.mark.parametrize("kind", CONVEX)
def test_the_distance_of_random_spheres_is_that_of_coal(kind: Kind, campaign: bool) -> None:
    rng = np.random.default_rng(SEED + int(kind))
    count = 60_000 if campaign else 3000
    p, x, radius = solids(kind, count, rng), points(count, rng), rng.uniform(0.5, 40.0, count)
    exact, _, _ = evaluate(kinds(kind, count), x, p)
    judged = 0
    for k in range(count):
        if exact[k] < radius[k] + 1e-3:
            continue  # a library's depth of penetration is no part of this check; signs are checked below
        found = sphere_gap(x[:, k], radius[k], body(kind.name.lower(), tuple(p[:, k])))
        assert exact[k] - radius[k] == pytest.approx(found, abs=2e-6)
        judged += 1
    assert judged > 0.5 * count


@pytest.mark.parametrize("kind", CONVEX)
def test_a_point_is_inside_just_where_a_tiny_sphere_touches_the_solid_of_coal(kind: Kind) -> None:
    rng = np.random.default_rng(SEED + 10 + int(kind))
    p, x = solids(kind, 2000, rng), points(2000, rng)
    if kind in (Kind.SEGMENT, *RODS):
        x[1:] *= 0.1
    if kind is Kind.BOX:
        x[:, ::3] = p[0:3, ::3] + rng.uniform(-0.2, 1.2, (3, 667)) * (p[3:6] - p[0:3])[:, ::3]
    if kind is Kind.CYLINDER:
        x[:2, ::3] = p[:2, ::3] + rng.uniform(-1.0, 1.0, (2, 667)) * p[2, ::3]
        x[2, ::3] = p[3, ::3] + rng.uniform(-0.2, 1.2, 667) * (p[4] - p[3])[::3]
    exact, _, _ = evaluate(kinds(kind, 2000), x, p)
    inside = [sphere_gap(x[:, k], 1e-6, body(kind.name.lower(), tuple(p[:, k]))) <= 0.0 for k in range(2000)]
    sure = np.abs(exact) > 1e-4
    assert np.array_equal((exact < 0.0)[sure], np.array(inside)[sure])
    assert 90 < np.count_nonzero(exact < 0.0) < 1910


@pytest.mark.parametrize("seed", range(12))
def test_the_die_is_as_far_as_the_nearest_point_of_its_sampled_profile(seed: int) -> None:
    rng = np.random.default_rng(SEED + 100 + seed)
    p = solids(Kind.DIE, 1, rng)
    profile = Profile(p[1, 0], p[2, 0], p[3, 0], solid_at_width=True)
    x = points(3000, rng)
    x[:, ::2] = np.array([[0.0], [p[0, 0]], [0.0]]) + x[:, ::2] * p[1, 0] / 300.0  # half of them near the die
    exact, _, _ = evaluate(kinds(Kind.DIE, 3000), x, np.repeat(p, 3000, axis=1))
    profile.horizon = np.inf
    found = profile.signed(p[1, 0] - np.hypot(x[0], x[1] - p[0, 0]), x[2])
    assert np.abs(exact - found).max() < 0.012
    assert np.array_equal((exact < 0)[np.abs(exact) > 0.02], (found < 0)[np.abs(exact) > 0.02])
    assert np.count_nonzero(found < 0) > 20


@pytest.mark.parametrize("seed", range(12))
def test_the_bored_block_is_as_far_as_the_nearest_point_of_its_sampled_surface(seed: int) -> None:
    rng = np.random.default_rng(SEED + 200 + seed)
    p = solids(Kind.BORED_BLOCK, 1, rng)
    first, last, side, face, width, half, groove, _ = p[:, 0]
    profile = Profile(width, half, groove)
    x = rng.uniform(-1.6, 1.6, (3, 3000)) * np.array([[last - first], [width + 30.0], [half + 30.0]])
    x[0] += (first + last) / 2.0
    exact, _, _ = evaluate(kinds(Kind.BORED_BLOCK, 3000), x, np.repeat(p, 3000, axis=1))
    profile.horizon = np.inf
    flat = profile.signed(side * x[1] - face, x[2])
    past = np.maximum(first - x[0], x[0] - last)
    found = np.where(
        (flat < 0) & (past < 0), np.maximum(flat, past), np.hypot(np.maximum(flat, 0), np.maximum(past, 0))
    )
    assert np.abs(exact - found).max() < 0.012
    assert np.count_nonzero(found < 0) > 20


@pytest.mark.parametrize("kind", list(Kind))
def test_no_distance_grows_faster_than_the_way_gone(kind: Kind) -> None:
    rng = np.random.default_rng(SEED + 300 + int(kind))
    count = 20_000
    p, x = solids(kind, count, rng), points(count, rng)
    y = x + rng.normal(size=(3, count)) * 10.0 ** rng.uniform(-3.0, 2.3, count)
    for k in (0, 1):  # the exact distance and the hull's
        there, here = evaluate(kinds(kind, count), y, p)[k], evaluate(kinds(kind, count), x, p)[k]
        assert np.all(np.abs(there - here) <= np.linalg.norm(y - x, axis=0) + 1e-9)


@pytest.mark.parametrize("kind", list(Kind))
def test_the_gradient_of_the_convex_distance_is_a_unit_subgradient(kind: Kind) -> None:
    rng = np.random.default_rng(SEED + 400 + int(kind))
    count = 20_000
    p, x = solids(kind, count, rng), points(count, rng)
    if kind is Kind.BOX:  # ties: on edges, corners and the middle planes
        middle = (p[0:3] + p[3:6]) / 2.0
        x[:, ::5] = middle[:, ::5]
        x[:2, 1::5] = p[3:5, 1::5]
        x[0, 2::5] = middle[0, 2::5]
        x[:, 3::5] = p[3:6, 3::5]
    if kind is Kind.CYLINDER:  # on the axis, on the rim
        x[:2, ::5] = p[:2, ::5]
        x[0, 1::5], x[1, 1::5], x[2, 1::5] = p[0, 1::5] + p[2, 1::5], p[1, 1::5], p[4, 1::5]
    if kind is Kind.SEGMENT:  # on the axis, off either end
        x[1:, ::5] = 0.0
        x[1:, 1::5] = 1e-7
    if kind in RODS:  # on the axis inside and before either end, on the rim, on an end, on the side
        x[1:, ::5] = 0.0
        x[0, 1::5], x[1, 1::5], x[2, 1::5] = p[1, 1::5], p[2, 1::5], 0.0
        x[0, 2::5] = p[0, 2::5]
        x[1, 3::5], x[2, 3::5] = 0.0, -p[2, 3::5]
    y = x + rng.normal(size=(3, count)) * 10.0 ** rng.uniform(-3.0, 2.5, count)
    _, here, g = evaluate(kinds(kind, count), x, p)
    _, there, _ = evaluate(kinds(kind, count), y, p)
    short = there - here - (g * (y - x)).sum(axis=0)
    assert short.min() >= -1e-9
    size = np.linalg.norm(g, axis=0)
    on_axis = (kind is Kind.SEGMENT) & (here <= -p[2] + 1e-9) & (x[1] == 0.0)  # any subgradient up to a unit holds
    assert np.all(np.abs(size - 1.0)[~on_axis] < 1e-9)
    assert np.all(size[on_axis] <= 1.0 + 1e-9)


@pytest.mark.parametrize("kind", [Kind.BORED_BLOCK, Kind.DIE])
def test_the_hull_is_never_farther_than_the_grooved_solid(kind: Kind) -> None:
    rng = np.random.default_rng(SEED + 500 + int(kind))
    p, x = solids(kind, 40_000, rng), points(40_000, rng)
    exact, hull, _ = evaluate(kinds(kind, 40_000), x, p)
    assert np.all(hull <= exact + 1e-9)
    hull_kind, numbers = (Kind.BOX, hull_of_block(p)) if kind is Kind.BORED_BLOCK else (Kind.CYLINDER, hull_of_die(p))
    assert np.array_equal(hull, evaluate(kinds(hull_kind, 40_000), x, numbers)[0])


BOX = (-25.0, -30.0, -35.0, 25.0, 30.0, 35.0)
POST = (0.0, 0.0, 20.0, -40.0, 40.0)
HALF_ROOT = np.sqrt(0.5)

STATIC = [
    # name, kind, parameters, a capsule's centre, direction, its axis length, radius, distance
    ("along z before a box", Kind.BOX, BOX, (100, 0, 0), (0, 0, 1), 100, 10, 65.0),
    ("tilted before a box", Kind.BOX, BOX, (100, 0, 0), (HALF_ROOT, 0, HALF_ROOT), 100, 10, 29.646253378),
    ("off a box's corner", Kind.BOX, BOX, (60, 60, 120), (0, 0, 1), 100, 10, 47.879184514),
    ("without thickness before a box", Kind.BOX, BOX, (100, 0, 0), (0, 0, 1), 100, 0, 75.0),
    ("beside a post", Kind.CYLINDER, POST, (60, 0, 0), (0, 0, 1), 100, 10, 30.0),
    ("off a post's rim", Kind.CYLINDER, POST, (50, 0, 100), (0, 0, 1), 100, 10, 21.622776602),
    ("over a plane", Kind.FLOOR, (-100.0,), (0, 0, 0), (0, 0, 1), 100, 10, 40.0),
    # Two capsules: one stands along the feed from x = −100 to 0 (middle at −50), the other is turned with it.
    ("crosswise, 55 apart", Kind.SEGMENT, (-100.0, 0.0, 10.0), (-50, 0, 55), (0, 1, 0), 100, 10, 35.0),
    ("parallel, offset 30 and 40", Kind.SEGMENT, (-100.0, 0.0, 10.0), (-50, 30, 40), (1, 0, 0), 100, 10, 30.0),
    ("end to end, 150 apart", Kind.SEGMENT, (-100.0, 0.0, 10.0), (100, 0, 0), (1, 0, 0), 100, 10, 30.0),
    ("parallel, overlapping", Kind.SEGMENT, (-100.0, 0.0, 10.0), (-50, 15, 0), (1, 0, 0), 100, 10, -5.0),
    # The mandrel's rod ends flat: from x = −100 to 30, 17.25 in radius.
    ("along a rod", Kind.ROD, (-100.0, 30.0, 17.25), (-50, 0, 60), (1, 0, 0), 50, 10, 32.75),
    ("in line before a rod's end", Kind.ROD, (-100.0, 30.0, 17.25), (90, 0, 0), (1, 0, 0), 50, 10, 25.0),
    ("beside the rim of a rod's end", Kind.ROD, (-100.0, 30.0, 17.25), (60, 57.25, 0), (0, 0, 1), 50, 10, 40.0),
    ("across before a rod's end", Kind.ROD, (-100.0, 30.0, 17.25), (45, 3, 5), (0, 1, 0), 50, 10, 5.0),
    ("parallel in a rod", Kind.ROD, (-100.0, 30.0, 17.25), (-50, 7.25, 0), (1, 0, 0), 50, 10, -20.0),
    ("axes crossing", Kind.SEGMENT, (-100.0, 0.0, 10.0), (-50, 0, 0), (0, 1, 0), 100, 10, -20.0),
]


@pytest.mark.parametrize("case", STATIC, ids=[case[0] for case in STATIC])
def test_the_static_distance_is_the_closed_form(case: tuple) -> None:  # type: ignore[type-arg]
    """Source: closed forms of elementary geometry (box 50 × 60 × 70, post r 20 × 80), which coal 3.0.3 gives too."""
    _, kind, numbers, centre, direction, length, radius, expected = case
    s = np.linspace(-length / 2.0, length / 2.0, 200_001)
    # The nearest point of the axis is found on a fine grid and then inside its two steps.
    for _ in range(3):
        x = np.array(centre, dtype=float)[:, None] + np.array(direction, dtype=float)[:, None] * s
        p = np.zeros((8, s.size))
        p[: len(numbers)] = np.array(numbers)[:, None]
        far = evaluate(kinds(kind, s.size), x, p)[0] - radius
        best, step = s[far.argmin()], s[1] - s[0]
        s = np.clip(np.linspace(best - step, best + step, 2001), -length / 2.0, length / 2.0)
        if step == 0.0:
            break
    assert far.min() == pytest.approx(expected, abs=1e-8)
