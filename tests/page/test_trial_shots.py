"""The film of an order that was tried: every pose against the motions that were certified, and where it stops.

The tube is walked by the tests' own walker; the motions' own pieces say where it must be, and plain sampling of its
surface when it first touches something.
"""

from __future__ import annotations

import itertools
import json
import math
import pickle
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from planner.advice.notation import read_order, straight_through
from planner.advice.order_trial import Tryout, tried_with_motions
from planner.errors import InputError
from planner.feasibility.cases import case_of, surroundings_of
from planner.inputs.machine import Machine, Solid
from planner.inputs.part import Part
from planner.page.film import Pose, Shot
from planner.page.trial_shots import Played, TriedFilm, _TrialFilming, tried_film, tried_task
from planner.plans.document import OrderedBend
from planner.search.search import Search
from planner.sequencing.exact import Exact
from planner.tube.bodies import Body, Motion, Path, Phase
from tests.advice.parts import EXAMPLES, every_order, example, random_jobs, searched
from tests.advice.test_order_trial import a_hook_beside_the_tail, opens_too_little
from tests.geometry.distances import to_box, to_cylinder, to_floor
from tests.page.walker import places
from tests.plan.planned import KINDS, part_for
from tests.plan.shop import bender, rod_that_asks_for_a_turn, tube

Array = NDArray[np.float64]
Order = tuple[OrderedBend, ...]

X, Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


# ------------------------------------------------------------------------------------------------- where the tube is


def at(film: dict[str, Any], leads: str, pose: Pose, from_lead: Array) -> Array:
    """Points (k, 3) of places counted from the part's leading end [mm]."""
    tube = film["tube"]
    length = sum(tube["straights"]) + sum(r * a for r, a in zip(tube["radii"], tube["angles"], strict=True))
    from_a = from_lead if leads == "A" else length - from_lead
    return places(film, leads, list(pose), tube["trim"]["A"] + from_a)


def moved(points: Array, body: Body, motion: Motion, t: float) -> Array:
    """Points (k, 3) of a rigid body at a moment of a motion."""
    axis, centre = (X, 0.0 * X) if body.about_feed else (Z, np.array([0.0, motion.toward * motion.bend_radius, 0.0]))
    turned = Rotation.from_rotvec(body.turn * t * axis).apply(points - centre) + centre
    return np.asarray(turned + body.shift * t * X)


def off_by(film: dict[str, Any], leads: str, pose: Pose, motion: Motion, t: float) -> float:
    """How far the walked tube lies from the pieces of a motion at a moment, at most [mm]."""
    worst = 0.0
    for body in motion.bodies:
        pieces = body.pieces
        for k in range(pieces.count):
            u, sign, s = float(pieces.u[k]), pieces.u_sign, np.linspace(0.0, float(pieces.length[k]), 3)
            points = pieces.points(s, k).T
            if body.path is Path.GROWING:  # the material that lies at s: tube runs through from the tangent point
                begun, change = float(body.length_at_start or 0.0), body.length_change
                exists = begun + t * change
                s, points = s[s <= exists], points[s <= exists]
                here = at(film, leads, pose, u - (max(begun, begun + change) - exists) + sign * s)
            elif body.path is Path.RIGID and body.length_at_start is None:
                here, points = at(film, leads, pose, u + sign * s), moved(points, body, motion, t)
            else:  # the straight through the die and the tail lie on the feed's axis as sets
                continue
            if len(points):
                worst = max(worst, float(np.abs(here - points).max()))
    return worst


# ------------------------------------------------------------------------------------------------ what was tried


def all_played(filming: _TrialFilming, tryout: Tryout) -> Iterator[Played]:
    """Every motion that a film is made of."""
    for made in tryout.made:
        yield from filming.of_made(made)
    if tryout.shown is not None:
        yield from filming.of_what_fails(tryout.shown)


SLOW = {"crowded 9"}
"""Parts whose ways on and off the rod alone take half a minute to look for."""


def jobs(count: int, each: int) -> Iterator[tuple[str, Part, Machine]]:
    """Random parts on benders of both heads, with and without carriage, that re-grip, release and turn."""
    for place, kind in enumerate(KINDS):
        for seed in range(50 * place, 50 * place + each):
            part, changes = part_for(kind, seed), list(KINDS[kind])
            rod = rod_that_asks_for_a_turn(part) if kind.startswith("turned") else None
            yield kind, part, bender(*changes, *([{"mandrel": {"rod_length": rod}}] if rod else []))
    for job in random_jobs(count):
        if job.part.n_bends <= 5 and job.name not in SLOW:
            yield job.name, job.part, job.machine


