// What a look must keep in the picture, as points: the tube and the tooling in the moments of the shots that are shown.

import { ARM, CLAMP_OPEN, DROP, FACE, frameAt, frameFromTail, pieces, poseAt, PRESSURE, PRESSURE_OPEN, X } from "./centreline.js";

const BEHIND = 350; // of the tail behind the tangent point that the near look still shows [mm]
// A leading part may reach so far from the tangent point [mm]. Of a longer one the near look shows what is within FAR: in a
// picture of all of it the dies would be a speck. The rest runs out of the picture; the look at the whole machine shows it.
const FARTHEST = 3600;
const FAR = 2500;
const MOMENTS = 10; // looked at between two keyframes
const SPACING = 60; // of the points along the tube [mm]

/** Points [x, y, z] of the whole machine, and of all that the tube sweeps in these shots. */
export function allOf(film, views, shots) {
  const points = [];
  for (const [shot, pose] of momentsOf(shots)) {
    addTube(points, film, views[shot.leads], shot, pose, Infinity);
    addTooling(points, film, shot, pose);
    addCarriage(points, film, pose);
  }
  if (!shots.length) {
    addTooling(points, film, { tooling: 0, clamp: 0 }, [0, 0, 0, -1, 0, 1, 1, 0]); // a machine without a job
  }
  return points;
}

/** Points [x, y, z] of the dies, the leading part and the first of the tail in these shots. */
export function nearOf(film, views, shots) {
  const [tube, tooling] = [[], []];
  for (const [shot, pose] of momentsOf(shots)) {
    addTube(tube, film, views[shot.leads], shot, pose, BEHIND);
    addTooling(tooling, film, shot, pose);
  }
  const within = (far) => tube.filter(([x, y, z]) => Math.hypot(x, y, z) <= far);
  const shown = within(FARTHEST);
  return [...(shown.length === tube.length ? shown : within(FAR)), ...tooling];
}

function* momentsOf(shots) {
  for (const shot of shots) {
    const last = MOMENTS * (shot.poses.length - 1);
    for (let i = 0; i <= last; i += 1) {
      yield [shot, poseAt(shot, last ? i / last : 0)];
    }
  }
}

/** Add the tube from so far behind the tangent point, along the tube [mm], to its lead. */
function addTube(points, film, view, shot, pose, behind) {
  if (!shot.shown) {
    return;
  }
  const { radius } = film.tube;
  const add = ([x, y, z]) => {
    points.push(...corners(x - radius, y - radius, z - radius, x + radius, y + radius, z + radius));
  };
  const found = pieces(view, pose, film.toward);
  const from = Math.max(0, -pose[X] - behind);
  add(frameFromTail(found, from).at);
  for (const piece of found) {
    const count = Math.max(1, Math.ceil(Math.abs(piece.length) / SPACING));
    for (let i = 1; i <= count; i += 1) {
      const s = (piece.length * i) / count;
      if (piece.from + s >= from) {
        add(frameAt(piece, s).at);
      }
    }
  }
}

/** Add the dies and what else swings with the arm or goes with the pressure die. */
function addTooling(points, film, shot, pose) {
  const set = film.tooling[shot.tooling];
  if (!set) {
    return; // a part alone
  }
  const { toward } = film;
  const { radius, die, hub, clamp, section, pressure } = set;
  const high = Math.max(die.height, hub?.height ?? 0) / 2;
  points.push(...corners(-radius, 0, -high - pose[DROP], radius, 2 * toward * radius, high));
  const turn = toward * pose[ARM];
  const out = -toward * clamp.opens * pose[CLAMP_OPEN];
  const arm = corners(0, out, -clamp.height / 2, shot.clamp, out - toward * clamp.width, clamp.height / 2);
  if (section) {
    const long = section.length ?? shot.clamp;
    arm.push(...corners(0, 0, -section.height / 2 - pose[DROP], long, toward * section.depth, section.height / 2));
  }
  const slides = [];
  for (const { moves, box } of film.solids) {
    if (box && (moves === "arm" || moves === "pressure die")) {
      (moves === "arm" ? arm : slides).push(...corners(...box));
    }
  }
  for (const [x, y, z] of arm) {
    const beside = y - toward * radius;
    points.push([
      x * Math.cos(turn) - beside * Math.sin(turn),
      toward * radius + x * Math.sin(turn) + beside * Math.cos(turn),
      z,
    ]);
  }
  const [front, aside] = [pose[PRESSURE], -toward * pressure.opens * pose[PRESSURE_OPEN]];
  const tall = pressure.height / 2;
  points.push(...corners(front - pressure.length, aside, -tall, front, aside - toward * pressure.width, tall));
  points.push(...slides.map(([x, y, z]) => [x + front, y + aside, z]));
}

function addCarriage(points, film, pose) {
  if (pose[FACE] === -1) {
    return;
  }
  for (const { moves, box } of film.solids) {
    if (box && moves === "carriage") {
      points.push(...corners(box[0] - pose[FACE], box[1], box[2], box[3] - pose[FACE], box[4], box[5]));
    }
  }
}

function corners(x0, y0, z0, x1, y1, z1) {
  const found = [];
  for (const x of [x0, x1]) {
    for (const y of [y0, y1]) {
      found.push([x, y, z0], [x, y, z1]);
    }
  }
  return found;
}
