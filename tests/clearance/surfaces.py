"""Solids of a case as the tests build them from the profile, and how near a row's piece of tube is to one.

The blocks' states by phase are read off the page that fixes them: closed while bending, open in return and place,
their travel as one box while they open or close.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

import coal
import numpy as np

from planner.clearance.rows import Rows
from planner.inputs.machine import Machine
from tests.clearance.cases import RADIUS, WALL, Case, Step, extent, places
from tests.clearance.oracle import Array, Profile, disc_points, gap, sphere_gap
from tests.geometry.shapes import THIN, body

profile = cache(Profile)
DISC = coal.Cylinder(RADIUS, THIN)


class Surface(Protocol):
    """A solid in its owner's frame; distances are to tube of a radius about points or cross-sections [mm]."""

    owner: str
    slack: float

    def to_sections(self, frames: Array) -> float: ...
    def to_sphere(self, point: Array) -> float: ...
    def to_straight(self, frame: Array, length: float) -> float: ...


@dataclass(frozen=True)
class Plain:
    """A convex solid, by coal."""

    owner: str
    solid: Any
    slack: float = 1e-6

    def to_sections(self, frames: Array) -> float:
        # The sphere about a cross-section is never farther: sections whose spheres are no nearer need no look.
        least = np.inf
        bounds = [(sphere_gap(frame[:3, 3], RADIUS, self.solid), k) for k, frame in enumerate(frames)]
        for bound, k in sorted(bounds):
            if bound >= least:
                break
            least = min(least, gap(DISC, frames[k], self.solid))
        return least

    def to_sphere(self, point: Array) -> float:
        return sphere_gap(point, RADIUS, self.solid)

    def to_straight(self, frame: Array, length: float) -> float:
        middle = frame.copy()
        middle[:3, 3] += frame[:3, 0] * length / 2.0
        return gap(coal.Cylinder(RADIUS, length), middle, self.solid)


@dataclass(frozen=True)
class Nothing:
    """What is there no longer."""

    owner: str = "frame"
    slack: float = 1e-6

    def to_sections(self, frames: Array) -> float:
        del frames
        return np.inf

    def to_sphere(self, point: Array) -> float:
        del point
        return np.inf

    def to_straight(self, frame: Array, length: float) -> float:
        del frame, length
        return np.inf


@dataclass(frozen=True)
class Grooved:
    """A die (turned = True) or a block, by the nearest point of its sampled profile; no nearer than the truth outside,
    no deeper than 0.02 mm off inside.
    """

    owner: str
    turned: bool
    x: tuple[float, float]  # the block's ends
    side: float  # the block's side of the feed, or the die's
    face: float  # the block's face from the feed; the die's radius
    profile: Profile
    slack: float = 0.02

    def distances(self, points: Array) -> Array:
        x, y, z = points[..., 0], points[..., 1], points[..., 2]
        if self.turned:
            return np.asarray(self.profile.signed(self.face - np.hypot(x, y - self.side * self.face), z))
        flat = self.profile.signed(self.side * y - self.face, z)
        past = np.maximum(self.x[0] - x, x - self.x[1])
        both = np.hypot(np.maximum(flat, 0.0), np.maximum(past, 0.0))
        return np.asarray(np.where((flat < 0.0) & (past < 0.0), np.maximum(flat, past), both))

    def to_sections(self, frames: Array) -> float:
        if len(frames) > 1:
            return float(self.distances(disc_points(frames, RADIUS, 24)).min())
        return self._to_section(frames[0])

    def _to_section(self, frame: Array) -> float:
        """One section in full, ever closer about the nearest point: a flat end may be nearest within its rim."""
        least, at, width = np.inf, np.array([RADIUS / 2.0, 0.0]), np.array([RADIUS / 2.0, np.pi])
        for count in (181, 21, 21, 21):
            rings = np.clip(at[0] + width[0] * np.linspace(-1.0, 1.0, 21), 0.0, RADIUS)
            ring, angle = np.meshgrid(rings, at[1] + width[1] * np.linspace(-1.0, 1.0, 2 * count))
            across = np.stack((0.0 * ring, ring * np.cos(angle), ring * np.sin(angle)), axis=-1)
            found = self.distances(across @ frame[:3, :3].T + frame[:3, 3])
            nearest = np.unravel_index(found.argmin(), found.shape)
            least = min(least, float(found[nearest]))
            at, width = np.array([ring[nearest], angle[nearest]]), width / 10.0
        return least

    def to_sphere(self, point: Array) -> float:
        return float(self.distances(point)) - RADIUS

    def to_straight(self, frame: Array, length: float) -> float:
        s = np.linspace(0.0, length, max(2, int(length / 6.0)))
        frames = np.repeat(frame[None], s.size, axis=0)
        frames[:, :3, 3] += s[:, None] * frame[:3, 0]
        return self.to_sections(frames)