Tried = tuple[str, Search, Order, Tryout, TriedFilm]


@pytest.fixture(scope="module")
def tried(campaign: bool) -> list[Tried]:
    """Random orders of random parts, tried; nothing was planned before."""
    rng, found = np.random.default_rng(7), []
    for name, part, machine in jobs(200 if campaign else 24, 6 if campaign else 1):
        case = case_of(part, machine)
        search = Search.of(case, surroundings_of(case), Exact())
        ways = list(every_order(part.n_bends))
        chosen = {ways[k] for k in rng.integers(len(ways), size=2)}
        for order in sorted(chosen | set(straight_through(part.n_bends)[:1]), key=repr):
            tryout = tried_with_motions(search, order, None)
            found.append((name, search, order, tryout, tried_film(case, tryout)))
    return found


def test_the_walked_tube_is_where_the_certified_motions_have_it(tried: list[Tried]) -> None:
    seen, worst = Counter[object](), 0.0
    for name, search, _, tryout, shown in tried:
        filming, film = _TrialFilming(search.case, tryout), shown.film.as_dict()
        for played in all_played(filming, tryout):
            if played.place.trims != filming.trims:
                continue
            leads, motion = played.place.at.leads, played.motion
            for t in (0.0, 0.5, 1.0):
                off = off_by(film, leads, filming.posing.pose(played, t), motion, t)
                worst = max(worst, off)
                assert off < 1e-6, (name, played.when, motion.phase, leads, t, off)
            seen[played.when, motion.phase, leads, motion.toward] += 1
    phases = (Phase.PLACE, Phase.BEND, Phase.OPEN, Phase.RETURN, Phase.RUN)
    for phase, leads, side in itertools.product(phases, "AB", (-1, 1)):
        assert sum(count for key, count in seen.items() if key[1:] == (phase, leads, side)) >= 4, (phase, leads, side)
    whens = {"on", "run on", "move", "bend", "run off", "return", "off"}
    assert {key[0] for key in seen} - {"alone"} == whens  # type: ignore[index]
    assert any(key[1] is Phase.REGRIP for key in seen)  # type: ignore[index]


def test_arm_and_dies_stand_as_the_motions_have_them(tried: list[Tried]) -> None:
    for _, search, _, tryout, _ in tried:
        filming = _TrialFilming(search.case, tryout)
        for played, t in itertools.product(all_played(filming, tryout), (0.0, 0.5, 1.0)):
            motion, pose = played.motion, filming.posing.pose(played, t)
            _, _, arm, _, pressure, clamp_open, pressure_open, drop, *_ = pose
            runs = motion.phase is Phase.RUN  # it is held against the carriage alone, whatever the dies do
            ends = (motion.arm,) if runs else (motion.arm, motion.pressure, motion.drop)
            assert [arm, pressure, drop][: len(ends)] == pytest.approx([np.interp(t, (0, 1), pair) for pair in ends])
            if runs and played.when == "bend":
                assert clamp_open == pressure_open == 0.0  # the dies hold the tube of the job's last bend
                continue
            closed = {Phase.CLOSE: t, Phase.BEND: 1.0, Phase.REGRIP: 1.0, Phase.OPEN: 1.0 - t}.get(motion.phase, 0.0)
            assert clamp_open == pressure_open == pytest.approx(1.0 - closed)


def test_the_carriage_stands_where_it_was_certified_and_goes_with_the_tube_that_it_holds(tried: list[Tried]) -> None:
    followed = Counter[str]()
    for name, search, _, tryout, shown in tried:
        filming, carriage = _TrialFilming(search.case, tryout), search.case.machine.carriage
        for played, t in itertools.product(all_played(filming, tryout), (0.0, 1.0)):
            face = filming.posing.pose(played, t)[3]
            if carriage is None:
                assert face == -1.0
            elif search.checks.carried and played.motion.face is not None:
                assert face == pytest.approx(np.interp(t, (0, 1), played.motion.face)), (name, played.when)
                followed["certified"] += 1
        for shot, caption in zip(shown.film.shots, shown.captions, strict=True):
            if carriage is None or caption in ("re-grip", "open collet", "carriage back", "carriage forward"):
                followed[caption] += carriage is not None
                continue
            if shot.released:
                assert {pose[3] for pose in shot.poses} == {carriage.waits_at}, (name, shot.step, caption)
                continue
            held = {round(pose[0] + pose[3], 6) for pose in shot.poses}  # the tail end, from the collet's face
            assert len(held) == 1, (name, shot.step, caption)
            followed["held"] += 1
            # The hold was chosen for the exact setting; what the dial can show may draw the tube farther.
            more = 1e-6 + search.case.part.radii.max() * search.case.machine.rotation.resolution
            assert carriage.reach[0] - more <= shot.poses[-1][3] <= carriage.reach[1] + more, (name, caption)
    assert followed["certified"] >= 100
    assert followed["held"] >= 200
    assert min(followed[caption] for caption in ("re-grip", "carriage back", "carriage forward")) >= 1, followed


