"""Gauges, units and springback against handbook tables, published constants and closed forms checked by integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.constants
from scipy.integrate import quad

from planner.inputs.files import part_from_data
from planner.inputs.gauges import BWG_INCHES, wall_of_gauge
from planner.inputs.materials import MATERIALS, find_material
from planner.inputs.quantities import MM_PER_INCH
from planner.inputs.springback import springback_share

# Machinery's Handbook (Oberg et al., 2012), Birmingham or Stubs iron wire gauge; the inch is exact, mm = inch x 25.4.
HANDBOOK = """
22 0.028 0.7112
21 0.032 0.8128
20 0.035 0.8890
19 0.042 1.0668
18 0.049 1.2446
17 0.058 1.4732
16 0.065 1.6510
15 0.072 1.8288
14 0.083 2.1082
13 0.095 2.4130
12 0.109 2.7686
11 0.120 3.0480
10 0.134 3.4036
9  0.148 3.7592
8  0.165 4.1910
7  0.180 4.5720
"""


@pytest.mark.parametrize("row", [line.split() for line in HANDBOOK.strip().splitlines()])
def test_a_gauge_is_the_handbooks_wall(row: list[str]) -> None:
    gauge, inch, mm = int(row[0]), float(row[1]), float(row[2])
    assert BWG_INCHES[gauge] == inch
    assert wall_of_gauge(f"{gauge} BWG") == pytest.approx(mm, abs=1e-9)


def test_there_are_sixteen_gauges_and_no_other_is_known() -> None:
    assert len(BWG_INCHES) == len(HANDBOOK.strip().splitlines()) == 16
    for unknown in (
        "16",
        "16 ga",
        "16.5 BWG",
        "100 BWG",
        "6 BWG",
        "23 BWG",
        "0 BWG",
        "16 SWG",
        "16 BSWG",
        "-16 BWG",
        "",
    ):
        assert wall_of_gauge(unknown) is None


def test_the_inch_is_25_4_mm_exactly() -> None:
    """NIST SP 811; scipy.constants.inch (CODATA)."""
    assert MM_PER_INCH == 25.4
    assert scipy.constants.inch * 1000 == pytest.approx(MM_PER_INCH, rel=1e-15)
    assert scipy.constants.psi == pytest.approx(6894.757293168361, rel=1e-12)


@pytest.mark.parametrize(("inches", "mm"), [(1 / 16, 1.5875), (5 / 16, 7.9375), (7 / 8, 22.225), (3 / 16, 4.7625)])
def test_fractions_of_an_inch_come_out_clean(inches: float, mm: float) -> None:
    """3/16 x 25.4 is 4.762499999999999 in binary; what is kept of a file is 4.7625."""
    tube = {"outside_diameter": 1.5, "wall": 0.065, "material": "304"}
    shape = {"bend_radius": 3, "lra": [[inches, 0, 90], [10]]}
    part = part_from_data({"name": "fraction", "units": "in", "tube": tube, "shape": shape})
    assert part.straights[0] == mm


# E [MPa], yield [MPa], diameter x wall [mm], loaded radius [mm]; s, radius after release [mm], angle to set for 90 deg.
# Closed form of the elastic, perfectly plastic tube; checked by scipy quad and by a two-dimensional grid sum.
SPRINGBACK = [
    (193e3, 205, 25.4, 1.651, 50.8, 0.00576712, 51.09467, 90.5221),
    (205e3, 414, 38.1, 1.651, 76.2, 0.01073637, 77.02699, 90.977),
    (68.9e3, 241, 12.7, 0.889, 38.1, 0.02862235, 39.22264, 92.652),
    (103e3, 275, 48.3, 3.2, 150, 0.02253589, 153.45832, 92.075),
    (68.9e3, 241, 12.7, 0.889, 500, 0.37009758, 793.77375, None),
]


@pytest.mark.parametrize(
    ("modulus", "strength", "diameter", "wall", "radius", "share", "released", "setting"), SPRINGBACK
)
def test_springback_of_a_tube_is_that_of_the_classical_theory(
    modulus: float, strength: float, diameter: float, wall: float, radius: float, share: float, released: float,
    setting: float | None,
) -> None:  # fmt: skip
    found = springback_share(diameter / 2, diameter / 2 - wall, radius, strength, modulus)
    assert found == pytest.approx(share, abs=1e-7)
    assert radius / (1 - found) == pytest.approx(released, abs=1e-4)
    if setting is not None:
        assert 90 / (1 - found) == pytest.approx(setting, abs=1e-3)


@pytest.mark.parametrize(("modulus", "strength", "diameter", "wall", "radius"), [row[:5] for row in SPRINGBACK])
def test_springback_agrees_with_integrating_the_stress_over_the_section(
    modulus: float, strength: float, diameter: float, wall: float, radius: float
) -> None:
    """M = ∫ stress · y · width dy, the stress elastic up to the yield and constant beyond (scipy.integrate.quad)."""
    outer, inner = diameter / 2, diameter / 2 - wall
    core = strength * radius / modulus

    def moment_of(a: float) -> float:
        def slice_moment(y: float) -> float:
            return 2 * math.sqrt(max(a * a - y * y, 0.0)) * y * min(strength, modulus * y / radius)

        bends = [core] if core < a else None
        return 2 * float(quad(slice_moment, 0.0, a, points=bends, epsabs=1e-9, epsrel=1e-11, limit=200)[0])

    second_moment = math.pi / 4 * (outer**4 - inner**4)
    oracle = (moment_of(outer) - moment_of(inner)) * radius / (modulus * second_moment)
    assert springback_share(outer, inner, radius, strength, modulus) == pytest.approx(oracle, abs=1e-8)


@pytest.mark.parametrize(
    ("x", "share"),
    [(0.01, 0.0127321832), (0.1, 0.1271114284), (0.2, 0.2529399219), (0.5, 0.6089977810), (0.9, 0.9626139265)],
)
def test_a_thin_tube_comes_to_the_thin_tubes_closed_form(x: float, share: float) -> None:
    """s = (2/π)(asin x + x √(1 - x²)), x = Y R/(E r): checked by scipy quad on a ring."""
    mean, wall, modulus, strength = 20.0, 1e-4, 200e3, 200.0
    radius = x * modulus * mean / strength
    found = springback_share(mean + wall / 2, mean - wall / 2, radius, strength, modulus)
    assert found == pytest.approx(share, abs=1e-5)


def test_before_first_yield_the_tube_opens_all_the_way() -> None:
    """E 200e3, Y 300, 50 x 2 mm: first yield at R = E D/(2Y) = 16666.67 mm; R 16000 gives 0.99787912."""
    assert springback_share(25, 23, 16000, 300, 200e3) == pytest.approx(0.99787912, abs=1e-7)
    assert springback_share(25, 23, 200e3 * 25 / 300, 300, 200e3) == pytest.approx(1.0, abs=1e-12)
    assert springback_share(25, 23, 20000, 300, 200e3) == 1.0


def test_the_radius_to_load_for_a_wanted_radius() -> None:
    """First tube, 50.8 mm wanted after release: loaded 50.508710 mm, s 0.00573405 (scipy brentq)."""
    share = springback_share(12.7, 12.7 - 1.651, 50.508710, 205, 193e3)
    assert share == pytest.approx(0.00573405, abs=1e-7)
    assert 50.508710 / (1 - share) == pytest.approx(50.8, abs=1e-5)


# Ranges of yield [MPa] and modulus [GPa] that contain the standards' figures; most of them from memory, with agreeing
# secondary pages: ASTM A554, A513, B241, B210, B338, B75, EN 10305-1; copper-nickel: Copper Development Association.
RANGES = {
    "304": (205, 205, 193, 200),
    "304L": (170, 170, 193, 200),
    "1020 DOM": (345, 415, 200, 210),
    "E235+N": (235, 235, 200, 210),
    "E235+SR": (350, 350, 200, 210),
    "E355+N": (355, 355, 200, 210),
    "6061-T6": (240, 241.4, 68.3, 70),
    "6061-O": (0, 97, 68.3, 70),
    "titanium grade 2": (275, 450, 103, 107),
    "C70600": (90, 160, 124, 135),
    "C12200 annealed": (62, 69, 115, 117),
    "C12200 drawn": (205, 206.9, 115, 117),
}


@pytest.mark.parametrize("name", list(RANGES))
def test_materials_lie_within_the_standards_ranges(name: str) -> None:
    least, most, softest, stiffest = RANGES[name]
    material = find_material(name)
    assert material is not None
    assert least <= material.yield_strength <= most
    assert softest * 1000 <= material.modulus <= stiffest * 1000
    assert material.source


def test_every_material_is_held_against_a_range() -> None:
    assert len({find_material(name) for name in RANGES}) == len(MATERIALS)


def test_a_two_point_table_is_the_line_that_least_squares_give() -> None:
    """Set 30 and 120, came out 28.6 and 116.5: for 90 set 92.8669, for 45 set 46.7918 (numpy.polyfit)."""
    from planner.inputs.files import load_machine
    from planner.inputs.springback import setting_for

    slope, offset = np.polyfit([30, 120], [28.6, 116.5], 1)
    machine = load_machine("canal-workshop")
    assert machine.springback is not None
    pairs = ((math.radians(28.6), math.radians(30)), (math.radians(116.5), math.radians(120)))
    machine = machine.model_copy(update={"springback": machine.springback.model_copy(update={"measured": pairs})})
    tube = {"outside_diameter": 38.1, "wall": 1.65, "material": "304"}
    part = part_from_data(
        {"name": "r", "units": "mm", "tube": tube, "shape": {"bend_radius": 76.2, "lra": [[200, 0, 90], [200]]}}
    )
    for angle, setting in ((90, 92.8669), (45, 46.7918)):
        found = math.degrees(setting_for(math.radians(angle), machine, part, 76.2).value)
        assert found == pytest.approx(setting, abs=1e-4)
        assert found == pytest.approx((angle - offset) / slope, abs=1e-9)