def surface(case: Case, step: Step, name: str, clamp: float, t: float) -> Surface:
    """A solid by its name, as it is at a moment of a step."""
    tooling, side, play = case.machine.tooling[0], case.side, step.play
    wiper, hub = tooling.wiper_block, tooling.die_hub
    if name == "floor":
        return Plain("frame", body("floor", (-case.machine.head.centreline_height,)))
    if name == "its own tail":
        return Plain("frame", body("rod", (-min(play.moment(k).tail_length for k in (0.0, 1.0)), 0.0, RADIUS)))
    if name == "its own tail's end":
        first, last = (play.moment(k).tail_length for k in (0.0, 1.0))
        fed = play.moment(t).fed
        low, high = -first, min(-max(last, 0.0), -fed)
        return Plain("tail", body("rod", (low, high, RADIUS))) if high > low else Nothing()
    if name == "bend die":
        face = profile(tooling.bend_radius, tooling.die_height / 2.0, RADIUS, solid_at_width=True)
        return Grooved("die", True, (0.0, 0.0), side, tooling.bend_radius, face)
    if name == "die hub":
        assert hub is not None
        half = hub.height / 2.0
        return Plain("die", body("cylinder", (0.0, side * tooling.bend_radius, hub.radius, -half, half)))
    if name == "wiper die":
        assert wiper is not None
        return Grooved("frame", False, (-wiper.length, 0.0), side, 0.0, profile(wiper.width, wiper.height / 2, RADIUS))
    if name == "clamp die":
        block = tooling.clamp_block
        travel = step.name == "dies close"
        width, face_at = block.width + block.opens * travel, 0.0 if travel else block.opens
        return Grooved("arm", False, (0.0, clamp), -side, face_at, profile(width, block.height / 2.0, RADIUS))
    if name == "pressure die":
        return _pressure(case, step)
    if name == "grip section":
        depth, length, height = section_of(case.machine, clamp)
        return Grooved("section", False, (0.0, length), side, 0.0, profile(depth, height / 2.0, RADIUS))
    if name in ("mandrel", "mandrel rod"):
        return Plain("frame", body("rod", rods(case.machine, play.swing is None and play.arm == (0.0, 0.0))[name]))
    solid = next(solid for solid in case.machine.solid if solid.name == name)
    if solid.moves_with == "pressure die" and step.name != "bend":
        assert solid.box is not None
        (x0, y0, z0), (x1, y1, z1) = solid.box.from_, solid.box.to
        opens = tooling.pressure_block.opens
        near, far = (0.0 if step.name in ("dies close", "dies open") else opens), opens
        out = sorted((-side * near, -side * far))
        swept = (x0 + min(play.forward), y0 + out[0], z0, x1 + max(play.forward), y1 + out[1], z1)
        return Plain("frame", body("box", swept))
    if solid.box is not None:
        return Plain(solid.moves_with, body("box", (*solid.box.from_, *solid.box.to)))
    assert solid.cylinder is not None
    numbers = (*solid.cylinder.centre, solid.cylinder.radius, *solid.cylinder.z)
    return Plain(solid.moves_with, body("cylinder", numbers))


def section_of(machine: Machine, clamp: float) -> tuple[float, float, float]:
    """Depth, length and height of the die's straight groove under a clamp, as the page that fixes them has it [mm]."""
    tooling = machine.tooling[0]
    given = tooling.grip_section
    depth, length, height = min(1.5 * tooling.tube_diameter, tooling.bend_radius), clamp, tooling.die_height
    if given:
        return given.depth or depth, given.length or length, given.height or height
    return depth, length, height


def rods(machine: Machine, between_bends: bool) -> dict[str, tuple[float, float, float]]:
    """From where to where along the feed mandrel and rod reach, and their radii, in tube with the tests' wall [mm]."""
    tip, rod = machine.tooling[0].mandrel, machine.mandrel
    assert rod is not None
    assert tip is not None
    front = 0.0 if rod.draws_back and between_bends else float(tip.ball_reach or tip.nose)
    thick = (2.0 * RADIUS - 2.0 * WALL - 0.3) / 2.0
    thin = thick if rod.rod_diameter is None else min(rod.rod_diameter / 2.0, thick)
    back = -min(5.0 * 2.0 * RADIUS, rod.rod_length)
    if thin == thick:
        return {"mandrel rod": (-rod.rod_length, front, thick)}
    return {"mandrel rod": (-rod.rod_length, back, thin), "mandrel": (back, front, thick)}