# ----------------------------------------------------------------------------------------------- where a film stops


def surface(film: dict[str, Any], shot: Shot, pose: Pose, from_a: Array, rim: int) -> Array:
    """Points (k, 3) on the surface of the tube at places from end A; two points 0.02 mm apart say where it runs."""
    raw = film["tube"]["trim"]["A"] + from_a
    centre, ahead, behind = (places(film, shot.leads, list(pose), raw + d) for d in (0.0, 0.01, -0.01))
    along = (ahead - behind) / np.linalg.norm(ahead - behind, axis=1)[:, None]
    across = np.cross(along, np.where(np.abs(along[:, 2:]) < 0.9, Z, X))
    across /= np.linalg.norm(across, axis=1)[:, None]
    angle = np.linspace(0.0, 2.0 * np.pi, rim, endpoint=False)[:, None, None]
    ring = np.cos(angle) * across + np.sin(angle) * np.cross(along, across)
    return np.asarray((centre + film["tube"]["radius"] * ring).reshape(-1, 3))


def clearance(machine: Machine, solid: Solid | None, points: Array) -> Array:
    """Signed distances (k,) of points to a solid of the profile that stands with the frame; None: to the floor [mm]."""
    if solid is None:
        return to_floor(np.array([-machine.head.centreline_height]), points)
    if solid.box is not None:
        return to_box(np.array([*solid.box.from_, *solid.box.to]), points)
    assert solid.cylinder is not None
    return to_cylinder(np.array([*solid.cylinder.centre, solid.cylinder.radius, *solid.cylinder.z]), points)


def standing_still(machine: Machine) -> dict[str, Solid | None]:
    """Floor and solids that stand with the frame, by name: all that the whole tube keeps clear of whatever it does."""
    return {"floor": None} | {solid.name: solid for solid in machine.solid if solid.moves_with == "frame"}


def pose_at(shot: Shot, share: float) -> Pose:
    return tuple((1.0 - share) * np.array(shot.poses[0]) + share * np.array(shot.poses[-1]))


def test_a_film_stops_at_the_moment_at_which_the_tube_first_touches_something(tried: list[Tried]) -> None:
    stopped = Counter[str]()
    for name, search, order, tryout, shown in tried:
        contact, machine = tryout.tried.contact, search.case.machine
        solids = standing_still(machine)
        if contact is None or contact.t is None or contact.doing == "return" or not contact.touches:
            continue
        film, shot = shown.film.as_dict(), shown.film.shots[-1]
        trim = film["tube"]["trim"]
        ends = (0.02 - trim["A"], search.case.part.developed_length + trim["B"] - 0.02)
        everywhere = np.linspace(*ends, int((ends[1] - ends[0]) / 5.0) + 2)
        if contact.solid in solids:
            near = np.clip(np.linspace(contact.place - 2.0, contact.place + 2.0, 17), *ends)  # type: ignore[operator]
            points = surface(film, shot, shot.poses[-1], near, 720)
            least = float(clearance(machine, solids[contact.solid], points).min())
            if contact.t > 0.0:
                assert abs(least) < 0.4, (name, order, contact)
            else:
                assert least < 0.05, (name, order, contact)
            stopped[f"{contact.doing} {'at once' if contact.t == 0.0 else ''}"] += 1
        if contact.t == 0.0:
            continue
        for share in np.linspace(0.0, 1.0 - 1e-3 / contact.t, 12) if contact.t > 1e-3 else ():
            points = surface(film, shot, pose_at(shot, float(share)), everywhere, 24)
            for solid in solids.values():
                assert clearance(machine, solid, points).min() > -0.05, (name, order, contact, share)
    assert stopped.total() >= 10, stopped
    assert stopped["bend "] >= 4, stopped


