"""Looking a profile over finds what is wrong with it, with the right numbers, and nothing else."""

from __future__ import annotations

import math
import time
from dataclasses import replace
from pathlib import Path

import pytest

from planner.inputs.files import load_machine, machine_from_data
from planner.inputs.machine import Machine
from planner.lookover.look import _looked_over, look_over
from planner.lookover.remarks import Remark
from tests.lookover.benches import OLD, TOOL, bench, box, cylinder

PROFILES = sorted((Path(__file__).resolve().parents[2] / "machine_profiles").glob("*.toml"))

TOOLING = (38.1, 76.2)


def clash(one: str, other: str, depth: float, place: tuple[float, float, float], angle: float | None = None,
          tooling: tuple[float, float] | None = TOOLING) -> Remark:  # fmt: skip
    return Remark("solids overlap", (one, other), tooling, depth=depth, angle=angle, place=place)


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_a_shipped_profile_is_clean(path: Path) -> None:
    machine = load_machine(path)
    assert look_over(machine) == ()
    assert machine.notes == ()


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_a_shipped_profile_is_looked_over_in_a_fifth_of_a_second_of_the_processor(path: Path) -> None:
    machine = load_machine(path)
    times = []
    for _ in range(3):
        _looked_over.cache_clear()
        start = time.process_time()
        look_over(machine)
        times.append(time.process_time() - start)
    assert min(times) < 0.2


def test_the_bench_is_clean() -> None:
    assert look_over(bench()) == ()


SPOILED: list[tuple[str, Machine, Remark]] = [
    # The arm's bottom at -230, the post's top at -210.
    ("arm in post", bench(box("arm", "arm", [-40, -130, -230], [50, 0, -60])),
     clash("arm", "post", 20.0, (math.nan, math.nan, -220.0), 0.0)),
    # The horn's axis goes round at 200 mm: x = 200 cos θ comes within 10 of the wall's side, x = 50, at cos θ = 0.3. At 90° it
    # stands at y = -276.2, 26.2 past the wall's face.
    ("horn in wall", bench(cylinder("horn", "arm", [200, -76.2], 10, [-209, -160]),
                           box("wall", "frame", [-50, -400, -209], [50, -250, -160])),
     clash("horn", "wall", 36.2, (0.0, -276.2, -184.5), math.acos(0.3))),
    # The face comes to -300, the slide reaches back to -330; it stands beside it from y = 30 to 80.
    ("slide and carriage", bench(box("pressure die slide", "pressure die", [-330, 30, -120], [-10, 100, -40])),
     clash("carriage", "pressure die slide", 30.0, (-315.0, 55.0, -80.0))),
    # 320 mm of pressure die, the face at 300.
    ("die and carriage", bench(tool={"pressure_die_length": 320}), clash("carriage", "pressure die", 20.0, (-310.0, 40.0, 0.0))),
    # 2250 + 200 mm of carriage, the anchor's front at 2410.
    ("carriage and anchor", bench(carriage={"reach": [300, 2250]}),
     clash("carriage", "rod anchor", 40.0, (-2430.0, 0.0, -80.0), tooling=None)),
    # The cabinet stands at y = 60, the carriage goes by to y = 80.
    ("carriage and cabinet", bench(box("cabinet", "frame", [-1000, 60, -100], [-900, 200, 100])),
     clash("carriage", "cabinet", 20.0, (-950.0, 70.0, -10.0), tooling=None)),
    # The rod is 2 · 9.85 mm thick.
    ("rod in stand", bench(box("stand", "frame", [-2300, 5, -210], [-2250, 60, 60])),
     clash("mandrel rod", "stand", 4.85, (-2275.0, 7.425, 0.0))),
    # The hub's side is 20 mm from the axis, the beam's nearest side 50.
    ("hub in beam", bench(box("beam", "frame", [-50, -150, 200], [50, 50, 400]), tool={"die_hub": {"radius": 20, "height": 600}}),
     clash("beam", "die hub", 70.0, (0.0, -76.2, 250.0))),
    ("wiper and carriage", bench(tool={"wiper_block": {"length": 310, "width": 40, "height": 50}}),
     clash("carriage", "wiper die", 10.0, (-305.0, -20.0, 0.0))),
    ("foot in floor", bench(box("foot", "pressure die", [-200, 150, -1010], [-100, 200, -900])),
     clash("foot", "floor", 10.0, (-150.0, 175.0, -1000.0), tooling=None)),
    # The slide goes forward by 239.4 mm, its bottom at -120, the guard's top at -102.
    ("slide and guard", bench(box("guard", "frame", [60, 60, -118], [150, 90, -102])),
     clash("pressure die slide", "guard", 18.0, (105.0, 75.0, -110.0))),
    # A die of 80 mm that drops 180 reaches to -220, the post's top is at -210.
    ("die dropped on post", bench(head={"die_drops": 180}, tool={"grip_section": False}),
     clash("post", "bend die", 10.0, (0.0, -76.1, -215.0))),
    ("before its face", bench(box("carriage", "carriage", [-200, -80, -210], [8, 80, 80])),
     Remark("carriage before its face", ("carriage",), depth=8.0, place=(8.0, 0.0, -65.0))),
    ("no bed", bench(without=("bed",)), Remark("missing", ("bed",))),
    ("no arm", bench(without=("arm", "clamp slide")), Remark("missing", ("arm",))),
    ("no post", bench(without=("post",)), Remark("missing", ("post",))),
    ("no carriage", bench(without=("carriage",)), Remark("missing", ("carriage",))),
    ("no anchor", bench(without=("rod anchor",)), Remark("missing", ("rod anchor",), found=2400.0)),
    ("too low", bench(head={"centreline_height": 250}), Remark("centreline height", (), found=250.0, needed=300.0)),
    ("too high", bench(head={"centreline_height": 2600}), Remark("centreline height", (), found=2600.0, needed=2500.0)),
    ("wrong side", bench(cylinder("post", "frame", [0, 76], 60, [-1000, -210])),
     Remark("post on the wrong side", ("post", "left", "right"))),
    # (250 - 38.1) / 76.2 radians, 159.3°; 76.2 π + 38.1 mm would do.
    ("die too short", bench(tool={"pressure_die_length": 250}),
     Remark("pressure die too short", ("pressure die",), TOOLING, angle=211.9 / 76.2, found=250.0,
            needed=76.2 * math.pi + 38.1, setting=math.pi)),
    # a = 76.2 - 19.05: √(100² + a²) - a, and √(2 (38.1 + 2)) for 2 mm to the lips.
    ("opens too little", bench(tool={"clamp_block": {"width": 60, "height": 60, "opens": 60}}),
     Remark("clamp opens too little", ("clamp die",), TOOLING, found=60.0,
            needed=math.hypot(100.0, 57.15) - 57.15 + math.sqrt(80.2), length=100.0, way="eased off")),
]  # fmt: skip


