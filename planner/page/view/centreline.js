// The centreline of a partly bent tube from a pose vector: pure kinematics, nothing drawn.
//
// A pose is [x, roll, arm, face, pressure, clampOpen, pressureOpen, drop, reached_1 … reached_n]. The tube is walked forward from
// its tail end at (x, 0, 0) along +x. A bend that has not reached its angle counts, for the rest, as straight stock behind
// its arc, so every motion of the machine is linear in the vector. Lengths mm, angles rad.

export const X = 0;
export const ROLL = 1;
export const ARM = 2;
export const FACE = 3;
export const PRESSURE = 4;
export const CLAMP_OPEN = 5;
export const PRESSURE_OPEN = 6;
export const DROP = 7;
export const FIXED = 8;

/** The tube counted from its leading end; `number[k]` is where the pose keeps the angle of bend k of that count. */
export function seenFrom(tube, leads) {
  const n = tube.angles.length;
  const other = leads === "A" ? "B" : "A";
  const number = Array.from({ length: n }, (_, k) => FIXED + (leads === "A" ? k : n - 1 - k));
  const ends = { leads, trimLead: tube.trim[leads], trimTail: tube.trim[other], number };
  if (leads === "A") {
    return { ...ends, straights: tube.straights, rotations: tube.rotations, angles: tube.angles, radii: tube.radii };
  }
  return {
    ...ends,
    straights: [...tube.straights].reverse(),
    rotations: n ? [0, ...tube.rotations.slice(1).reverse()] : [],
    angles: [...tube.angles].reverse(),
    radii: [...tube.radii].reverse(),
  };
}

/** Length of the stock with its trim at both ends [mm]. */
export function stockLength(tube) {
  const arcs = tube.angles.reduce((sum, angle, i) => sum + angle * tube.radii[i], 0);
  return tube.straights.reduce((sum, length) => sum + length, arcs) + tube.trim.A + tube.trim.B;
}

/** Distance from the tail end of the stock [mm] of a stock coordinate counted from end A without its trim [mm]. */
export function fromTail(tube, leads, place) {
  return leads === "A" ? stockLength(tube) - tube.trim.A - place : tube.trim.A + place;
}

/**
 * The pieces of the centreline, from the tail on: straight, arc, straight, … straight. Each has its start, unit vectors
 * along and inward (toward which it curls), `side` (a unit vector fixed in the tube, square to along), curvature, length
 * and `from`, the distance of its start from the tail end.
 */
export function pieces(view, pose, toward) {
  const n = view.angles.length;
  const cosine = Math.cos(pose[ROLL]);
  const sine = Math.sin(pose[ROLL]);
  const walk = {
    at: [pose[X], 0, 0],
    along: [1, 0, 0],
    inward: [0, toward * cosine, toward * sine],
    side: [0, toward * cosine, toward * sine],
    from: 0,
    found: [],
  };
  let straight = view.trimTail + view.straights[n];
  for (let k = n - 1; k >= 0; k -= 1) {
    const reached = pose[view.number[k]];
    step(walk, 0, straight + view.radii[k] * (view.angles[k] - reached));
    step(walk, 1 / view.radii[k], view.radii[k] * reached);
    turnPlane(walk, view.rotations[k]);
    straight = view.straights[k];
  }
  step(walk, 0, straight + view.trimLead);
  return walk.found;
}

function step(walk, curvature, length) {
  const piece = { start: walk.at, along: walk.along, inward: walk.inward, side: walk.side, curvature, length, from: walk.from };
  walk.found.push(piece);
  const end = frameAt(piece, length);
  walk.at = end.at;
  walk.along = end.along;
  walk.side = end.side;
  walk.inward = end.inward;
  walk.from += length;
}

/** Turn the plane of bend right-handed about the direction of travel [rad]. */
function turnPlane(walk, angle) {
  const across = cross(walk.along, walk.inward);
  walk.inward = mixed(walk.inward, Math.cos(angle), across, Math.sin(angle));
}

/** Point and directions of a piece at a distance from its start [mm]. */
export function frameAt(piece, s) {
  const { start, along, inward, side, curvature } = piece;
  if (curvature === 0) {
    return { at: mixed(start, 1, along, s), along, inward, side };
  }
  const angle = curvature * s;
  const cosine = Math.cos(angle);
  const sine = Math.sin(angle);
  const at = mixed(start, 1, mixed(along, sine / curvature, inward, (1 - cosine) / curvature), 1);
  const turned = mixed(inward, cosine, along, -sine);
  // What is fixed in the tube turns with the arc: its part along `inward` goes with it, its part square to the plane stays.
  const within = dot(side, inward);
  return {
    at,
    along: mixed(along, cosine, inward, sine),
    inward: turned,
    side: mixed(turned, within, mixed(side, 1, inward, -within), 1),
  };
}

/** Point and directions at a distance from the tail end [mm]; outside the tube the ends are continued. */
export function frameFromTail(found, s) {
  let last = found[0];
  for (const piece of found) {
    last = piece;
    if (s <= piece.from + piece.length) {
      break;
    }
  }
  return frameAt(last, s - last.from);
}

/** Points along the centreline, from the tail on, no further apart than `spacing` [mm]. */
export function pointsOf(found, spacing) {
  const points = [found[0].start];
  for (const piece of found) {
    const count = Math.max(1, Math.ceil(Math.abs(piece.length) / spacing));
    for (let i = 1; i <= count; i += 1) {
      points.push(frameAt(piece, (piece.length * i) / count).at);
    }
  }
  return points;
}

/** The pose of a shot when a fraction of it has passed: the whole vector linear between keyframes. */
export function poseAt(shot, fraction) {
  const { poses, at } = shot;
  let i = 1;
  while (i < poses.length - 1 && at[i] <= fraction) {
    i += 1;
  }
  if (poses.length < 2) {
    return [...poses[0]];
  }
  const span = at[i] - at[i - 1];
  const part = span > 0 ? Math.min(1, Math.max(0, (fraction - at[i - 1]) / span)) : 1;
  return poses[i].map((value, k) => (part === 1 ? value : poses[i - 1][k] + part * (value - poses[i - 1][k])));
}

/** How long a shot plays [s]: as at the machine, but never too quick to follow nor too slow to wait for. */
export function playingTime(shot, speed) {
  return Math.min(6, Math.max(0.6, shot.seconds / speed));
}

/** Fraction of a motion done when a fraction of its time has passed: even, with gentle ends. */
export function eased(time) {
  const ramp = 0.18;
  const t = Math.min(1, Math.max(0, time));
  if (t < ramp) {
    return (t * t) / (2 * ramp * (1 - ramp));
  }
  return t > 1 - ramp ? 1 - ((1 - t) * (1 - t)) / (2 * ramp * (1 - ramp)) : (t - ramp / 2) / (1 - ramp);
}

export function cross(a, b) {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

function dot(a, b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** p·a + q·b. */
function mixed(a, p, b, q) {
  return [p * a[0] + q * b[0], p * a[1] + q * b[1], p * a[2] + q * b[2]];
}