def hangs_at(leg: float, height: float, radius: float) -> float:
    """Angle below the level at which the flat end of a leg, counted from the feed's axis, touches the floor [rad].

    By hand: its lowest point is the rim of its end, leg · sin β + radius · cos β below the axis.
    """
    return math.asin(height / math.hypot(leg, radius)) - math.atan2(radius, leg)


def leg_below_level(shown: TriedFilm, place: float) -> float:
    """Angle below the level of a point of the tube about the feed's axis where a film stops [rad]."""
    film, shot = shown.film.as_dict(), shown.film.shots[-1]
    (_, y, z), *_ = places(film, shot.leads, list(shot.poses[-1]), np.array([place]))
    return math.atan2(-z, abs(y))


def test_the_leg_of_the_turned_example_is_shown_until_it_touches_the_floor() -> None:
    """A leg of 1130 beyond the centreline radius of 76.2 under a centreline at 1050, as it is laid in for bend 2."""
    part, machine = example("lockside-rail")
    search, decision, _ = searched(part, machine)
    tryout = tried_with_motions(search, read_order("1B 2A 3A 4A", 4), decision.plan)
    contact, shown = tryout.tried.contact, tried_film(search.case, tryout)
    assert contact is not None
    assert (contact.step, contact.doing, contact.solid, contact.touches) == (2, "load", "floor", True)
    assert "156.2 mm deep" in contact.reasons[0].sentence
    assert shown.captions[-2:] == ("load", "rotate")
    assert shown.marks == ({"solid": "floor", "place": contact.place, "text": contact.sentence},)
    assert contact.place == pytest.approx(0.0, abs=0.1)
    # Within 1e-4 of a rotation by 60°, and the clearance of a hair.
    assert leg_below_level(shown, 0.0) == pytest.approx(hangs_at(1206.2, 1050.0, 19.05), abs=math.radians(0.007))


def test_a_leg_that_hangs_into_the_floor_where_it_is_bent_is_shown_on_its_way_there() -> None:
    """A leg of 1150 beyond the centreline radius of 76.2, rotated down from the level after the first bend."""
    part, machine = example("cabin-grab-rail")
    search, decision, _ = searched(part, machine)
    tryout = tried_with_motions(search, read_order("1A 2A", 2), decision.plan)
    shown = tried_film(search.case, tryout)
    leg = float(part.straights[0]) + 76.2
    assert tryout.tried.contact is not None
    assert tryout.tried.contact.doing == "move"
    assert shown.captions[-2:] == ("advance", "rotate")
    angle = leg_below_level(shown, 0.0)
    assert angle == pytest.approx(hangs_at(leg, machine.head.centreline_height, part.radius), abs=math.radians(0.01))


def test_a_carriage_that_strikes_as_it_runs_back_is_shown_until_it_touches() -> None:
    """A hook beside the tail, as in the tests of tried orders: its near side lies 397.15 behind the tangent point."""
    search = a_hook_beside_the_tail()
    tryout = tried_with_motions(search, read_order("1A 2A 3A", 3), None)
    shown = tried_film(search.case, tryout)
    assert shown.captions[-3:] == ("return", "open collet", "carriage back")
    last = shown.film.shots[-1]
    assert last.released
    faces = [pose[3] for pose in last.poses]
    assert faces == pytest.approx([180.0, 397.15 - 100.0], abs=0.6)  # within 1e-4 of a run of 5.8 m
    assert last.seconds == pytest.approx((faces[1] - faces[0]) / search.case.machine.speeds.advance, abs=1e-3)


def test_an_arm_that_cannot_go_home_is_shown_on_its_way_past_the_standing_tube() -> None:
    case = case_of(tube([500, 700, 500], [0, 0], [90, 90]), opens_too_little("right"))
    search = Search.of(case, surroundings_of(case), Exact())
    tryout = tried_with_motions(search, read_order("1A 2A", 2), None)
    shown, contact = tried_film(case, tryout), tryout.tried.contact
    assert contact is not None
    assert shown.captions[-4:] == ("close dies", "bend", "open dies", "return")
    first, last = shown.film.shots[-1].poses
    assert (first[0], first[3]) == (last[0], last[3])  # the tube stands
    assert first[2] == pytest.approx(search.checks.settings[0])
    assert contact.moment == f"with the arm at {math.degrees(last[2]):.1f}°"