def test_a_pressure_die_that_keeps_its_rule_up_to_the_largest_setting_is_not_called_too_short() -> None:
    long_enough = 76.2 * math.pi + 38.1
    assert look_over(bench(tool={"pressure_die_length": long_enough - 0.9e-6})) == ()
    (remark,) = look_over(bench(tool={"pressure_die_length": long_enough - 1.1e-6}))
    assert remark.kind == "pressure die too short"


def numbers(remark: Remark) -> list[float]:
    """The numbers of a remark in one list, None as 0."""
    single = (remark.depth, remark.angle, remark.found, remark.needed, remark.setting, remark.length)
    return [0.0 if x is None else x for x in (*single, *(remark.place or ()), *(remark.tooling or ()))]


def bare(remark: Remark) -> Remark:
    """A remark without its measured numbers."""
    return replace(remark, depth=None, angle=None, place=None, found=None, needed=None, setting=None, length=None)


def same(found: Remark, expected: Remark) -> bool:
    """Whether two remarks say the same; a place that is not known by hand counts as found."""
    known = [(x, y) for x, y in zip(numbers(found), numbers(expected), strict=True) if not math.isnan(y)]
    return bare(found) == bare(expected) and [x for x, _ in known] == pytest.approx([y for _, y in known], abs=0.011)


@pytest.mark.parametrize(("machine", "expected"), [case[1:] for case in SPOILED], ids=[case[0] for case in SPOILED])
def test_a_spoiled_bench_gives_that_one_remark_with_its_numbers(machine: Machine, expected: Remark) -> None:
    (found,) = look_over(machine)
    assert same(found, expected), found


def mirrored(remark: Remark) -> Remark:
    """A remark as the same bender with the other head would give it."""
    place = None if remark.place is None else (remark.place[0], -remark.place[1], remark.place[2])
    swap = {"left": "right", "right": "left"}
    return replace(remark, place=place, names=tuple(swap.get(name, name) for name in remark.names))


@pytest.mark.parametrize(
    "machine", [*(case[1] for case in SPOILED), *OLD.values()], ids=[*(case[0] for case in SPOILED), *OLD]
)
def test_the_other_head_gives_the_same_remarks_in_a_mirror(machine: Machine) -> None:
    straight, other = look_over(machine), look_over(machine.mirrored())
    assert len(straight) == len(other)
    for one, two in zip(straight, other, strict=True):
        assert bare(mirrored(one)) == bare(two)
        assert numbers(mirrored(one)) == pytest.approx(numbers(two), abs=1e-6)


def overlaps(name: str) -> dict[tuple[str, ...], Remark]:
    return {one.names: one for one in look_over(OLD[name]) if one.kind == "solids overlap"}