def _pressure(case: Case, step: Step) -> Surface:
    tooling, play = case.machine.tooling[0], step.play
    block, length = tooling.pressure_block, tooling.pressure_die_length
    travels, closed = step.name in ("dies close", "dies open"), step.name == "bend"
    width = block.width + (block.opens if travels else 0.0)
    face_at = 0.0 if travels or closed else block.opens
    face = profile(width, block.height / 2.0, RADIUS)
    # While bending it is looked at from itself; else it stands in the frame where it is.
    low, high = (0.0, 0.0) if closed else (min(play.forward), max(play.forward))
    return Grooved("pressure die" if closed else "frame", False, (low - length, high), -case.side, face_at, face)


def nearest(case: Case, rows: Rows, row: int, step: Step, clamp: float, t: float, spacing: float = 6.0) -> float:
    """How near the row's piece of flat-ended tube, as far as there is any, comes to the row's solid at a moment."""
    low, high = extent(rows, row, step, t)
    if high - low <= 1e-6:
        return np.inf
    solid = surface(case, step, rows.names[rows.solid[row]], clamp, t)
    straight = rows.pieces[9, rows.piece[row]] == 0.0
    count = 2 if straight else max(3, int((high - low) / spacing) + 1)
    frames = seen(case, rows, row, step, np.linspace(low, high, count), t, solid)
    if straight:
        return solid.to_straight(frames[0] if rows.roles[rows.piece[row]].value != "tail" else frames[1], high - low)
    return solid.to_sections(frames)


def seen(case: Case, rows: Rows, row: int, step: Step, s: Array, t: float, solid: Surface) -> Array:
    """Frames of cross-sections seen from a solid."""
    del case
    return step.play.seen(solid.owner, step.play.moment(t).frames(places(rows, row, s, step, t)), t)


def section(case: Case, rows: Rows, row: int, step: Step, clamp: float, s: float, t: float) -> float:
    """How near the flat cross-section at one place is."""
    solid = surface(case, step, rows.names[rows.solid[row]], clamp, t)
    return solid.to_sections(seen(case, rows, row, step, np.array([s]), t, solid))


def at_witness(case: Case, rows: Rows, row: int, step: Step, clamp: float, s: float, t: float) -> float:
    """How near the tube is at one place: its cross-section there, or the sphere about it where that is all tube."""
    solid = surface(case, step, rows.names[rows.solid[row]], clamp, t)
    frames = seen(case, rows, row, step, np.array([s]), t, solid)
    low, high = extent(rows, row, step, t)
    found = solid.to_sections(frames)
    return min(found, solid.to_sphere(frames[0, :3, 3])) if low + RADIUS <= s <= high - RADIUS else found


def greatest_speed(rows: Rows, row: int, step: Step, owner: str) -> float:
    """No point of the row's piece moves faster against what owns the solid [mm a unit of t]."""
    play = step.play
    swing = 0.0 if play.swing is None else play.swing[1] - play.swing[0]
    arm, roll = play.arm[1] - play.arm[0], play.rotation[1] - play.rotation[0]
    on_arm = owner in ("arm", "section")
    own_turn = abs(swing - arm) if on_arm else abs(swing)
    if on_arm and rows.roles[rows.piece[row]].value in ("tail", "forming arc"):
        own_turn = abs(swing) + abs(arm)
    shift = 0.0 if play.swing is not None else abs(play.at[1] - play.at[0])
    if owner == "carriage" and play.face is not None:
        shift += abs(play.face[1] - play.face[0])
    if owner in ("die", "section"):
        shift += abs(play.drop[1] - play.drop[0])
    if owner == "tail":
        shift += abs(play.at[1] - play.at[0])
    if owner == "pressure die":
        shift += abs(play.forward[1] - play.forward[0])
    axis = np.array([0.0, play.side * play.drawing.clr])
    from_axis, from_feed = 0.0, 0.0
    for t in (0.0, 1.0):
        low, high = extent(rows, row, step, t)
        if high > low:
            u = places(rows, row, np.linspace(low, high, 9), step, t)
            x = play.moment(t).frames(u)[:, :3, 3]
            spare = RADIUS + (high - low) / 16.0
            from_axis = max(from_axis, float(np.hypot(*(x[:, :2] - axis).T).max()) + spare)
            from_feed = max(from_feed, float(np.hypot(x[:, 1], x[:, 2]).max()) + spare)
    return own_turn * from_axis + abs(roll) * from_feed + shift + 1e-9


def nearest_rounded(case: Case, rows: Rows, row: int, step: Step, clamp: float, t: float) -> float:
    """The same for the tube with rounded ends, as it is modelled: spheres about its centreline."""
    low, high = extent(rows, row, step, t)
    if high - low <= 1e-6:
        return np.inf
    solid = surface(case, step, rows.names[rows.solid[row]], clamp, t)
    s = np.linspace(low, high, max(3, int((high - low) / 3.0)))
    frames = seen(case, rows, row, step, s, t, solid)
    return min(solid.to_sphere(frame[:3, 3]) for frame in frames)