def test_a_tube_drawn_off_past_the_standing_arm_is_away_as_the_arm_goes_home() -> None:
    case = case_of(tube([700, 300], [0], [178]), bender())
    search = Search.of(case, surroundings_of(case), Exact())
    shown = tried_film(case, tried_with_motions(search, read_order("1A", 1), None))
    assert shown.captions[-4:] == ("carriage back", "return", "unload", "return")
    off, alone = shown.film.shots[-2:]
    assert off.shown
    assert not alone.shown
    assert off.poses[0][2] == off.poses[1][2] == alone.poses[0][2] > 3.0
    assert alone.poses[1][2] == 0.0
    assert off.poses[1][0] > 0.0  # in front of the tangent point


def test_where_a_rule_alone_forbids_a_step_the_tube_is_shown_as_it_would_stand() -> None:
    part, machine = example("lockside-rail")
    search, decision, _ = searched(part, machine)
    tryout = tried_with_motions(search, read_order("1A 2A 3A 4A", 4), decision.plan)
    shown = tried_film(search.case, tryout)
    assert [(shot.step, shot.leads) for shot in shown.film.shots] == [(1, "A")]
    assert shown.captions == ("stands",)
    # By hand: 1130 of the tube are ahead of the tangent point, the rest of its length behind.
    assert shown.film.shots[0].poses[0][0] == pytest.approx(1130.0 - part.developed_length)
    (mark,) = shown.marks
    assert mark["solid"] is None
    assert mark["place"] == pytest.approx(1130.0 + 76.2 * math.pi / 4.0, abs=0.01)
    assert "4849.2 mm of tube go over the mandrel at the load; the rod is 3600.0 mm long." in mark["text"]


# ------------------------------------------------------------------------------------------------- the whole film


def test_shots_follow_one_another_without_a_jump(tried: list[Tried]) -> None:
    """Within a load; between loads the tube is in free hands. A whole turn of the roll is no jump."""
    compared = 0
    for name, _, order, _, shown in tried:
        for (before, shot), caption in zip(itertools.pairwise(shown.film.shots), shown.captions[1:], strict=False):
            assert before.step <= shot.step
            if caption in ("load", "turn end for end", "reload", "stands") or not before.shown:
                continue
            gone = np.array(shot.poses[0]) - np.array(before.poses[-1])
            gone[1] -= 2.0 * math.pi * round(gone[1] / (2.0 * math.pi))
            assert np.abs(gone).max() < 1e-9, (name, order, shot.step, caption, gone)
            compared += 1
    assert compared >= 300


def test_a_film_goes_as_far_as_its_order(tried: list[Tried]) -> None:
    for name, _, order, tryout, shown in tried:
        answer, shots = tryout.tried, shown.film.shots
        assert len(shots) == len(shown.captions)
        assert {shot.step for shot in shots} <= {step.number for step in answer.steps if step.standing != "not reached"}
        if answer.judged.verdict == "goes":
            assert {shot.step for shot in shots} == set(range(1, len(order) + 1)), name
            reached = shots[-1].poses[-1][8:]
            assert reached == pytest.approx(shown.film.tube["angles"]), "the part is not finished"
            assert shown.marks == ()
        else:
            assert len(shown.marks) == 1
            assert answer.contact is not None
            assert shown.marks[0]["text"] == answer.contact.sentence


def test_an_order_is_tried_from_documents_and_the_answer_goes_through_a_pipe() -> None:
    part, machine = example("lockside-rail")
    found = tried_task(part.normalised(), machine.normalised(), "1B 2A 3A 4A")
    assert pickle.loads(pickle.dumps(found)) == found
    assert set(found) == {"tried", "film", "marks", "captions"}
    assert json.loads(json.dumps(found["tried"])) == found["tried"]
    assert found["tried"]["schema"] == "bendorder-tried/1"
    assert [step["standing"] for step in found["tried"]["steps"]] == ["goes", "fails", "not reached", "not reached"]
    assert len(found["film"]["shots"]) == len(found["captions"])
    assert tried_task(part.normalised(), machine.normalised(), "1B 2A 3A 4A") == found


def test_what_is_no_order_of_the_part_is_refused() -> None:
    part, machine = example("lockside-rail")
    with pytest.raises(InputError, match="bend 4 is missing"):
        tried_task(part, machine, "1A 2A 3A")


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_is_tried_begun_at_its_other_end(path: Any) -> None:
    part, machine = example(path.stem)
    order = straight_through(part.n_bends)[1]
    found = tried_task(part, machine, " ".join(f"{made.bend}{made.leads}" for made in order))
    standings = [step["standing"] for step in found["tried"]["steps"]]
    assert (set(standings) == {"goes"}) == (found["tried"]["judged"]["verdict"] == "goes") == (not found["marks"])
    assert found["captions"]