@pytest.mark.parametrize(
    ("name", "corner", "bed"),
    [
        # The arm's far corner seen from the die axis, and the bed's front: for the tooling that meets it first.
        ("canal-workshop", (120.0, -120.0 + 50.8), -120.0),
        ("under-the-loft", (120.0, -120.0 + 76.2), -120.0),
        ("long-bed", (240.0, -220.0 + 101.6), -260.0),
    ],
)
def test_the_arm_of_an_old_profile_swings_into_its_bed(name: str, corner: tuple[float, float], bed: float) -> None:
    """By hand: clockwise by θ the corner at r∠φ comes to x = r cos(φ − θ), the bed's front, at θ = φ + arccos(bed / r)."""
    begins = math.atan2(corner[1], corner[0]) + math.acos(bed / math.hypot(*corner))
    remark = overlaps(name)["arm", "bed"]
    assert remark.angle == pytest.approx(begins, abs=2e-4)
    assert math.radians(120.0) < begins < math.radians(141.0)
    assert remark.depth is not None
    assert remark.depth > 5.0


@pytest.mark.parametrize("name", list(OLD))
def test_an_old_profiles_arm_stands_in_the_slide_at_home_and_its_carriage_runs_into_it(name: str) -> None:
    found = overlaps(name)
    assert found["arm", "pressure die slide"].angle == 0.0
    assert ("carriage", "pressure die slide") in found
    missing = [one.names for one in look_over(OLD[name]) if one.kind == "missing"]
    assert missing == [("rod anchor",)]


def test_an_old_profiles_longest_pressure_die_meets_the_carriage() -> None:
    """By hand: 320 mm against 250 mm; on the long bed 460 against 380."""
    one, other = (
        overlaps("canal-workshop")["carriage", "pressure die"],
        overlaps("long-bed")["collet nose", "pressure die"],
    )
    assert (one.depth, one.tooling) == (pytest.approx(70.0), (38.1, 114.3))
    assert (other.depth, other.tooling) == (pytest.approx(80.0), (76.2, 152.4))
    assert ("carriage", "pressure die") not in overlaps("under-the-loft")


def test_an_old_profiles_pressure_dies_and_clamps_fall_short() -> None:
    told = [(one.kind, one.tooling) for one in look_over(OLD["canal-workshop"]) if one.kind != "solids overlap"]
    assert told == [
        ("missing", None),
        ("pressure die too short", (38.1, 76.2)),
        ("pressure die too short", (38.1, 114.3)),
        ("clamp opens too little", (38.1, 76.2)),
        ("clamp opens too little", (25.4, 50.8)),
        ("clamp opens too little", (38.1, 114.3)),
    ]


def test_metres_typed_for_millimetres_are_told_first() -> None:
    first, *others = look_over(bench(head={"centreline_height": 1.5}))
    assert (first.kind, first.found, first.needed) == ("centreline height", 1.5, 300.0)
    assert {one.names[1] for one in others} == {"floor"}


def test_two_solids_are_told_of_once_with_the_tooling_that_meets_first() -> None:
    second = TOOL | {"bend_radius": 114.3, "pressure_die_length": 290, "pressure_die_follows": False}
    both = bench().normalised()
    both["solid"] += [cylinder("horn", "arm", [200, -76.2], 10, [-209, -160]),
                      box("wall", "frame", [-50, -400, -209], [50, -250, -160])]  # fmt: skip
    both["tooling"] += [second]
    found = [one for one in look_over(machine_from_data(both)) if one.names == ("horn", "wall")]
    # About (0, -114.3) the horn goes round at √(200² + 38.1²), ahead by 10.8°: x = 60 at an angle of 72.9° + 10.8°.
    ahead = math.atan2(38.1, 200.0) + math.acos(60.0 / math.hypot(200.0, 38.1))
    assert [one.tooling for one in found] == [(38.1, 76.2)]
    assert math.acos(0.3) < ahead


def test_what_belongs_together_is_no_clash() -> None:
    """The clamp slide in the arm, the post in the bed, the rod in the collet, the wiper in the die, the hub in the arm."""
    together = bench(
        box("bed", "frame", [-2600, -100, -1000], [60, 100, -210]),
        box("clamp slide", "arm", [0, -60, -150], [80, 140, -40]),
        tool={"wiper_block": {"length": 100, "width": 60, "height": 60}, "die_hub": {"radius": 30, "height": 160}},
    )
    assert look_over(together) == ()


def test_a_hand_fed_bender_without_rod_needs_neither_carriage_nor_anchor() -> None:
    data = bench(without=("carriage", "rod anchor")).normalised()
    del data["carriage"], data["mandrel"], data["tooling"][0]["mandrel"]
    assert look_over(machine_from_data(data)) == ()


def test_a_pressure_die_that_stands_still_lasts_for_any_setting() -> None:
    assert look_over(bench(tool={"pressure_die_follows": False, "pressure_die_length": 150})) == ()
    rest = bench(tool={"pressure_die_length": 250, "pressure_rest": 10})
    assert look_over(rest) == ()


def test_a_profile_is_looked_over_whatever_file_it_comes_from() -> None:
    machine = bench(without=("bed",))
    assert look_over(machine.model_copy(update={"source": "somewhere.toml"})) == look_over(machine)
